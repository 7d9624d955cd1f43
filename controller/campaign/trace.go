package campaign

import (
	"slices"
	"time"

	"leat/controller"
	"leat/controller/sim"
	"leat/dosing"
	"leat/dosing/chem"
	"leat/dosing/loop"
	"leat/safety"
	"leat/safety/ledger"
)

// Trace is all that a night's invariants are judged by: what the daemon put out,
// step by step, and what truly happened. Times are uptimes of the daemon.
type Trace struct {
	Seed     uint64
	Begins   time.Duration // t = 0 of the night
	Ends     time.Duration
	Faulty   bool
	Faults   []sim.Injection
	Settings *controller.Settings
	Curves   []dosing.Titration // by tank

	Written  []Written // intents, in order of the step that was told they are durable
	Orders   []Ordered
	Settled  []Settled
	Doubts   []Doubt
	Runs     []sim.Run // what pumps truly did: starts and ends
	Trips    []Trip    // interlocks that came and went
	Hands    []Debt    // what people said they poured in
	Debts    []Debt    // what a begun blend still owes, as recorded
	Samples  []Sample  // every ten seconds, by tank
	Minutes  []Minute  // every minute, by tank
	Links    []Link
	Latches  []Latch          // trips that only a person clears
	Clears   []Clear          // of latched trips, by persons
	Wild     []sim.WildSample // samples that said what was not so
	Replays  []Replay         // at a drawn instant and at the end
	Grants   []Grant
	Lessened []Less
}

// Replay is what the core remembers at a moment, beside what a core remembers that was
// made from its ledger then.
type Replay struct {
	At         time.Duration
	Live, Past controller.Remembered
}

// Latch is a trip that latched.
type Latch struct {
	At    time.Duration
	Tank  string
	Pump  string // empty = all that its row of the table reaches
	Cause safety.Cause
}

// Clear is a person's word that what tripped was looked after.
type Clear struct {
	At   time.Duration
	Tank string
	Pump string // empty = whatever else of the tank has latched
}

// Written is an intent that became durable.
type Written struct {
	Step uint64
	ID   ledger.OrderID
}

// Ordered is an order at the moment it went out.
type Ordered struct {
	Step   uint64
	At     time.Duration
	ID     ledger.OrderID
	Tank   dosing.TankID
	Pump   dosing.PumpID
	Volume dosing.Volume
	Run    time.Duration
	Reason dosing.Reason
	// Intended is when the intent was made: from then on the dose fills its own caps.
	Intended time.Duration

	Mode   safety.Mode
	Holds  []Hold
	Inputs []controller.InputView
	Floor  float64 // the gate's buffer floor, meq/L per pH
	// UnseenMost is the gate's limit of what no reading has shown, meq/L or mS/cm.
	UnseenMost float64
	Target     dosing.Target
	Estimate   loop.Estimate // with this dose in transit already
	ToppedUp   float64       // litres since the farm began
	Litres     float64
}

// Hold is an interlock that stands.
type Hold struct {
	Cause  safety.Cause
	Action safety.Action
	Scope  safety.Scope
	Pump   string
	Text   string
	Since  time.Duration
}

// stops says whether the hold keeps a pump from dosing.
func (h *Hold) stops(p *dosing.Pump) bool {
	if h.Action >= safety.Run || h.Cause == safety.CauseDoseOpen || h.Cause == safety.CauseNodeBusy || p.Role == dosing.RoleWater && waterMay[h.Cause] {
		return false
	}
	switch h.Scope {
	case safety.ScopeNutrients:
		return p.Role == dosing.RoleStock
	case safety.ScopeReagents:
		return p.Role == dosing.RoleAcid || p.Role == dosing.RoleBase
	case safety.ScopePump:
		return h.Pump == p.Name
	}
	return true
}

// Settled is the end of a dose's doubt.
type Settled struct {
	Step    uint64
	At      time.Duration
	ID      ledger.OrderID
	Volume  dosing.Volume
	Outcome ledger.Outcome
}

// Doubt is when nobody could tell any more what became of a dose.
type Doubt struct {
	At time.Duration
	ID ledger.OrderID
}

// Trip is an interlock that came (Active) or went.
type Trip struct {
	At     time.Duration
	Tank   dosing.TankID
	Pump   dosing.PumpID
	Cause  safety.Cause
	Active bool
}

// Debt is a recorded remainder of a blend.
type Debt struct {
	At     time.Duration
	Tank   string
	Pump   string
	Volume dosing.Volume
}

// Sample is one tank at one moment.
type Sample struct {
	At       time.Duration
	Tank     dosing.TankID
	PH, EC   float64 // true, of the bulk
	Litres   float64
	Celsius  float64
	ToppedUp float64 // litres since the farm began
	Target   dosing.Target
	Known    bool    // the daemon knows pH
	Acid     float64 // on its way as the daemon counts it, meq/L
	Base     float64
	Coming   float64 // EC on its way as the daemon counts it, mS/cm
	Moving   bool    // the water

	ShownPH, ShownEC float64 // what the first probe of each shows, without its scatter

	Twinned        bool // a fault has begun: the next two are of the water without doses since
	TwinPH, TwinEC float64
}

// Minute is one tank as a person would see it.
type Minute struct {
	At       time.Duration
	Tank     dosing.TankID
	Mode     safety.Mode
	Estimate loop.Estimate
	Target   dosing.Target
	Holds    []Hold
	Alarms   []controller.AlarmView
	Withheld uint64 // doses withheld so far, for whatever cause
}

// Link is the daemon's link to the broker.
type Link struct {
	Step uint64
	Up   bool
}

// intended is a plan and when its intent was made.
type intended struct {
	plan dosing.Plan
	at   time.Duration
}

// recorder writes the trace of a night.
type recorder struct {
	trace     *Trace
	night     *sim.Night
	farm      *sim.Farm
	step      uint64
	plans     map[ledger.OrderID]intended
	store     ledger.Store
	drawn     []time.Duration   // when the ledger is replayed
	tickets   map[uint64]uint64 // of rows that a request waits for: the step in which it was asked
	permitted []permits         // by tank, as last seen
}

func newRecorder(s *Scene, farm *sim.Farm) (*recorder, error) {
	r := &recorder{trace: &Trace{Seed: s.Seed, Begins: s.Options.Rest, Ends: s.Options.Rest + s.Hours, Settings: s.Settings, Faulty: s.Options.Fault != "" || len(s.Faults) > 0, Faults: s.Faults}, farm: farm,
		plans: map[ledger.OrderID]intended{}, tickets: map[uint64]uint64{}}
	tanks := len(s.Settings.Safety.Tanks)
	r.trace.Samples = make([]Sample, 0, tanks*(int(s.Hours/sampleEvery)+1))
	r.trace.Minutes = make([]Minute, 0, tanks*(int(s.Hours/time.Minute)+1))
	for i := range s.Settings.Safety.Tanks {
		curve, err := chem.NewCurve(s.Settings.Safety.Tanks[i].Expected(), referenceTemp)
		if err != nil {
			return nil, err
		}
		r.trace.Curves = append(r.trace.Curves, curve)
	}
	farm.Tell(func(run sim.Run) { r.trace.Runs = append(r.trace.Runs, run) })
	return r, nil
}

// seen is shown every step of the core before it is carried out.
func (r *recorder) seen(now dosing.Instant, event *controller.Event, out *controller.Output) {
	r.step++
	t := r.trace
	r.wishes(now, event, out)
	switch event.Kind {
	case controller.EventDurable:
		if intent, ok := event.Receipt.Intent(); ok {
			t.Written = append(t.Written, Written{Step: r.step, ID: intent.Order()})
		}
	case controller.EventLink:
		t.Links = append(t.Links, Link{Step: r.step, Up: event.Up})
	}
	for _, draft := range out.Append {
		switch d := draft.(type) {
		case ledger.Intent:
			r.plans[d.Order()] = intended{plan: d.Plan(), at: now.Up}
		case ledger.Settlement:
			t.Settled = append(t.Settled, Settled{Step: r.step, At: now.Up, ID: d.Order(), Volume: d.Volume(), Outcome: d.Outcome()})
		case ledger.Change:
			switch d.Kind {
			case ledger.ChangeOwed:
				t.Debts = append(t.Debts, Debt{At: now.Up, Tank: d.Tank, Pump: d.Pump, Volume: d.Volume})
			case ledger.ChangeHandDose:
				t.Hands = append(t.Hands, Debt{At: now.Up, Tank: d.Tank, Pump: d.Pump, Volume: d.Volume})
			case ledger.ChangeTrip, ledger.ChangeUnconfirmed:
				cause, _ := safety.ParseCause(d.Text)
				t.Latches = append(t.Latches, Latch{At: now.Up, Tank: d.Tank, Pump: d.Pump, Cause: cause})
			case ledger.ChangeClear:
				t.Clears = append(t.Clears, Clear{At: now.Up, Tank: d.Tank, Pump: d.Pump})
			}
		}
	}
	for i := range out.Orders {
		t.Orders = append(t.Orders, r.ordered(now, &out.Orders[i]))
	}
	for _, n := range out.Notices {
		if n.Kind == controller.NoticeDose && n.Active && n.Outcome == ledger.OutcomeUncertain {
			t.Doubts = append(t.Doubts, Doubt{At: now.Up, ID: n.Order})
		}
		if n.Kind == controller.NoticeInterlock {
			t.Trips = append(t.Trips, Trip{At: now.Up, Tank: n.Tank, Pump: n.Pump, Cause: n.Cause, Active: n.Active})
		}
	}
}

func (r *recorder) ordered(now dosing.Instant, o *controller.Order) Ordered {
	core := r.night.Core
	tank := core.Tank(now, o.Tank())
	return Ordered{Step: r.step, At: now.Up, ID: o.ID(), Tank: o.Tank(), Pump: o.Pump(), Volume: o.Volume(), Run: o.Run(), Reason: r.plans[o.ID()].plan.Reason, Intended: r.plans[o.ID()].at,
		Mode: tank.Mode, Holds: holdsOf(&tank), Inputs: tank.Inputs, Floor: core.BufferFloor(now, o.Tank()), UnseenMost: core.UnseenMost(o.Tank(), o.Pump()), Target: core.Target(o.Tank()),
		Estimate: core.Estimate(now, o.Tank()), ToppedUp: r.farm.ToppedUp(o.Tank()), Litres: r.farm.Litres(o.Tank())}
}

func holdsOf(v *controller.TankView) []Hold {
	var all []Hold
	for _, h := range v.Holds {
		all = append(all, Hold{Cause: h.Cause, Action: h.Action, Scope: h.Scope, Pump: h.Pump, Text: h.Text, Since: h.Since.Up})
	}
	return all
}

// replay makes another core from the ledger and notes what both remember. A row that is
// not written and told yet makes them differ rightly.
func (r *recorder) replay(now dosing.Instant) error {
	if !r.night.Written() {
		return nil
	}
	begins := dosing.Instant{Wall: now.Wall}
	state, err := ledger.Replay(r.store, begins, true)
	if err != nil {
		return err
	}
	state.Starts = 0
	settings := *r.trace.Settings
	settings.ReArm = true
	core, err := controller.New(&settings, state, begins)
	if err != nil {
		return err
	}
	r.trace.Replays = append(r.trace.Replays, Replay{At: now.Up, Live: r.night.Core.Remembered(now), Past: core.Remembered(begins)})
	return nil
}

// look takes the samples that are due at now.
func (r *recorder) look(now dosing.Instant) {
	if slices.Contains(r.drawn, now.Up) {
		if err := r.replay(now); err != nil {
			panic(err) // the ledger that is appended to does not verify
		}
	}
	if now.Up%sampleEvery != 0 {
		return
	}
	r.trace.Wild = r.farm.Wild()
	for i := range r.trace.Settings.Tanks {
		id := dosing.TankID(i)
		ph, ec := r.farm.Bulk(id)
		e := r.night.Core.Estimate(now, id)
		shownPH, shownEC := r.farm.Shown(id)
		twinPH, twinEC, twinned := r.farm.Twin(id)
		r.trace.Samples = append(r.trace.Samples, Sample{Twinned: twinned, TwinPH: twinPH, TwinEC: twinEC,
			ShownPH: shownPH, ShownEC: shownEC,
			At: now.Up, Tank: id, PH: ph, EC: ec, Litres: r.farm.Litres(id), Celsius: r.farm.Celsius(id), ToppedUp: r.farm.ToppedUp(id), Target: r.night.Core.Target(id), Known: e.PHKnown,
			Acid: e.AcidInTransit, Base: e.BaseInTransit, Coming: e.ECInTransit, Moving: r.farm.Circulating(id)})
	}
	if now.Up%time.Minute != 0 {
		return
	}
	for i := range r.trace.Settings.Tanks {
		id := dosing.TankID(i)
		v := r.night.Core.Tank(now, id)
		m := Minute{At: now.Up, Tank: id, Mode: v.Mode, Estimate: r.night.Core.Estimate(now, id), Target: r.night.Core.Target(id), Holds: holdsOf(&v), Alarms: v.Alarms}
		for _, n := range v.Withheld {
			m.Withheld += n
		}
		r.trace.Minutes = append(r.trace.Minutes, m)
	}
}
