package mqtt

import (
	"context"
	"errors"
	"math/rand/v2"
	"sync"
	"sync/atomic"
	"time"

	"go.uber.org/zap"
)

// steady is how long a link must stay open for the pauses to start small again:
// two processes with one client id throw each other out every few milliseconds.
const steady = 10 * time.Second

// changesWaiting is how many openings and closings may wait for whoever listens;
// beyond that the link waits with its next attempt.
const changesWaiting = 16

// Link keeps one connection to the broker open, with a new paho client for each,
// because a client that reconnects by itself delivers what was published an hour
// ago. Take and Next are for one goroutine, all else for any.
type Link struct {
	options Options
	trunk   *Link // on whose connection this one stands; nil = its own
	address string
	secure  bool
	fault   error // of the options

	slots *slots
	queue *queue
	ready chan struct{}

	changed  chan bool
	branches branches
	current  atomic.Pointer[connection]
	count    counts

	quit    context.Context
	quitNow context.CancelFunc
	started atomic.Bool
	stopped chan struct{}

	errMu   sync.Mutex
	lastErr error
}

// New makes a link that Run opens. A fault in the options is returned by Run.
func New(options Options) *Link {
	options.fill()
	l := &Link{options: options, slots: newSlots(options.Latest), queue: newQueue(options.Queued, options.QueuePerItem),
		ready: make(chan struct{}, 1), changed: make(chan bool, changesWaiting), stopped: make(chan struct{})}
	l.quit, l.quitNow = context.WithCancel(context.Background())
	if options.Dial == nil {
		l.address, l.secure, l.fault = Address(options.URL)
	}
	if l.fault == nil && options.ClientID == "" {
		l.fault = errors.New("link has no client id; give one that no other client of the broker has")
	}
	return l
}

// Run keeps the link open until ctx ends or Close is called, then says goodbye and
// returns nil. It returns an error only for options that can never work; a broker
// that is away, or refuses, is tried again with growing pauses.
func (l *Link) Run(ctx context.Context) error {
	if !l.started.CompareAndSwap(false, true) {
		return errors.New("link runs or ran already; make a new one")
	}
	if l.trunk != nil {
		return l.trunk.branches.run(ctx, l)
	}
	defer close(l.stopped)
	if l.fault != nil {
		return l.fault
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	defer context.AfterFunc(l.quit, cancel)()
	for attempt := 0; ctx.Err() == nil; attempt++ {
		c, err := l.open(ctx)
		if err == nil {
			opened := time.Now()
			err = l.serve(ctx, c)
			if time.Since(opened) >= steady {
				attempt = 0
			}
		}
		if ctx.Err() != nil {
			return nil
		}
		l.fail(err)
		pause := l.pause(attempt)
		l.options.Log.Warn("link to the broker is closed", zap.Error(err), zap.Duration("next_attempt_in", pause))
		select {
		case <-time.After(pause):
		case <-ctx.Done():
		}
	}
	return nil
}

// serve tells that the link is open, waits until it is lost or to be closed, and
// tells that too.
func (l *Link) serve(ctx context.Context, c *connection) error {
	l.fail(nil)
	l.branches.opened(l, c)
	l.count.opened.Add(1)
	l.options.Log.Info("link to the broker is open")
	l.tell(ctx, true)
	var err error
	select {
	case why := <-c.lost:
		l.branches.opened(l, nil)
		c.end()
		err = &OpenError{Broker: l.name(), What: "connection was lost: " + why.Error(), Err: why}
	case <-ctx.Done():
		l.branches.opened(l, nil)
		c.farewell()
	}
	l.tell(ctx, false)
	return err
}

func (l *Link) tell(ctx context.Context, open bool) {
	select {
	case l.changed <- open: // also when ctx is over, if there is room
		return
	default:
	}
	select {
	case l.changed <- open:
	case <-ctx.Done():
	}
}

// pause is how long to wait after so many failures: doubled each time up to the
// longest, of which a random half is taken off so that a farm's clients do not all
// come back in the same instant.
func (l *Link) pause(attempt int) time.Duration {
	pause := l.options.FirstPause
	for ; attempt > 0 && pause < l.options.LongestPause; attempt-- {
		pause *= 2
	}
	pause = min(pause, l.options.LongestPause)
	return pause/2 + rand.N(pause/2+1)
}

// Close publishes the will, ends the connection and waits for Run to return, or
// for ctx.
func (l *Link) Close(ctx context.Context) error {
	l.quitNow()
	if l.started.CompareAndSwap(false, true) {
		close(l.stopped)
	}
	select {
	case <-l.stopped:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// Ready is signalled when something waits for Take or Next.
func (l *Link) Ready() <-chan struct{} { return l.ready }

// Again signals Ready anew for what is left, so that whoever takes from the link may
// stop after a while.
func (l *Link) Again() {
	if !l.queue.empty() || !l.slots.empty() {
		l.signal()
	}
}

// Changed tells each opening (true) and closing (false) in order, the closing also of
// a connection that the broker ended before it was wholly open. Whoever does not
// listen delays reconnecting, never reading.
func (l *Link) Changed() <-chan bool { return l.changed }

// Take hands out the newest body of each topic of Options.Latest that arrived
// since the last Take; slot is the topic's place there, missed how many live values
// it replaced unseen. Body may be kept, but not changed: slots of one topic share it.
func (l *Link) Take(each func(slot int, body []byte, retained bool, arrived time.Time, missed uint64)) {
	l.slots.take(each)
}

// Next is the oldest waiting message of Options.Queued.
func (l *Link) Next() (Message, bool) { return l.queue.next() }

// Reopen gives up a connection that only seems to be one, and opens another.
func (l *Link) Reopen(why error) {
	if c := root(l).current.Load(); c != nil {
		c.lose(why)
	}
}

// Open says whether the link is open now. It may be a black hole for as long as
// KeepAlive and PingTimeout together: only a node's report proves that an order
// arrived.
func (l *Link) Open() bool {
	c := root(l).current.Load()
	return c != nil && c.client.IsConnectionOpen()
}

// LastError is why the link is closed, nil when it is open or was never tried.
func (l *Link) LastError() error {
	l = root(l)
	l.errMu.Lock()
	defer l.errMu.Unlock()
	return l.lastErr
}

func (l *Link) fail(err error) {
	if err != nil {
		l.count.failed.Add(1)
	}
	l.errMu.Lock()
	l.lastErr = err
	l.errMu.Unlock()
}

func (l *Link) signal() {
	select {
	case l.ready <- struct{}{}:
	default:
	}
}
