package controller_test

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"leat/controller"
	"leat/controller/sim"
	"leat/dosing"
	"leat/safety"
)

// Rows that only the judgement of a single dose knows, rows of the start, and the
// alarms that stop nothing.
var singleDoseScenarios = []scenario{
	{name: "settings that are not safe", cause: safety.CauseConfigurationUnsafe,
		begin:  func(s *stage) { s.reconfigure(func(c *controller.Settings) { c.Safety.Tanks[north].Least = 0 }) },
		action: safety.Lockout, stops: allPumps, calls: true,
		end: func(s *stage) { s.reconfigure(func(c *controller.Settings) { c.Safety.Tanks[north].Least = 1000 }) }, clears: time.Second},
	{name: "a check was not made", cause: safety.CauseInputNotEvaluated, whole: shownByHand},
	{name: "just started", cause: safety.CauseStarting, whole: justStarted},
	{name: "a dose is under way", cause: safety.CauseDoseOpen, whole: doseUnderWay},
	{name: "enough is on its way", cause: safety.CauseInTransitCap, whole: comesAndGoes},
	{name: "doses that no probe has shown", cause: safety.CauseUnconfirmed, whole: comesAndGoes},
	{name: "concentrates that must not meet", cause: safety.CauseIncompatibleWait, whole: comesAndGoes},
	{name: "base after acid", cause: safety.CauseCounterReagent, whole: baseAfterAcid},
	{name: "away from the setpoint", cause: safety.CauseDirection, whole: awayFromSetpoint},
	{name: "even the smallest dose does too much", cause: safety.CauseEffectCap, settings: coarseAcid, stand: 4 * time.Minute,
		begin: func(*stage) {}, first: func(*stage) {}, within: 20 * time.Minute, action: safety.Hold, stops: acids, goes: stocks,
		end: func(s *stage) {
			s.reconfigure(func(c *controller.Settings) { c.Safety.Pumps[acidNorth].Smallest = 400 })
		}, clears: 30 * time.Second},
	{name: "no dose is as short as the pump may run", cause: safety.CauseDoseCap, stand: 4 * time.Minute,
		settings: func(c *controller.Settings) { c.Safety.Caps[acidNorth].OnTime = 100 * time.Millisecond },
		begin:    func(*stage) {}, first: func(*stage) {}, within: 20 * time.Minute, action: safety.Hold, stops: acids, goes: stocks,
		end: func(s *stage) {
			s.farm.LimitRun(acidNorth, 13*time.Second)
			s.reconfigure(func(c *controller.Settings) { c.Safety.Caps[acidNorth].OnTime = 12 * time.Second })
		},
		clears: 30 * time.Second},
	{name: "the container holds less than the dose", cause: safety.CauseStockCap, text: levelOf("calcium"),
		settings: func(c *controller.Settings) { c.Safety.Pumps[calcium].Container = 0 },
		whole: refusedAgain(calcium, func(s *stage) {
			s.tapLevel(calcium, says("0.1"))
			s.pass(6 * time.Second)
		}, func(s *stage) { s.tapLevel(calcium, nil) })},
	{name: "the dose is smaller than the pump repeats", cause: safety.CauseOrderTooSmall,
		whole: refusedAgain(acidNorth, func(s *stage) { s.reconfigure(coarseAcid) },
			func(s *stage) {
				s.reconfigure(func(c *controller.Settings) { c.Safety.Pumps[acidNorth].Smallest = 400 })
			})},
	{name: "a ground loop between pump and probe", cause: safety.CauseGroundLoop, whole: groundLoop},
	{name: "outside the band for hours", cause: safety.CauseOutOfBand, whole: outOfBand},
	{name: "too much EC", cause: safety.CauseECHigh, options: func(o *sim.Options) { o.StartECShare = 1.25 }, whole: tooMuchEC},
	{name: "acid works weaker than commissioned", cause: safety.CauseBufferScale,
		settings: func(c *controller.Settings) { c.Safety.Tanks[north].BufferScale *= 0.2 }, whole: weakAcid},
	{name: "acid brings more phosphate than is taken", cause: safety.CauseSurplus, recipe: true, text: phosphoricAcid,
		options: func(o *sim.Options) { o.StartPH, o.StartECShare, o.Pace, o.StartHour = 5.8, 1, 5, 8 }, whole: acidSurplus},
	{name: "armed before a restart and not after it", cause: safety.CauseDisarmed, whole: notArmedAgain},
	{name: "withheld for hours", cause: safety.CauseWithheldLong, settings: coarseAcid, whole: withheldForHours},
}

// coarseAcid makes the smallest dose of acid worth more than one dose may do.
func coarseAcid(c *controller.Settings) {
	c.Safety.Pumps[acidNorth].Smallest = 20 * dosing.Millilitre
	c.Safety.Caps[acidNorth].PerDose = 40 * dosing.Millilitre
	c.Safety.Caps[acidNorth].OnTime = time.Minute
}

// reconfigure gives the daemon changed settings, whole.
func (s *stage) reconfigure(change func(*controller.Settings)) {
	fresh := s.file.Settings
	fresh.Tanks = slices.Clone(fresh.Tanks)
	fresh.Safety.Tanks = slices.Clone(fresh.Safety.Tanks)
	fresh.Safety.Pumps = slices.Clone(fresh.Safety.Pumps)
	fresh.Safety.Caps = slices.Clone(fresh.Safety.Caps)
	fresh.Version += "+"
	change(&fresh)
	s.Step(controller.Event{Kind: controller.EventSettings, Settings: &fresh})
}

func TestEveryRowOfTheTableHasAScenario(t *testing.T) {
	played := map[safety.Cause]bool{}
	for _, s := range slices.Concat(scenarios, singleDoseScenarios) {
		played[s.cause] = true
	}
	for _, cause := range safety.Causes() {
		if !played[cause] {
			t.Errorf("%s has no scenario", cause)
		}
	}
}

// shownByHand: no daemon can be made to forget a check from outside; that it trips
// when one is forgotten is tested where the checks are, in package safety. Here a
// view that holds it is shown.
func shownByHand(t *testing.T, s *scenario) {
	st := newStage(t, s)
	st.Arm()
	st.pass(10 * time.Minute)
	view := st.Core.View(st.Now())
	row := safety.Of(s.cause)
	view.Tanks[north].Holds = append(view.Tanks[north].Holds, controller.HoldView{Cause: s.cause, Action: row.Action, Scope: row.Scope, Text: row.Text, Clears: row.Clears})
	st.pageNames(view, s.cause, row.Text)
	st.stateNames(view, north, s.cause, row.Text)
	if got := metric(t, view, "leat_interlock_active", "north", s.cause); got != 1 {
		t.Errorf("the metric is %g", got)
	}
}

func notArmedAgain(t *testing.T, s *scenario) {
	st := newStage(t, s)
	st.Arm()
	st.pass(10 * time.Minute)
	at := st.Now()
	st.restart(time.Minute)
	st.pass(20 * time.Minute)
	st.namedAlike(north, s.cause)
	if st.dosed(north, 0, allPumps...) && st.orders[len(st.orders)-1].at.Wall.After(at.Wall) {
		t.Error("it was dosed after the restart")
	}
	st.must(controller.RequestArm, "")
	st.pass(2 * time.Minute)
	if a, ok := st.alarm(north, s.cause); ok && a.State.Stands() {
		t.Errorf("armed by a person, yet %+v", a)
	}
}

func justStarted(t *testing.T, s *scenario) {
	st := newStage(t, s)
	st.Arm()
	for range 6 {
		st.pass(time.Minute)
		view := st.view(north)
		if view.Mode != safety.ModeHolding || view.Cause != s.cause || !strings.Contains(view.Reason, safety.Of(s.cause).Text) {
			t.Errorf("at %s: %s, %s", st.Now().Up, view.Cause, view.Reason)
		}
	}
	st.namedAlike(north, s.cause)
	if len(st.orders) > 0 || st.farm.Truth(north).PH < 6.3 {
		t.Errorf("%d orders within the settling time", len(st.orders))
	}
	if !st.until(2*time.Minute, func() bool { _, ok := st.hold(north, s.cause); return !ok }) {
		t.Fatal("it never ends")
	}
	if want := st.file.Settings.Safety.StartSettling; st.Now().Up != want {
		t.Errorf("it ended at %s, want %s", st.Now().Up, want)
	}
	st.pass(time.Minute)
	if !st.dosed(north, 0, acids...) {
		t.Error("nothing was dosed after it")
	}
}

func TestTheFirstSecondsSayJustStartedNotTheStopIsPressed(t *testing.T) {
	st := newStage(t, &scenario{})
	for range 8 {
		for id := range st.file.Settings.Tanks {
			if view := st.view(dosing.TankID(id)); view.Cause != safety.CauseStarting {
				t.Errorf("%s at %s: %s", view.Name, st.Now().Up, view.Reason)
			}
		}
		st.pass(time.Second)
	}
}

// doseUnderWay: one order at a time in a station.
func doseUnderWay(t *testing.T, s *scenario) {
	st := newStage(t, s)
	st.Arm()
	if !st.until(20*time.Minute, func() bool { _, ok := st.hold(nursery, s.cause); return ok }) {
		t.Fatalf("nothing waits for a dose; there is: %s", st.holds(nursery))
	}
	n := len(st.orders)
	last := st.orders[n-1]
	st.pass(time.Second) // the log's line comes with the next evaluation
	if _, ok := st.hold(nursery, s.cause); ok {
		st.namedAlike(nursery, s.cause)
	}
	for open := true; open; _, open = st.hold(nursery, s.cause) {
		st.pass(time.Second)
		if v := st.Core.View(st.Now()).Pumps[last.pump]; v.OpenOrder != "" && len(st.orders) != n {
			t.Fatalf("another order while %s is open", v.OpenOrder)
		}
		if st.Now().Up > last.at.Up+5*time.Minute {
			t.Fatal("it never ends")
		}
	}
	if !st.until(5*time.Minute, func() bool { return len(st.orders) > n }) {
		t.Error("nothing was dosed after it")
	}
}

// comesAndGoes waits for what any night brings by itself.
func comesAndGoes(t *testing.T, s *scenario) {
	st := newStage(t, s)
	st.Arm()
	var hold controller.HoldView
	if !st.until(time.Hour, func() (ok bool) { hold, ok = st.hold(north, s.cause); return ok }) {
		t.Fatalf("%s does not come; there is: %s", s.cause, st.holds(north))
	}
	began := st.Now().Up
	before := metric(t, st.Core.View(st.Now()), "leat_withheld_total", "north", s.cause)
	if !(before > 0) {
		t.Errorf("leat_withheld_total is %g", before)
	}
	st.pass(time.Second)
	if _, ok := st.hold(north, s.cause); ok {
		st.namedAlike(north, s.cause)
	}
	pump := slices.IndexFunc(st.file.Settings.Safety.Pumps, func(p dosing.Pump) bool { return p.Name == hold.Pump })
	if pump < 0 {
		t.Fatalf("hold %+v names no pump", hold)
	}
	if !st.until(time.Hour, func() bool {
		h, ok := st.hold(north, s.cause)
		return !ok || h.Pump != hold.Pump
	}) {
		t.Fatalf("it never ends: %s", st.holds(north))
	}
	ended := st.Now().Up
	for _, o := range st.orders {
		// A decision that ends the wait may order in the same second.
		if o.tank == north && int(o.pump) == pump && o.at.Up > began && o.at.Up < ended-time.Second {
			t.Errorf("%s was dosed at %s, withheld from %s to %s", hold.Pump, o.at.Up, began, ended)
		}
	}
	if !st.until(40*time.Minute, func() bool { return st.dosed(north, began, dosing.PumpID(pump)) }) {
		t.Errorf("%s was never dosed after it", hold.Pump)
	}
}

func baseAfterAcid(t *testing.T, s *scenario) {
	s.options = func(o *sim.Options) { o.StartPH, o.StartECShare = 6.1, 1 }
	st := newStage(t, s)
	st.Arm()
	st.pass(12 * time.Minute)
	if !st.dosed(north, 0, acidNorth) {
		t.Fatal("no acid was dosed")
	}
	// Somebody pours acid in and says nothing: the pH falls below the setpoint.
	came := st.until(20*time.Minute, func() bool {
		if st.Now().Up%(30*time.Second) == 0 && st.farm.Truth(north).SettledPH > 5.68 {
			st.farm.AddByHand(north, acidNorth, 2*dosing.Millilitre)
		}
		_, ok := st.hold(north, s.cause)
		return ok
	})
	if !came {
		t.Fatalf("pH %.2f; there is: %s", st.farm.Truth(north).PH, st.holds(north))
	}
	began := st.Now().Up
	st.pass(time.Second)
	st.namedAlike(north, s.cause)
	if !st.until(40*time.Minute, func() bool { _, ok := st.hold(north, s.cause); return !ok }) {
		t.Fatalf("it never ends: %s", st.holds(north))
	}
	for _, o := range st.orders {
		if o.pump == baseNorth && o.at.Up > began && o.at.Up < st.Now().Up-time.Second {
			t.Errorf("base at %s, acid and base are kept from fighting from %s to %s", o.at.Up, began, st.Now().Up)
		}
	}
}

// awayFromSetpoint: a person enters acid poured in by hand. The loops expect less of
// it than the gate, which takes the water for weaker than it was learned to be.
func awayFromSetpoint(t *testing.T, s *scenario) {
	st := newStage(t, s)
	st.Arm()
	st.pass(8 * time.Minute)
	came := st.until(10*time.Minute, func() bool {
		view := st.view(north)
		if st.Now().Up%(10*time.Second) == 3*time.Second && view.Settled.PH > view.PH.Present+0.2 {
			st.Ask(controller.Request{Kind: controller.RequestHandDose, Tank: north, Pump: acidNorth, Volume: 3 * dosing.Millilitre, Role: controller.RoleOperate})
		}
		_, ok := st.hold(north, s.cause)
		return ok
	})
	if !came {
		t.Fatalf("pH settles at %.2f; there is: %s", st.view(north).Settled.PH, st.holds(north))
	}
	began := st.Now().Up
	st.pass(time.Second)
	st.namedAlike(north, s.cause)
	if !st.until(40*time.Minute, func() bool { _, ok := st.hold(north, s.cause); return !ok }) {
		t.Fatalf("it never ends: %s", st.holds(north))
	}
	ended := st.Now().Up
	if st.dosed(north, began, acidNorth) && st.orders[len(st.orders)-1].at.Up < ended-time.Second {
		t.Error("acid was dosed while it stood")
	}
	if !st.until(2*time.Hour, func() bool { return st.dosed(north, ended, acidNorth) }) {
		t.Error("acid was never dosed after it")
	}
}

// refusedAgain lets the disk take its time, changes something meanwhile, and sees
// the dose refused that the gate had permitted before.
func refusedAgain(pump dosing.PumpID, meanwhile, after func(*stage)) func(*testing.T, *scenario) {
	return func(t *testing.T, s *scenario) {
		st := newStage(t, s)
		st.Arm()
		st.pass(7 * time.Minute)
		var open string
		intended := func() bool {
			open = st.Core.View(st.Now()).Pumps[pump].OpenOrder
			return open != ""
		}
		// The disk is slow from the moment at which this pump's intent is written.
		st.SlowDisk = true
		found := false
		for range 2000 {
			st.pass(time.Second)
			if found = intended(); found {
				break
			}
			st.Sync()
		}
		if !found {
			t.Fatal("the pump was never wanted")
		}
		n := len(st.orders)
		meanwhile(st)
		st.SlowDisk = false
		st.Sync()
		if len(st.orders) != n {
			t.Fatalf("order %+v went out, though the gate has to judge again", st.orders[n])
		}
		if got := metric(t, st.Core.View(st.Now()), "leat_withheld_total", st.file.Settings.Safety.Tanks[st.tankOf(open)].Name, s.cause); !(got > 0) {
			t.Errorf("leat_withheld_total is %g; %s", got, st.holds(north))
		}
		st.Step(controller.Event{Kind: controller.EventLink, Up: true}) // evaluates; a switch would do
		tank := st.tankOf(open)
		st.namedAlike(tank, s.cause)
		if v := st.Core.View(st.Now()).Pumps[pump]; v.OpenOrder != "" {
			t.Errorf("order %s is open still", v.OpenOrder)
		}
		after(st)
		at := st.Now().Up
		if !st.until(time.Hour, func() bool { return st.dosed(tank, at, pump) }) {
			t.Errorf("never dosed after it: %s", st.holds(tank))
		}
		if _, ok := st.hold(tank, s.cause); ok {
			t.Errorf("it stands still: %s", st.holds(tank))
		}
	}
}

// tankOf is the tank of the dose notice or intent with this order.
func (s *stage) tankOf(order string) dosing.TankID {
	for _, n := range s.notices {
		if n.Kind == controller.NoticeDose && n.Order.String() == order {
			return n.Tank
		}
	}
	return north
}

func outOfBand(t *testing.T, s *scenario) {
	st := newStage(t, s)
	if !st.until(3*time.Hour, func() bool { _, ok := st.alarm(north, s.cause); return ok }) {
		t.Fatalf("no alarm, though nobody doses and pH is %.2f", st.farm.Truth(north).PH)
	}
	if at := st.Now().Up; at < time.Hour {
		t.Errorf("alarm after %s already", at)
	}
	st.namedAlike(north, s.cause)
	st.Arm()
	armed := st.Now().Up
	st.pass(5 * time.Minute)
	if !st.dosed(north, armed, acidNorth) {
		t.Error("an alarm that stops nothing stopped the acid")
	}
	if !st.until(3*time.Hour, func() bool { a, ok := st.alarm(north, s.cause); return !ok || !a.State.Stands() }) {
		t.Errorf("it never ends: pH %.2f EC %.2f", st.farm.Truth(north).PH, st.farm.Truth(north).EC)
	}
}

func groundLoop(t *testing.T, s *scenario) {
	st := newStage(t, s)
	st.Arm()
	st.pass(12 * time.Minute)
	st.inject("ground-loop", 0)
	if !st.until(2*time.Hour, func() bool { _, ok := st.alarm(north, s.cause); return ok }) {
		t.Fatal("no alarm within two hours")
	}
	st.namedAlike(north, s.cause)
	if a, _ := st.alarm(north, s.cause); a.Priority != safety.PriorityTomorrow {
		t.Errorf("it is of %s", a.Priority)
	}
	from := st.Now().Up
	st.pass(2 * time.Hour)
	if !st.dosed(north, from, acidNorth) {
		t.Error("an alarm that stops nothing stopped the acid")
	}
	if truth := st.farm.Truth(north); math.Abs(truth.PH-st.view(north).PH.Present) > dosing.WarnBand.PH {
		t.Errorf("pH %.2f, wanted %.2f: what was left out was believed", truth.PH, st.view(north).PH.Present)
	}
	st.must(controller.RequestServiced, "supplies parted")
	st.pass(2 * time.Minute)
	if a, ok := st.alarm(north, s.cause); ok && a.State.Stands() {
		t.Error("the service was entered, and it stands")
	}
}

func tooMuchEC(t *testing.T, s *scenario) {
	st := newStage(t, s)
	st.Arm()
	if !st.until(time.Hour, func() bool { _, ok := st.alarm(north, s.cause); return ok }) {
		t.Fatalf("no alarm at EC %.2f", st.farm.Truth(north).EC)
	}
	st.namedAlike(north, s.cause)
	if a, _ := st.alarm(north, s.cause); !strings.Contains(a.Text, "dump") {
		t.Errorf("%q does not say how much to dump", a.Text)
	}
	if st.dosed(north, 0, stocks...) || !st.dosed(north, 0, acidNorth) {
		t.Error("stock was added above the band, or acid was not")
	}
	st.mustSetpoint(dosing.QuantityEC, 2.2)
	if !st.until(3*time.Hour, func() bool { a, ok := st.alarm(north, s.cause); return !ok || !a.State.Stands() }) {
		t.Errorf("it never ends: EC %.2f", st.farm.Truth(north).EC)
	}
}

// mustSetpoint asks for a setpoint and says yes where it is asked back.
func (s *stage) mustSetpoint(q dosing.Quantity, value float64) {
	s.t.Helper()
	r := controller.Request{Kind: controller.RequestSetpoint, Tank: north, Quantity: q, Value: value, By: "Ada", From: "page", Role: controller.RoleOperate}
	a := s.Ask(r)
	if a.Confirm != "" {
		r.Confirm = a.Confirm
		a = s.Ask(r)
	}
	if !a.Accepted {
		s.t.Fatal(a.Text)
	}
}

func weakAcid(t *testing.T, s *scenario) {
	st := newStage(t, s)
	st.Arm()
	if !st.until(2*time.Hour, func() bool { _, ok := st.alarm(north, s.cause); return ok }) {
		t.Fatalf("no alarm; scale %.2f", st.view(north).Settled.BufferScale)
	}
	st.namedAlike(north, s.cause)
	if st.view(north).Mode == safety.ModeStopped {
		t.Error("it stopped the tank")
	}
	st.must(controller.RequestServiced, "new tube")
	if !st.until(5*time.Minute, func() bool { a, ok := st.alarm(north, s.cause); return !ok || !a.State.Stands() }) {
		t.Error("the service did not end it")
	}
}

func withheldForHours(t *testing.T, s *scenario) {
	s.options = func(o *sim.Options) { o.StartECShare, o.StartPH = 1, 6.05 } // plants and the CO2 that leaves raise it meanwhile
	st := newStage(t, s)
	st.Arm()
	if !st.until(4*time.Hour, func() bool { _, ok := st.alarm(north, s.cause); return ok }) {
		t.Fatalf("no alarm; pH %.2f; %s", st.farm.Truth(north).PH, st.holds(north))
	}
	st.namedAlike(north, s.cause)
	if a, _ := st.alarm(north, s.cause); !strings.Contains(a.Text, safety.Of(safety.CauseEffectCap).Text) {
		t.Errorf("%q does not say what withholds the dose", a.Text)
	}
	st.reconfigure(func(c *controller.Settings) { c.Safety.Pumps[acidNorth].Smallest = 400 })
	if !st.until(time.Hour, func() bool { a, ok := st.alarm(north, s.cause); return !ok || !a.State.Stands() }) {
		t.Error("it never ends")
	}
	if math.Abs(st.farm.Truth(north).PH-5.8) > 0.5 {
		t.Errorf("pH %.2f", st.farm.Truth(north).PH)
	}
}
