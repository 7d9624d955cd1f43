package controller_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"leat/controller"
	"leat/controller/config"
	"leat/controller/payload"
	"leat/deploy"
	"leat/dosing"
	"leat/safety"
	"leat/safety/ledger"
)

// desk is a core before a disk whose every step the test decides: what is asked, when
// a row is written, when the core hears of it, and when the power fails.
type desk struct {
	t      *rapid.T
	file   *config.File
	intake *payload.Intake
	leak   int // feed of the leak sensor, which stops each tank
	store  *ledger.Memory
	ledger *ledger.Ledger
	core   *controller.Core
	now    dosing.Instant
	queue  []ledger.Draft     // rows that wait for the disk
	told   []controller.Event // rows that are written, and the core has not heard it
	full   bool
	failed bool

	steps int
	asked map[string]*onDesk // by who asked: each request is somebody else's
	less  [2]int             // step of the last request for less of each tank that was accepted
	was   [2]permits
}

// onDesk is a request.
type onDesk struct {
	id      uint64
	kind    controller.RequestKind
	tank    dosing.TankID
	step    int
	pending bool // it may still take effect
}

// permits are the things that must all be so for a tank to be dosed.
type permits struct{ armed, running, working, clean, confirmed, unlatched bool }

func (p permits) more(than permits) bool {
	return p.armed && !than.armed || p.running && !than.running || p.working && !than.working ||
		p.clean && !than.clean || p.confirmed && !than.confirmed || p.unlatched && !than.unlatched
}

func permitsOf(r *controller.RememberedTank) permits {
	return permits{armed: r.Mode == safety.ModeArmed, running: !r.Paused, working: !r.Maintenance, clean: !r.Cleaning, confirmed: !r.Unconfirmed,
		unlatched: len(r.Latches) == 0 && r.Mode != safety.ModeStopped}
}

func newDesk(t *rapid.T, file *config.File) *desk {
	d := &desk{t: t, file: file, store: &ledger.Memory{}, now: dosing.Instant{Wall: evening}, asked: map[string]*onDesk{}}
	d.start()
	return d
}

// start starts the daemon on what is written.
func (d *desk) start() {
	d.store.Reopen()
	d.queue, d.told, d.full, d.failed = nil, nil, false, false
	d.now = dosing.Instant{Wall: d.now.Wall.Add(11 * time.Minute)}
	var thermal []*dosing.Thermal
	for i := range d.file.Settings.Safety.Tanks {
		th, err := dosing.NewThermal(d.file.Settings.Safety.Tanks[i].Expected())
		if err != nil {
			d.t.Fatal(err)
		}
		thermal = append(thermal, th)
	}
	var feeds []payload.Feed
	for i := range d.file.InputTopics {
		in := &d.file.InputTopics[i]
		set := &d.file.Settings.Safety.Inputs[in.Input]
		feeds = append(feeds, payload.Feed{Input: in.Input, Tank: set.Tank, Quantity: set.Quantity, Format: in.Format, Compensation: in.Compensation})
		if set.Quantity == dosing.QuantityLeak {
			d.leak = i
		}
	}
	d.intake = payload.NewIntake(feeds, thermal)
	var err error
	if d.ledger, err = ledger.Open(d.store); err != nil {
		d.t.Fatal(err)
	}
	d.core = d.replayed(d.store)
	for id := range d.was {
		d.was[id] = permits{true, true, true, true, true, true} // a restart is judged by what is replayed
	}
	for _, r := range d.asked {
		r.pending = false
	}
	d.less = [2]int{}
	d.carryOut(d.core.Begin(d.now, false))
	d.step(controller.Event{Kind: controller.EventLedger, Ledger: safety.LedgerReady})
}

// replayed is a core made from a record.
func (d *desk) replayed(store ledger.Store) *controller.Core {
	now := dosing.Instant{Wall: d.now.Wall} // the uptime of a run that begins
	state, err := ledger.Replay(store, now, false)
	if err != nil {
		d.t.Fatal(err)
	}
	state.Starts = 0
	settings := d.file.Settings
	core, err := controller.New(&settings, state, now)
	if err != nil {
		d.t.Fatal(err)
	}
	return core
}

func (d *desk) carryOut(out *controller.Output) {
	d.queue = append(d.queue, out.Append...)
	for _, a := range out.Answers {
		r := d.asked[a.By]
		if r == nil || a.Request != r.id {
			continue
		}
		if !a.Accepted {
			r.pending = false
		} else if lets(r.kind) < 0 {
			d.less[r.tank] = max(d.less[r.tank], r.step)
		}
	}
}

// lets is +1 for what lets more happen and takes effect later, -1 for what lets less
// happen.
func lets(kind controller.RequestKind) int {
	switch kind {
	case controller.RequestArm, controller.RequestResume, controller.RequestClear, controller.RequestConfirmWater:
		return 1
	case controller.RequestObserve, controller.RequestStop, controller.RequestPause, controller.RequestMaintenance, controller.RequestCleaning:
		return -1
	}
	return 0
}

// step gives the core an event and judges what it did.
func (d *desk) step(e controller.Event) {
	d.steps++
	d.carryOut(d.core.Step(d.now, &e))
	live := d.core.Remembered(d.now)
	for id := range live.Tanks {
		is := permitsOf(&live.Tanks[id])
		before := d.was[id]
		d.was[id] = is
		if before.more(before) || !is.more(before) {
			continue
		}
		if e.Kind == controller.EventTick {
			before.running = true // a pause ends by itself
			if !is.more(before) {
				continue
			}
		}
		by := (*onDesk)(nil)
		if e.Kind == controller.EventRecorded {
			by = d.asked[e.Change.By]
		}
		switch {
		case by == nil || lets(by.kind) < 1 || by.tank != dosing.TankID(id) && by.kind != controller.RequestClear:
			d.t.Fatalf("tank %d: %+v after %+v, and nobody's request for more became durable (event %d)", id, is, before, e.Kind)
		case by.step < d.less[id]:
			d.t.Fatalf("tank %d: %s of step %d took effect, though less was asked for in step %d: %+v after %+v", id, by.kind, by.step, d.less[id], is, before)
		}
	}
	if e.Kind == controller.EventRecorded {
		if r := d.asked[e.Change.By]; r != nil && e.Change.Kind != ledger.ChangeUnconfirmed && e.Change.Pump == "" {
			r.pending = false
		}
	}
	if e.Kind == controller.EventRequest || e.Kind == controller.EventRecorded {
		d.compare(&live)
	}
}

// compare replays all rows, those that wait for the disk too, while no request is on
// its way that would change more than is in force.
func (d *desk) compare(live *controller.Remembered) {
	if d.failed {
		return
	}
	for _, r := range d.asked {
		if r.pending && lets(r.kind) >= 0 {
			return
		}
	}
	store := d.store.Copy()
	l, err := ledger.Open(store)
	if err != nil {
		d.t.Fatal(err)
	}
	for _, draft := range d.queue {
		if err := l.Append(draft); err != nil {
			d.t.Fatal(err)
		}
	}
	past := d.replayed(store).Remembered(dosing.Instant{Wall: d.now.Wall})
	if text := live.Differs(&past); text != "" {
		d.t.Fatalf("live is not replayed: %s", text)
	}
}

// write writes the row at the head of the queue.
func (d *desk) write() {
	if len(d.queue) == 0 || d.failed {
		return
	}
	change := d.queue[0].(ledger.Change)
	switch err := d.ledger.Append(change); {
	case errors.Is(err, ledger.ErrFull):
		if !d.full {
			d.full = true
			d.told = append(d.told, controller.Event{Kind: controller.EventLedger, Ledger: safety.LedgerFull})
		}
		return
	case err != nil:
		d.failed = true
		d.told = append(d.told, controller.Event{Kind: controller.EventLedger, Ledger: safety.LedgerFailed})
		return
	}
	if d.full {
		d.full = false
		d.told = append(d.told, controller.Event{Kind: controller.EventLedger, Ledger: safety.LedgerReady})
	}
	d.queue = d.queue[1:]
	d.told = append(d.told, controller.Event{Kind: controller.EventRecorded, Change: &change})
}

func (d *desk) tell() {
	if len(d.told) > 0 {
		e := d.told[0]
		d.told = d.told[1:]
		d.step(e)
	}
}

func (d *desk) pass(by time.Duration) {
	d.now = d.now.Add(by)
	d.step(controller.Event{Kind: controller.EventTick})
}

func (d *desk) ask(kind controller.RequestKind, tank dosing.TankID, change func(*controller.Request)) {
	r := controller.Request{ID: uint64(d.steps + 1), Kind: kind, Tank: tank, Note: "looked", By: fmt.Sprintf("r%d", d.steps+1), From: "page", Role: controller.RoleEngineer}
	if change != nil {
		change(&r)
	}
	d.asked[r.By] = &onDesk{id: r.ID, kind: kind, tank: tank, step: d.steps + 1, pending: true}
	if lets(kind) < 0 && !(kind == controller.RequestObserve && d.core.Remembered(d.now).Tanks[tank].Mode == safety.ModeStopped) {
		d.less[tank] = d.steps + 1 // in force at once, whatever is answered
	}
	d.step(controller.Event{Kind: controller.EventRequest, Request: &r})
}

// wet lets the leak sensor be wet, or dry, for some readings.
func (d *desk) wet(wet bool) {
	body := "0"
	if wet {
		body = "1"
	}
	for range 4 {
		d.now = d.now.Add(12 * time.Second)
		r, err := d.intake.Decode(d.leak, d.now, []byte(body), false)
		if err != nil {
			d.t.Fatal(err)
		}
		d.step(controller.Event{Kind: controller.EventReading, Reading: r})
		d.step(controller.Event{Kind: controller.EventTick})
	}
}

// A request that lets less happen beats every request of before that lets more happen,
// and the record, replayed, says what is so, however requests, the disk's words, its
// faults and power cuts fall.
func TestLessBeatsMoreAndLiveIsReplayedHoweverThingsFall(t *testing.T) {
	file, err := config.Parse("sample", []byte(sharedByHand(string(deploy.Sample))), config.Env{})
	if err != nil {
		t.Fatal(err)
	}
	file.Settings.ReArm = true
	rapid.Check(t, func(rt *rapid.T) {
		d := newDesk(rt, file)
		for range rapid.IntRange(10, 60).Draw(rt, "steps") {
			tank := dosing.TankID(rapid.IntRange(0, 1).Draw(rt, "tank"))
			switch what := rapid.IntRange(0, 19).Draw(rt, "what"); what {
			case 0, 1, 2, 3:
				kinds := []controller.RequestKind{controller.RequestArm, controller.RequestResume, controller.RequestClear, controller.RequestConfirmWater}
				d.ask(rapid.SampledFrom(kinds).Draw(rt, "more"), tank, nil)
			case 4, 5, 6:
				kinds := []controller.RequestKind{controller.RequestObserve, controller.RequestStop, controller.RequestPause, controller.RequestMaintenance, controller.RequestCleaning}
				d.ask(rapid.SampledFrom(kinds).Draw(rt, "less"), tank, func(r *controller.Request) {
					if r.Kind == controller.RequestPause && rapid.Bool().Draw(rt, "timed") {
						r.Until = d.now.Wall.Add(time.Duration(rapid.IntRange(1, 20).Draw(rt, "minutes")) * time.Minute).Format(time.RFC3339)
					}
				})
			case 7, 8:
				d.ask(controller.RequestSetpoint, tank, func(r *controller.Request) {
					r.Quantity, r.Value = dosing.QuantityPH, float64(rapid.IntRange(55, 62).Draw(rt, "pH"))/10
					if rapid.Bool().Draw(rt, "EC") {
						r.Quantity, r.Value = dosing.QuantityEC, 1.6+float64(rapid.IntRange(0, 6).Draw(rt, "step"))/10
					}
				})
			case 9:
				d.ask(rapid.SampledFrom([]controller.RequestKind{controller.RequestServiced, controller.RequestRefill}).Draw(rt, "service"), tank, func(r *controller.Request) {
					r.Pump, r.Volume = dosing.PumpID(rapid.IntRange(0, 3).Draw(rt, "pump")), dosing.FromMillilitres(float64(rapid.IntRange(1, 5000).Draw(rt, "mL")))
				})
			case 10, 11, 12:
				for range rapid.IntRange(1, 6).Draw(rt, "rows") {
					d.write()
				}
			case 13, 14, 15:
				for range rapid.IntRange(1, 6).Draw(rt, "words") {
					d.tell()
				}
			case 16:
				d.pass(time.Duration(rapid.IntRange(1, 400).Draw(rt, "seconds")) * time.Second)
			case 17:
				d.wet(rapid.Bool().Draw(rt, "wet"))
			case 18:
				fault := rapid.SampledFrom([]ledger.Fault{ledger.FaultFull, ledger.FaultFull, ledger.FaultFull, ledger.FaultFailed}).Draw(rt, "fault")
				d.store.FailNth(1, fault)
			case 19:
				if rapid.IntRange(0, 2).Draw(rt, "power") == 0 {
					d.start()
				}
			}
		}
		// The disk catches up, and everything is told.
		d.store.Heal()
		for len(d.queue) > 0 && !d.failed || len(d.told) > 0 {
			d.write()
			d.tell()
		}
	})
}

// The rules above must be able to fail.
func TestDifferenceOfLiveAndReplayedIsSaid(t *testing.T) {
	s := dosingStage(t)
	live := s.Core.Remembered(s.Now())
	for what, change := range map[string]func(*controller.Remembered){
		"Mode":     func(r *controller.Remembered) { r.Tanks[0].Mode = safety.ModeStopped },
		"Paused":   func(r *controller.Remembered) { r.Tanks[0].Paused = true },
		"leak":     func(r *controller.Remembered) { r.Tanks[0].Latches = []string{"leak"} },
		"setpoint": func(r *controller.Remembered) { r.Tanks[0].PH.Working += 0.01 },
		"Final":    func(r *controller.Remembered) { r.Tanks[0].EC.Final += 0.01 },
		"pause":    func(r *controller.Remembered) { r.Tanks[0].PauseLeft += time.Minute },
		"Owed":     func(r *controller.Remembered) { r.Tanks[0].Owed[calcium]++ },
		"Ever":     func(r *controller.Remembered) { r.Pumps[0].Ever++ },
	} {
		other := s.Core.Remembered(s.Now())
		change(&other)
		if text := live.Differs(&other); !strings.Contains(text, what) {
			t.Errorf("%s: %q", what, text)
		}
	}
	same := s.Core.Remembered(s.Now())
	if text := live.Differs(&same); text != "" {
		t.Error(text)
	}
}
