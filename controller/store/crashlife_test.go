//go:build linux

package store_test

import (
	"fmt"
	"maps"
	"strings"
	"testing"
	"time"

	"leat/controller"
	"leat/controller/app/apptest"
	"leat/controller/config"
	"leat/controller/sim"
	"leat/dosing"
	"leat/safety/ledger"
)

// known is what the world knows of a daemon that is no more: what was acknowledged to it and what
// it told others. A restart may take none of it back.
type known struct {
	rows   map[uint64][32]byte // acknowledged by the store
	newest uint64
	begun  bool                    // a row is under way, which may be there or not
	orders map[ledger.OrderID]bool // that left the process
	last   ledger.OrderID
	barred string  // a person was told that nothing is dosed, and has asked for no more since
	ph     float64 // setpoint that was accepted; 0 = a newer one is on its way, or none was asked for
}

func nothing() known {
	return known{rows: map[uint64][32]byte{}, orders: map[ledger.OrderID]bool{}}
}

func (k known) copied() known {
	k.rows, k.orders = maps.Clone(k.rows), maps.Clone(k.orders)
	return k
}

// moment is a point in a daemon's life that can be told from outside SQLite.
type moment uint8

const (
	rowBegins moment = iota
	rowAcknowledged
	orderAboutToLeave
	orderLeft
	reportArrives
	momentCount
)

var momentNames = [momentCount]string{"before a row is written", "after a row is acknowledged", "before an order is published",
	"after an order is published", "as a report arrives"}

// life is one run of the daemon's core: everything real but broker and clock, on any store. From
// its death on nothing reaches it and nothing leaves it, wherever in a step that finds it.
type life struct {
	known
	night   *sim.Night
	farm    *sim.Farm
	store   ledger.Store
	dead    bool
	out     *controller.Output
	faults  []string
	passed  func(moment) bool // at each moment; true = the daemon dies there
	written func(ledger.Row)  // before a row goes to the store
}

// bench is the small farm of the real tests, which mixes within seconds.
type bench struct {
	file  *config.File
	feeds []sim.Feed
	wires []sim.Wire
}

func newBench(t testing.TB) *bench {
	t.Helper()
	b := &bench{file: apptest.Load(t, apptest.Config(t, "mqtt://127.0.0.1:1"))}
	// What was armed is armed again after a restart: nothing but the record keeps it from dosing.
	b.file.Settings.ReArm = true
	b.wires = make([]sim.Wire, len(b.file.Settings.Safety.Inputs))
	for i := range b.file.InputTopics {
		in := &b.file.InputTopics[i]
		b.wires[in.Input] = sim.Wire{Topic: in.Topic, Compensation: in.Compensation}
		f := sim.Feed{Topic: in.Topic}
		f.Input, f.Tank, f.Quantity = in.Input, b.file.Settings.Safety.Inputs[in.Input].Tank, b.file.Settings.Safety.Inputs[in.Input].Quantity
		f.Format, f.Compensation = in.Format, in.Compensation
		b.feeds = append(b.feeds, f)
	}
	return b
}

func (b *bench) farm() (*sim.Farm, error) {
	return sim.New(&b.file.Settings, b.file.Topics, b.wires, sim.Options{Seed: 1, StartPH: 6.6, StartECShare: 0.6, Quiet: true, PumpError: -1})
}

// live starts a daemon on a store. A death before its core stands leaves it without one.
func (b *bench) live(farm *sim.Farm, store ledger.Store, wall time.Time, before known, change func(*life)) (*life, error) {
	l := &life{known: before.copied(), farm: farm, store: store}
	change(l)
	night, err := sim.PrepareNight(&b.file.Settings, b.file.Topics, b.feeds, farm, l, wall)
	if err != nil {
		return l, err
	}
	l.night = night
	night.Seen = l.seen
	night.Tap = func(topic string, body []byte) []byte {
		if l.dead || strings.Contains(topic, "/report/") && l.pass(reportArrives) {
			return nil
		}
		return body
	}
	night.Begin()
	return l, nil
}

func (l *life) pass(m moment) bool {
	if !l.dead && l.passed != nil && l.passed(m) {
		l.die()
	}
	return l.dead
}

// die ends the process: what its step would still have sent stays here.
func (l *life) die() {
	l.dead = true
	if l.out != nil {
		*l.out = controller.Output{}
	}
}

func (l *life) seen(_ dosing.Instant, _ *controller.Event, out *controller.Output) {
	l.out = out
	if l.dead {
		*out = controller.Output{}
		return
	}
	l.answered(out.Answers)
	if len(out.Orders) == 0 || l.pass(orderAboutToLeave) {
		return
	}
	for _, o := range out.Orders {
		switch {
		case l.orders[o.ID()]:
			l.fault("order %s was published twice", o.ID())
		case o.ID().Key() <= l.last.Key():
			l.fault("order %s was published after %s", o.ID(), l.last)
		case l.barred != "":
			l.fault("order %s was published though a person was told: %s", o.ID(), l.barred)
		case l.night != nil && l.night.Now().Up < apptest.Settling:
			l.fault("order %s was published %v after a start, within one mixing time", o.ID(), l.night.Now().Up)
		}
		l.orders[o.ID()], l.last = true, o.ID()
	}
	if l.passed != nil && l.passed(orderLeft) {
		// The order is on its way; what the step wanted to write is not.
		l.dead = true
	}
}

func (l *life) fault(format string, args ...any) {
	l.faults = append(l.faults, fmt.Sprintf(format, args...))
}

// answered follows what a person has been told.
func (l *life) answered(answers []controller.Answer) {
	for _, a := range answers {
		switch {
		case !a.Accepted:
		case a.Kind == controller.RequestSetpoint:
			l.ph = a.New
		case a.Kind == controller.RequestStop, a.Kind == controller.RequestObserve, a.Kind == controller.RequestPause, a.Kind == controller.RequestCleaning:
			l.barred = a.Text
		}
	}
}

// ask is what a person does. From then on an earlier bar is not to be relied on.
func (l *life) ask(r controller.Request) {
	if l.dead {
		return
	}
	switch r.Kind {
	case controller.RequestArm, controller.RequestResume, controller.RequestConfirmWater, controller.RequestClear:
		l.barred = ""
	case controller.RequestSetpoint:
		l.ph = 0
	}
	r.By, r.From, r.Role = "ada", "page", controller.RoleEngineer
	l.night.Ask(r)
}

// Append is the store's, with a daemon that may die on either side of it.
func (l *life) Append(row ledger.Row) error {
	if l.pass(rowBegins) {
		return ledger.ErrFailed
	}
	l.begun = true
	if l.written != nil {
		l.written(row)
	}
	err := l.store.Append(row)
	if l.dead {
		return ledger.ErrFailed
	}
	if err != nil {
		return err
	}
	l.begun = false
	l.rows[row.Sequence], l.newest = row.Hash, row.Sequence
	if l.pass(rowAcknowledged) {
		return ledger.ErrFailed
	}
	return nil
}

// Load is the store's. A row that was under way when the last daemon ended, and is there, is one that this one rests on.
func (l *life) Load(from uint64, each func(ledger.Row) error) error {
	return l.store.Load(from, func(row ledger.Row) error {
		if row.Sequence > l.newest {
			l.rows[row.Sequence], l.newest, l.begun = row.Hash, row.Sequence, false
		}
		return each(row)
	})
}

// An evening on the bench: doses by the dozen, and people who do all that the record must keep.
var script = []struct {
	at  time.Duration
	ask controller.Request
}{
	{7 * time.Second, controller.Request{Kind: controller.RequestArm}},
	{40 * time.Second, controller.Request{Kind: controller.RequestSetpoint, Quantity: dosing.QuantityPH, Value: 5.9}},
	{60 * time.Second, controller.Request{Kind: controller.RequestPause}},
	{70 * time.Second, controller.Request{Kind: controller.RequestResume}},
	{90 * time.Second, controller.Request{Kind: controller.RequestHandDose, Pump: 1, Volume: 100 * dosing.Microlitre}},
	{100 * time.Second, controller.Request{Kind: controller.RequestStop, Note: "a look"}},
	{110 * time.Second, controller.Request{Kind: controller.RequestClear, Note: "looked"}},
	{112 * time.Second, controller.Request{Kind: controller.RequestArm}},
	{130 * time.Second, controller.Request{Kind: controller.RequestObserve}},
	{140 * time.Second, controller.Request{Kind: controller.RequestArm}},
	{150 * time.Second, controller.Request{Kind: controller.RequestCleaning, Note: "brushed"}},
	{160 * time.Second, controller.Request{Kind: controller.RequestConfirmWater, Note: "nutrient solution, rinsed"}},
	{170 * time.Second, controller.Request{Kind: controller.RequestServiced}},
	{180 * time.Second, controller.Request{Kind: controller.RequestSetpoint, Quantity: dosing.QuantityPH, Value: 5.8}},
}

const evening = 4 * time.Minute

// play lets the daemon live up to its uptime until, with the script from its beginning, or until it dies.
func (l *life) play(until time.Duration, asks bool, eachMinute func()) {
	for !l.dead && l.night.Now().Up < until {
		l.night.Run(time.Second, nil)
		up := l.night.Now().Up
		for i := range script {
			if asks && script[i].at == up {
				l.ask(script[i].ask)
			}
		}
		if eachMinute != nil && up%(20*time.Second) == 0 && !l.dead {
			eachMinute()
		}
	}
}
