// Package app is the daemon: it joins the core to the broker, the ledger, the page
// and the metrics, runs the one event loop, and carries out what the core puts
// out. It decides nothing.
//
// # systemd is told by 30 lines of our own
//
// What systemd asks for is one datagram to the socket that NOTIFY_SOCKET names (notify_linux.go).
// Weighed against go-systemd's daemon package (v22.7.0), well kept, of one module: it writes without a
// deadline, and a supervisor that takes nothing would then hold the loop from its next step, which is
// the step that sends the lease. Ours gives up after a tenth of a second, and the watchdog acts on
// silence. It would replace 20 of the 30 lines.
package app

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"go.uber.org/zap"
	"math/rand/v2"
	"sync"
	"time"

	"leat/controller"
	"leat/controller/config"
	"leat/controller/diary"
	"leat/controller/metrics"
	"leat/controller/mqtt"
	"leat/controller/store"
	"leat/controller/web"
	"leat/dosing"
	"leat/safety"
)

// Options are what a caller may choose beside the configuration.
type Options struct {
	Clock     Clock  // nil = the machine's
	Version   string // of the program, for the metrics
	Log       *zap.Logger
	Reload    func() (*config.File, error) // re-reads the configuration on Reload; nil = none
	Term      Term                         // the station's turn that this daemon has; nil = the ledger is its own. Close gives it back
	ArmAll    bool                         // the demo arms its own tanks and says so
	Supervise func(state string)           // tells a supervisor; nil = systemd where there is one

	site *Site // of which it is one of several stations; nil = it is alone
}

// App is one daemon with one station. Each part knows those above it in this list only.
type App struct {
	*gear
	display  display
	outbox   outbox
	driver   driver
	owners   owners
	asks     asks
	listener listener

	options  Options
	release  func()
	web      *web.Server
	requests chan request
	reloads  chan chan error
	probes   chan chan bool
	stopOnce sync.Once
	lastTick dosing.Instant
}

type request struct {
	controller.Request
	answer chan controller.Answer
}

// New opens the state folder, replays the ledger and makes ready to run. It holds
// the folder's lock until Run ends or Close is called.
func New(file *config.File, options Options) (*App, error) {
	if options.Log == nil {
		options.Log = zap.NewNop()
	}
	a := &App{gear: &gear{file: file, log: options.Log, clock: options.Clock, term: options.Term, site: options.site}, options: options,
		requests: make(chan request), reloads: make(chan chan error), probes: make(chan chan bool)}
	a.assemble()
	if a.options.Supervise == nil {
		a.options.Supervise = supervise
	}
	if err := a.open(); err != nil {
		a.Close()
		return nil, err
	}
	return a, nil
}

// assemble makes the parts and tells each which others it needs.
func (a *App) assemble() {
	first := rand.Uint64N(largestFirstBeat)
	a.display.gear = a.gear
	a.outbox = outbox{gear: a.gear, display: &a.display, waiting: map[uint64]chan controller.Answer{}, beat: first, firstBeat: first, armsAll: a.options.ArmAll}
	a.driver = driver{gear: a.gear, outbox: &a.outbox, pulse: pulse{since: time.Now()}}
	a.owners = owners{gear: a.gear, driver: &a.driver, display: &a.display, outbox: &a.outbox}
	a.asks = asks{gear: a.gear, driver: &a.driver, owners: &a.owners, outbox: &a.outbox}
	a.listener = listener{gear: a.gear, driver: &a.driver, owners: &a.owners, asks: &a.asks, outbox: &a.outbox, display: &a.display}
}

// Close gives the state folder back. Run does it as well; calling both is harmless.
func (a *App) Close() {
	a.stopOnce.Do(func() {
		if a.web != nil {
			a.web.Close()
		}
		if a.db != nil {
			if err := a.db.Close(); err != nil {
				a.log.Error("closing the ledger", zap.Error(err))
			}
		}
		if a.term != nil {
			a.term.Release() // the last word of this daemon: an heir begins at once
		}
		if a.release != nil {
			a.release()
		}
	})
}

func (a *App) open() error {
	release, err := store.Lock(a.file.State)
	if err != nil {
		return err
	}
	a.release = release
	if a.owner.instance, err = store.Instance(a.file.State); err != nil {
		return err
	}
	if a.db, err = store.Open(a.file.State); err != nil {
		return err
	}
	a.proofs = readProofs(a.file.State, a.file.Settings.Safety.Nodes)
	rows, book, err := a.openLedger()
	if err != nil {
		return err
	}
	a.metrics = metrics.New(a.file.Settings.Safety.Station, a.display.View, a.options.Version)
	a.metrics.Below(a.under())
	a.metrics.Stand(standing(a.file))
	now := a.now()
	restored, err := a.replay(rows, now)
	if err != nil {
		return err
	}
	logHead(a.log, a.file.State)
	if a.core, err = controller.New(&a.file.Settings, restored, now); err != nil {
		return err
	}
	a.listener.firstEpoch = a.core.Epoch()
	a.history = a.db.History()
	a.diary = diary.NewWriter(diary.StationOf(&a.file.Settings, a.file.Zone.String(), now.Wall))
	a.writer = newWriter(book, a.history.Flush, a.metrics.LedgerAppend, a.log)
	a.wires = newWires(a.file)
	if a.intake, err = newIntake(a.file); err != nil {
		return err
	}
	if err := openLink(a); err != nil {
		return err
	}
	a.sender = newSender(a.link)
	a.display.state = newPublished()
	a.display.openHubs()
	a.refused = refusals{log: a.log, last: map[string]time.Duration{}}
	a.display.ions = make([]*controller.IonsView, len(a.file.Settings.Tanks))
	for range a.file.Settings.Tanks {
		a.display.alarmed = append(a.display.alarmed, map[safety.Cause]bool{})
	}
	for _, in := range a.file.Settings.Safety.Inputs {
		a.names = append(a.names, a.tankName(in.Tank)+"/"+in.Name)
	}
	if a.desk, err = newDesk(a.gear); err != nil {
		return err
	}
	a.web, err = web.New(a.webOptions())
	return err
}

// View is the newest snapshot; nil before the first decision.
func (a *App) View() *controller.View { return a.display.View() }

// Address is where the page listens.
func (a *App) Address() string { return a.web.Address() }

// SignInLink makes a link that signs one person in once, without a password.
func (a *App) SignInLink(role controller.Role) string { return a.web.SignInLink(role) }

// answerWithin bounds the wait for an answer: a person must not wait for a loop that
// hangs.
const answerWithin = 8 * time.Second

// Ask puts a request to the core and waits for its answer.
func (a *App) Ask(ctx context.Context, r controller.Request) (controller.Answer, error) {
	ctx, cancel := context.WithTimeout(ctx, answerWithin)
	defer cancel()
	answer := make(chan controller.Answer, 1)
	select {
	case a.requests <- request{Request: r, answer: answer}:
	case <-ctx.Done():
		return controller.Answer{}, ctx.Err()
	}
	select {
	case got := <-answer:
		return got, nil
	case <-ctx.Done():
		return controller.Answer{}, ctx.Err()
	}
}

// Reload re-reads the configuration, whole and valid or not at all.
func (a *App) Reload(ctx context.Context) error {
	done := make(chan error, 1)
	select {
	case a.reloads <- done:
		return <-done
	case <-ctx.Done():
		return ctx.Err()
	}
}

// Quiet says whether everything that was put into the daemon has been carried
// out: no message waits, no append or publication is under way. A virtual clock
// moves only then.
func (a *App) Quiet(ctx context.Context) bool {
	answer := make(chan bool, 1)
	select {
	case a.probes <- answer:
		return <-answer
	case <-ctx.Done():
		return true
	}
}

// Link is the daemon's connection, for whoever must know what is on the way.
func (a *App) Link() *mqtt.Link { return a.link }

// Run runs the daemon until ctx ends, then stops the pumps, closes the record and
// returns.
func (a *App) Run(ctx context.Context) error {
	running, cancel := context.WithCancel(context.WithoutCancel(ctx))
	defer cancel()
	if a.clock == nil {
		a.clock = NewMachineClock(running, a.file.Zone)
	}
	go a.writer.run(running.Done())
	go a.sender.run()
	linkErr, webErr, ended := make(chan error, 1), make(chan error, 1), make(chan error, 1)
	go func() { linkErr <- a.link.Run(running) }()
	var group sync.WaitGroup
	group.Go(func() { webErr <- a.web.Serve(running) })
	group.Go(func() { a.desk.Run(running) })
	go func() { ended <- a.loop(ctx, linkErr, webErr) }()

	hung := make(chan struct{})
	defer context.AfterFunc(ctx, func() { time.AfterFunc(patience, func() { close(hung) }) })()
	select {
	case err := <-ended:
		return errors.Join(err, a.farewell(cancel, &group))
	case <-hung:
		a.leave()
		return fmt.Errorf("the decision loop did not end within %s; the pumps were told to stop, and what was not recorded counts in full at the next start", patience)
	}
}

// How long the loop, the broker and the disk may take at the end, so that all
// together end within ten seconds.
const (
	patience    = 4 * time.Second         // of a loop that may hang
	lastWords   = 1500 * time.Millisecond // of the sender and of the link each
	lastEntries = 3 * time.Second         // of the writer, meanwhile
)

// farewell stops the pumps, says goodbye and closes the record. The pumps come
// first, and neither a broker nor a disk that stalls keeps the daemon from ending:
// what is not written then is an open intent, which counts in full.
func (a *App) farewell(cancel func(), group *sync.WaitGroup) error {
	if !a.replaced() { // else it stands by from now on
		a.options.Supervise("STOPPING=1")
	}
	if a.owner.owns && !a.replaced() {
		a.outbox.stopPumps()
		a.owners.leaveStation()
	}
	a.display.note(a.diary.End(a.now().Wall))
	if a.record.pending == 0 && !a.replaced() { // a disk that keeps others waiting is not waited for
		a.driver.step(a.clock.Now(), controller.Event{Kind: controller.EventEnding})
	}
	written := make(chan struct{})
	close(a.writer.drafts)
	go func() {
		for range a.writer.results {
			// what is still to be appended is appended; nobody acts on it any more
		}
		close(written)
	}()
	impatient := time.AfterFunc(lastEntries, cancel) // ends the wait for a full disk
	a.sender.end(lastWords)
	closing, done := context.WithTimeout(context.Background(), lastWords)
	_ = a.link.Close(closing) // a broker that does not answer is left behind
	done()
	var err error
	select {
	case <-written:
	case <-time.After(lastEntries + time.Second):
		err = fmt.Errorf("the disk finished none of the last %d rows of the record within %s; doses among them count in full at the next start", a.record.pending, lastEntries)
	}
	impatient.Stop()
	cancel()
	group.Wait()
	if err == nil {
		a.Close() // not under a writer that still waits for the disk
	}
	return err
}

// leave stops the pumps past a loop that hangs. It touches nothing that is the
// loop's.
func (a *App) leave() {
	epoch := uint32(0)
	if view := a.display.View(); view != nil {
		epoch = view.Epoch
	}
	stop := a.wires.stopMessage(epoch, controller.StopOrder{Tank: dosing.AllTanks, All: true})
	if err := a.link.Publish(stop.topic, stop.qos, stop.retained, stop.body); err != nil {
		a.log.Error("stop of all pumps", zap.Error(err))
	}
	closing, done := context.WithTimeout(context.Background(), lastWords)
	defer done()
	_ = a.link.Close(closing) // a broker that does not answer is left behind
}

// largestFirstBeat leaves the beats of a lease room to rise for ever below 2^53,
// which every JSON reader counts exactly.
const largestFirstBeat = 1 << 52

// logHead says how many rows the ledger has and how the newest hashes: a log that is kept elsewhere shows a tail that
// was written anew.
func logHead(log *zap.Logger, folder string) {
	if rows, head, known := store.Head(folder); known {
		log.Info("ledger", zap.Uint64("rows", rows), zap.String("head", hex.EncodeToString(head[:])))
	}
}
