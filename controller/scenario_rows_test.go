package controller_test

import (
	"math"
	"slices"
	"strconv"
	"testing"
	"time"

	"leat/controller"
	"leat/controller/sim"
	"leat/dosing"
	"leat/safety"
	"leat/safety/ledger"
)

// scenario is one row of the interlock table brought about on the sample farm, in
// a tank that wants acid and stock the whole time.
type scenario struct {
	name     string
	cause    safety.Cause
	recipe   bool                        // the sample's recipes stand; else its stocks are shared by hand
	text     func(string) string         // other configuration
	settings func(*controller.Settings)  // other settings, past the checks of the configuration
	options  func(*sim.Options)          // another farm
	first    func(*stage)                // before the first second
	begin    func(*stage)                // brings it about, once doses run
	within   time.Duration               // by then it stands; 0 = at once
	latched  bool                        // a person must clear it
	action   safety.Action               // what it does
	stops    []dosing.PumpID             // pumps that stand still for north meanwhile
	goes     []dosing.PumpID             // of these at least one doses on
	stand    time.Duration               // how long it is watched; 0 = 8 min
	end      func(*stage)                // takes the cause away
	clears   time.Duration               // and by then it is gone
	person   func(*stage)                // after which it must be gone, where end alone does not do
	calls    bool                        // a person is told
	whole    func(*testing.T, *scenario) // in place of all this
}

var (
	acids    = []dosing.PumpID{acidNorth}
	stocks   = []dosing.PumpID{calcium, potassiumNitrate, magnesiumNitrate, phosphate, magnesiumSulfate, potassiumSulfate, ammonium, iron, traces}
	allPumps = append([]dosing.PumpID{acidNorth, baseNorth}, stocks...)
)

func clearAndArm(s *stage) {
	s.must(controller.RequestClear, "looked at pumps, lines and water")
	s.must(controller.RequestArm, "")
}

func confirmAndArm(s *stage) {
	s.must(controller.RequestConfirmWater, "nutrient solution, no disinfectant, rinsed")
	s.ask(controller.RequestClear, "looked")
	s.must(controller.RequestArm, "")
}

func request(kind controller.RequestKind, note string) func(*stage) {
	return func(s *stage) { s.must(kind, note) }
}

func tapped(q dosing.Quantity, with func([]byte) []byte) func(*stage) {
	return func(s *stage) { s.tap(north, q, with) }
}

func station(q dosing.Quantity, with func([]byte) []byte) func(*stage) {
	return func(s *stage) { s.tap(dosing.AllTanks, q, with) }
}

func event(e controller.Event) func(*stage) { return func(s *stage) { s.Step(e) } }

func fault(name string, for_ time.Duration) func(*stage) {
	return func(s *stage) { s.inject(name, for_) }
}

var scenarios = []scenario{
	{name: "another controller gives orders", cause: safety.CauseOtherController, begin: event(controller.Event{Kind: controller.EventOther, Up: true}),
		action: safety.Lockout, stops: allPumps, calls: true,
		end: event(controller.Event{Kind: controller.EventOther}), clears: time.Second},
	{name: "the disk fails", cause: safety.CauseLedgerUnavailable, begin: func(s *stage) { s.store.FailNth(1, ledger.FaultFailed) },
		within: 10 * time.Minute, action: safety.Lockout, stops: allPumps, calls: true,
		end: func(s *stage) { s.restart(time.Minute) }, clears: time.Second, person: request(controller.RequestArm, "")},
	{name: "the disk is full", cause: safety.CauseLedgerUnavailable, begin: func(s *stage) {
		for n := 1; n < 1000; n++ {
			s.store.FailNth(n, ledger.FaultFull)
		}
	}, within: 10 * time.Minute, action: safety.Hold, stops: allPumps, calls: true,
		end: func(s *stage) { s.store.Heal() }, clears: 6 * time.Second},
	{name: "uptime runs backwards", cause: safety.CauseClockUntrusted, begin: func(s *stage) {
		back := dosing.Instant{Wall: s.Now().Wall, Up: s.Now().Up - 10*time.Minute}
		for _, n := range s.Core.Step(back, &controller.Event{Kind: controller.EventLink, Up: true}).Notices {
			s.notices = append(s.notices, noted{back, n})
		}
	}, action: safety.Lockout, stops: allPumps, calls: true,
		end: func(s *stage) { s.restart(time.Minute) }, clears: time.Second, person: request(controller.RequestArm, "")},
	{name: "the stop is pressed", cause: safety.CauseStopInput, begin: fault("stop-pressed", 9*time.Minute), within: 6 * time.Second,
		latched: true, action: safety.Stop, stops: allPumps, end: func(*stage) {}, clears: 2 * time.Minute,
		person: func(s *stage) {
			clearAndArm(s)
			if a := s.Ask(controller.Request{Kind: controller.RequestClear, Tank: nursery, Note: "looked", Role: controller.RoleEngineer}); !a.Accepted {
				s.t.Error(a.Text)
			}
		}},
	{name: "the stop's contact is silent", cause: safety.CauseStopInput, begin: station(dosing.QuantityStop, nothing), within: time.Minute,
		action: safety.Hold, stops: allPumps, calls: true, end: station(dosing.QuantityStop, nil), clears: 6 * time.Second},
	{name: "a person stops the tank", cause: safety.CauseStoppedByPerson, begin: request(controller.RequestStop, "something smells"),
		action: safety.Stop, stops: allPumps, end: func(*stage) {}, clears: time.Second, latched: true, person: clearAndArm},
	{name: "a pH that no nutrient solution has", cause: safety.CauseSolutionUnconfirmed,
		begin: func(s *stage) { s.tap(north, dosing.QuantityPH, creeping(2.4)) }, within: 5 * time.Minute,
		latched: true, action: safety.Stop, stops: allPumps, calls: true,
		end: func(s *stage) {
			s.ask(controller.RequestClear, "a clear is not enough")
			s.ask(controller.RequestArm, "")
		},
		clears: time.Second, person: func(s *stage) {
			s.tap(north, dosing.QuantityPH, nil) // rinsed and filled anew
			s.pass(time.Minute)
			confirmAndArm(s)
		}},
	{name: "a cleaning", cause: safety.CauseCleaning, begin: request(controller.RequestCleaning, "peroxide"), action: safety.Hold, stops: allPumps,
		end: func(*stage) {}, clears: time.Second, person: confirmAndArm},
	{name: "work on a probe", cause: safety.CauseMaintenance, begin: request(controller.RequestMaintenance, "calibrating pH"), action: safety.Hold,
		stops: allPumps, end: request(controller.RequestResume, ""), clears: time.Second},
	{name: "a pause", cause: safety.CauseOperatorPause, begin: request(controller.RequestPause, "visitors"), action: safety.Hold, stops: allPumps,
		end: request(controller.RequestResume, ""), clears: time.Second},
	{name: "observing", cause: safety.CauseObserving, begin: request(controller.RequestObserve, ""), action: safety.Hold, stops: allPumps,
		end: request(controller.RequestArm, ""), clears: time.Second},
	{name: "the broker is away", cause: safety.CauseBrokerDown, begin: func(s *stage) { s.SetLink(false) }, action: safety.Hold, stops: allPumps,
		stand: 11 * time.Minute, calls: true, end: func(s *stage) { s.SetLink(true) }, clears: 20 * time.Second},
	{name: "nothing arrives from the farm", cause: safety.CauseFarmSilent, begin: fault("network-cut", 9*time.Minute), within: 15 * time.Second,
		action: safety.Hold, stops: allPumps, calls: true, end: func(*stage) {}, clears: 90 * time.Second},
	{name: "a node works without an order", cause: safety.CauseNodeUnbidden, begin: func(s *stage) { s.busy("stocks", true) },
		within: 2 * time.Minute, latched: true, action: safety.Stop, stops: allPumps, calls: true,
		end: func(s *stage) { s.busy("stocks", false) }, clears: 10 * time.Second, person: clearAndArm},
	{name: "a welded contact", cause: safety.CauseAdrift, begin: fault("pump-stuck-on", 9*time.Minute), within: 8 * time.Minute,
		latched: true, action: safety.Stop, stops: allPumps, calls: true,
		end: func(s *stage) { s.farm.RestoreSupply() }, clears: time.Minute, person: confirmAndArm},
	{name: "the tank leaks", cause: safety.CauseLeak, begin: fault("tank-leaks", 4*time.Minute), within: 50 * time.Second, latched: true,
		action: safety.Stop, stops: allPumps, calls: true, end: func(*stage) {}, clears: time.Minute, person: clearAndArm},
	{name: "the leak sensor is silent", cause: safety.CauseLeak, begin: tapped(dosing.QuantityLeak, nothing), within: time.Minute,
		action: safety.Hold, stops: allPumps, calls: true, end: tapped(dosing.QuantityLeak, nil), clears: 6 * time.Second},
	{name: "the circulation stands", cause: safety.CauseCirculationOff, begin: fault("circulation-off", 9*time.Minute), within: 6 * time.Second,
		action: safety.Hold, stops: allPumps, calls: true, end: func(*stage) {}, clears: time.Minute},
	{name: "the level is not known", cause: safety.CauseLevelUnknown, begin: tapped(dosing.QuantityLevel, nothing), within: time.Minute,
		action: safety.Hold, stops: allPumps, calls: true, end: tapped(dosing.QuantityLevel, nil), clears: 6 * time.Second},
	{name: "the level is low", cause: safety.CauseLevelLow, begin: tapped(dosing.QuantityLevel, says("990")), within: 50 * time.Second,
		action: safety.Hold, stops: allPumps, calls: true, end: tapped(dosing.QuantityLevel, nil), clears: 15 * time.Second},
	{name: "the level is high", cause: safety.CauseLevelHigh, begin: tapped(dosing.QuantityLevel, says("1510")), within: 10 * time.Second,
		action: safety.Hold, stops: allPumps, calls: true, end: tapped(dosing.QuantityLevel, nil), clears: 15 * time.Second},
	{name: "a flood", cause: safety.CauseFlood, begin: tapped(dosing.QuantityFlood, says("1")), within: 6 * time.Second,
		action: safety.Hold, stops: allPumps, end: tapped(dosing.QuantityFlood, nil), clears: 6 * time.Second},
	{name: "the outlet is not proved open", cause: safety.CauseOutletUnproved, text: fittings("outlet"), begin: fault("outlet-stuck-shut", 12*time.Minute),
		within: 9 * time.Minute, stand: 3 * time.Minute, action: safety.Hold, stops: allPumps, calls: true, end: func(*stage) {}, clears: 12 * time.Minute},
	{name: "the sample line stands", cause: safety.CauseSampleFlowOff, text: fittings("sample_flow"), begin: fault("sample-cell-closed", 9*time.Minute),
		within: 10 * time.Second, action: safety.Hold, stops: allPumps, calls: true, end: func(*stage) {}, clears: 2 * time.Minute},
	{name: "two pH probes disagree", cause: safety.CauseProbesDisagree, text: fittings("ph_2"), options: func(o *sim.Options) { o.StartPH = 6.8 }, begin: func(s *stage) { s.tap(north, dosing.QuantityPH, creeping(0.3)) },
		within: 10 * time.Minute, action: safety.Hold, stops: allPumps, calls: true, end: tapped(dosing.QuantityPH, nil), clears: time.Minute},
	{name: "pH never came", cause: safety.CausePHMissing, first: tapped(dosing.QuantityPH, nothing), within: time.Second, begin: func(*stage) {},
		action: safety.Hold, stops: allPumps, calls: true, end: tapped(dosing.QuantityPH, nil), clears: 20 * time.Second},
	{name: "pH is too old", cause: safety.CausePHStale, begin: tapped(dosing.QuantityPH, nothing), within: time.Minute,
		action: safety.Hold, stops: allPumps, calls: true, end: tapped(dosing.QuantityPH, nil), clears: 20 * time.Second},
	{name: "pH is no number", cause: safety.CausePHUnfit, begin: fault("ph-unplugged", 9*time.Minute), within: time.Minute,
		action: safety.Hold, stops: allPumps, calls: true, end: func(*stage) {}, clears: 2 * time.Minute},
	{name: "EC never came", cause: safety.CauseECMissing, first: tapped(dosing.QuantityEC, nothing), within: time.Second, begin: func(*stage) {},
		action: safety.Hold, stops: stocks, goes: acids, calls: true, end: tapped(dosing.QuantityEC, nil), clears: 20 * time.Second},
	{name: "EC is too old", cause: safety.CauseECStale, begin: tapped(dosing.QuantityEC, nothing), within: time.Minute,
		action: safety.Hold, stops: stocks, goes: acids, calls: true, end: tapped(dosing.QuantityEC, nil), clears: 20 * time.Second},
	{name: "EC in the wrong unit", cause: safety.CauseECUnfit, begin: fault("ec-in-microsiemens", 9*time.Minute), within: time.Minute,
		action: safety.Hold, stops: stocks, goes: acids, calls: true, end: func(*stage) {}, clears: 2 * time.Minute},
	{name: "the temperature probe fails", cause: safety.CauseTemperatureUnfit, begin: fault("temperature-failed", 9*time.Minute), within: time.Minute,
		action: safety.Hold, stops: stocks, goes: acids, calls: true, end: func(*stage) {}, clears: 2 * time.Minute},
	{name: "the water is too warm", cause: safety.CauseTemperatureRange, begin: tapped(dosing.QuantityTemperature, says("34.6")), within: time.Minute,
		action: safety.Hold, stops: stocks, goes: acids, calls: true, end: tapped(dosing.QuantityTemperature, nil), clears: 2 * time.Minute},
	{name: "a node is silent", cause: safety.CauseNodeSilent, begin: func(s *stage) { s.inject("node-silent", 9*time.Minute, calcium) },
		within: time.Minute, action: safety.Hold, stops: stocks, goes: acids, calls: true, end: func(*stage) {}, clears: 2 * time.Minute},
	{name: "a node restarts", cause: safety.CauseNodeRebooted, begin: func(s *stage) { s.farm.Reboot(1) }, within: 10 * time.Second,
		action: safety.Hold, stops: stocks, stand: 8 * time.Second, end: func(*stage) {}, clears: 10 * time.Second, calls: true},
	{name: "a node's clock jumps", cause: safety.CauseNodeClock, begin: func(s *stage) { s.inject("node-clock-jump", 0, calcium) }, within: 10 * time.Second,
		action: safety.Hold, stops: stocks, stand: 50 * time.Second, end: func(*stage) {}, clears: 20 * time.Second, calls: true},
	{name: "a node is busy", cause: safety.CauseNodeBusy, begin: busyWhenIdle, within: 20 * time.Second,
		action: safety.Hold, stops: stocks, stand: 5 * time.Second, end: func(s *stage) { s.busy("stocks", false) }, clears: 5 * time.Second},
	{name: "a dose is uncertain", cause: safety.CauseDoseUncertain, begin: loseReport, within: time.Minute,
		action: safety.Hold, stops: allPumps, stand: 5 * time.Minute, calls: true, end: func(*stage) {}, clears: 3 * time.Minute},
	{name: "a node counts litres for millilitres", cause: safety.CauseReportContradicts, begin: fault("report-thousandth", 9*time.Minute), within: 5 * time.Minute,
		latched: true, action: safety.Stop, stops: acids, calls: true, end: func(*stage) {}, clears: time.Minute, person: clearAndArm},
	{name: "a node allows shorter runs than the configuration makes", cause: safety.CauseNodeRefuses, begin: fault("node-limit-lowered", 0), within: 30 * time.Minute,
		latched: true, action: safety.Stop, stops: acids, goes: stocks, calls: true, end: func(s *stage) { s.farm.LimitRun(acidNorth, time.Minute) },
		clears: time.Minute, person: clearAndArm},
	{name: "nodes have seen a later epoch than the ledger", cause: safety.CauseRecordBehindNode, begin: fault("epoch-stepped", 0), within: 20 * time.Second,
		latched: true, action: safety.Lockout, stops: allPumps, calls: true, end: func(*stage) {}, clears: time.Minute, person: func(s *stage) {
			if a := s.raiseEpoch("a test program had sent a lease"); !a.Accepted {
				s.t.Fatal(a.Text)
			}
			s.Arm()
		}},
	{name: "a stock is refilled five times too strong", cause: safety.CauseTooStrong, whole: tooStrong},
	{name: "the acid container is empty and its pump turns on air", cause: safety.CauseNoResponse, begin: fault("acid-empty", 0), within: 2 * time.Hour,
		latched: true, action: safety.Stop, stops: acids, calls: true, end: func(s *stage) { s.farm.Refill(acidNorth) }, clears: time.Minute, person: clearAndArm},
	{name: "acid and base are swapped", cause: safety.CauseWrongDirection, options: func(o *sim.Options) { o.StartPH = 6.3 }, begin: fault("acid-base-swapped", 0), within: 2 * time.Hour,
		latched: true, action: safety.Stop, stops: []dosing.PumpID{acidNorth, baseNorth}, goes: stocks, calls: true,
		end: fault("acid-base-swapped", 0), clears: time.Minute, person: clearAndArm},
	{name: "one stock is empty", cause: safety.CauseStockEmpty, text: levelOf("calcium"), begin: func(s *stage) { s.tapLevel(calcium, says("0.5")) },
		within: 10 * time.Second, action: safety.Hold, stops: []dosing.PumpID{calcium}, goes: acids, calls: true,
		end: func(s *stage) { s.tapLevel(calcium, nil) }, clears: 10 * time.Second},
	{name: "the hour's cap is reached", cause: safety.CauseHourCap, first: func(*stage) {}, begin: func(*stage) {}, within: 30 * time.Minute,
		settings: func(c *controller.Settings) { c.Safety.Caps[acidNorth].PerHour = 17 * dosing.Millilitre },
		action:   safety.Hold, stops: acids, goes: stocks, end: func(*stage) {}, clears: time.Hour},
	{name: "the day's cap is reached", cause: safety.CauseDayCap, first: func(*stage) {}, begin: func(*stage) {}, within: 30 * time.Minute,
		settings: func(c *controller.Settings) { c.Safety.Caps[acidNorth].PerDay = 17 * dosing.Millilitre },
		options:  func(o *sim.Options) { o.Pace = 0.1 },
		action:   safety.Hold, stops: acids, goes: stocks, calls: true, end: func(*stage) {}, clears: 24 * time.Hour},
	{name: "the water mixes after the circulation stood", cause: safety.CauseMixingWait, begin: fault("circulation-off", time.Minute), within: 2 * time.Minute,
		action: safety.Hold, stops: allPumps, stand: 5 * time.Minute, end: func(*stage) {}, clears: 3 * time.Minute},
}

// tooStrong: once it is found EC is above its setpoint and no stock is due, so that
// none can be seen to be withheld.
func tooStrong(t *testing.T, s *scenario) {
	st := newStage(t, s)
	st.Arm()
	st.pass(12 * time.Minute)
	st.inject("stock-strong", 0)
	if !st.until(2*time.Hour, func() bool { h, ok := st.hold(north, s.cause); return ok && h.Action == safety.Stop }) {
		t.Fatalf("not found within two hours; there is: %s", st.holds(north))
	}
	if h, _ := st.hold(north, s.cause); h.Scope != safety.ScopeNutrients {
		t.Errorf("it reaches %s, want nutrients", h.Scope)
	}
	from := st.Now().Up
	st.pass(2 * time.Hour)
	if st.dosed(north, from, stocks...) || !st.dosed(north, from, acids...) {
		t.Error("a stock was dosed, or pH was left alone")
	}
	if _, stands := st.hold(north, s.cause); !stands {
		t.Error("it cleared without a person")
	}
	clearAndArm(st)
	st.pass(time.Minute)
	if _, stands := st.hold(north, s.cause); stands {
		t.Error("a person cleared it, and it stands")
	}
}

// creeping is a probe that drifts away by so much within two minutes.
func creeping(by float64) func([]byte) []byte {
	sent := 0
	return func(body []byte) []byte {
		v, err := strconv.ParseFloat(string(body), 64)
		if err != nil {
			return body
		}
		sent++
		return strconv.AppendFloat(nil, v+by*min(float64(sent)/24, 1), 'f', 2, 64)
	}
}

// loseReport loses the node's word on the next dose into north.
func loseReport(s *stage) {
	n := len(s.orders)
	s.until(10*time.Minute, func() bool { return len(s.orders) > n && s.orders[len(s.orders)-1].tank == north })
	s.inject("reports-lost", 9*time.Minute)
	s.inject("reports-lost", 9*time.Minute, calcium)
}

// busyWhenIdle waits until no dose runs and then makes the node say it is at work.
func busyWhenIdle(s *stage) {
	s.until(5*time.Minute, func() bool { _, open := s.hold(nursery, safety.CauseDoseOpen); return !open && len(s.orders) > 0 })
	s.busy("stocks", true)
}

func TestEachInterlockTripsNamesItselfAlikeWithholdsTheNextDoseAndClears(t *testing.T) {
	for _, row := range slices.Concat(scenarios, singleDoseScenarios) {
		s := &row
		t.Run(s.name, func(t *testing.T) {
			t.Parallel()
			if s.whole != nil {
				s.whole(t, s)
				return
			}
			playRow(t, s)
		})
	}
}

func playRow(t *testing.T, s *scenario) {
	st := newStage(t, s)
	if s.first != nil {
		s.first(st)
	}
	st.Arm()
	st.pass(12 * time.Minute)
	if s.first == nil && (!st.dosed(north, 0, acids...) || !st.dosed(north, 0, stocks...)) {
		t.Fatalf("nothing was dosed before: %s", st.view(north).Reason)
	}
	s.begin(st)
	stands := func() bool {
		h, ok := st.hold(north, s.cause)
		return ok && h.Action == s.action
	}
	if !st.until(s.within, stands) {
		t.Fatalf("%s does not stand after %s; there is: %s", s.cause, s.within, st.holds(north))
	}
	from := st.Now().Up
	st.pass(max(s.stand, time.Second))
	if s.stand == 0 {
		st.pass(8*time.Minute - time.Second)
	}
	st.namedAlike(north, s.cause)
	st.calledFor(s)
	st.withheldSince(s, from)
	s.end(st)
	gone := func() bool { _, ok := st.hold(north, s.cause); return !ok }
	if s.latched {
		st.pass(s.clears)
		if gone() {
			t.Fatal("it cleared without a person")
		}
		s.person(st)
		s.clears = 10 * time.Second
	} else if s.person != nil {
		s.person(st)
	}
	if !st.until(s.clears, gone) {
		t.Fatalf("it stands %s after its cause went: %s", s.clears, st.holds(north))
	}
	if got := metric(t, st.Core.View(st.Now()), "leat_interlock_active", "north", s.cause); got != 0 {
		t.Errorf("the metric still shows %s: %g", s.cause, got)
	}
	cleared := st.Now().Up
	if !st.until(40*time.Minute, func() bool { return st.dosed(north, cleared, s.stops...) }) {
		t.Errorf("nothing was dosed after it cleared: %s; %s; %s", st.view(north).Reason, st.view(north).Next, st.holds(north))
	}
}

// calledFor checks whether a person was called: by an alarm that stands, or one
// that stood and went.
func (s *stage) calledFor(row *scenario) {
	s.t.Helper()
	called := false
	for _, n := range s.notices {
		called = called || n.Kind == controller.NoticeAlarm && n.Cause == row.cause && n.Active
	}
	if called != row.calls {
		s.t.Errorf("a person was called: %v, want %v", called, row.calls)
	}
}

// withheldSince checks that what the row stops was not dosed although the tank
// wanted it, and that what it leaves alone went on.
func (s *stage) withheldSince(row *scenario, from time.Duration) {
	s.t.Helper()
	for _, o := range s.orders {
		for _, p := range row.stops {
			if o.tank == north && o.at.Up > from && o.pump == p {
				s.t.Errorf("%.1f mL of pump %d were ordered at %s, tripped at %s", o.ml, o.pump, o.at.Up, from)
			}
		}
	}
	truth, view := s.farm.Truth(north), s.view(north)
	for _, p := range row.stops {
		switch {
		case p == acidNorth && math.Abs(truth.PH-view.PH.Present) < 0.15:
			s.t.Errorf("pH %.2f: no acid was due, so none was withheld", truth.PH)
		case p == calcium && truth.EC > view.EC.Present-0.08:
			s.t.Errorf("EC %.2f: no stock was due, so none was withheld", truth.EC)
		}
	}
	if len(row.goes) > 0 && !s.dosed(north, from, row.goes...) {
		s.t.Errorf("what it does not concern stood still too: %s", s.holds(north))
	}
}
