package safety

import (
	"math"
	"testing"
	"time"

	"leat/dosing"
)

func TestUnsafeSettingsLockTheTankOrThePump(t *testing.T) {
	nan := math.NaN()
	tanks := map[string]func(*Settings){
		"no pH probe":       func(s *Settings) { s.Inputs[0].NotFitted = "broken" },
		"no word on a stop": func(s *Settings) { s.Inputs = append(s.Inputs[:len(s.Inputs)-2], s.Inputs[len(s.Inputs)-1]) },
		"volume":            func(s *Settings) { s.Tanks[0].Volume = dosing.Litres(nan) },
		"min volume":        func(s *Settings) { s.Tanks[0].MinVolume = 0 },
		"least above":       func(s *Settings) { s.Tanks[0].MinVolume = 2000 },
		"max volume":        func(s *Settings) { s.Tanks[0].MaxVolume = dosing.Litres(nan) },
		"dead time":         func(s *Settings) { s.Tanks[0].DeadTime = 0 },
		"time constant":     func(s *Settings) { s.Tanks[0].TimeConstant = -time.Second },
		"scale":             func(s *Settings) { s.Tanks[0].BufferScale = nan },
		"no scale":          func(s *Settings) { s.Tanks[0].BufferScale = 0 },
		"alkalinity":        func(s *Settings) { s.Tanks[0].TopUp.Alkalinity = nan },
		"temperature":       func(s *Settings) { s.Tanks[0].MaxTemperature = dosing.Celsius(nan) },
	}
	for name, change := range tanks {
		f := newFarm(t, change)
		if trip, tripped := f.trip(0, CauseConfigurationUnsafe); !tripped || trip.Action != Lockout || trip.Detail == "" {
			t.Errorf("%s: %+v", name, f.w.Trips(0))
		}
		f.wantFree(0, name, noneFree)
		if f.g.BufferFloor(f.now, 0) != 0 {
			t.Errorf("%s: a floor", name)
		}
	}
	acid := [4]bool{false, true, true, true}
	pumps := map[string]func(*Settings){
		"no role":       func(s *Settings) { s.Pumps[acidPump].Role = dosing.RoleNone },
		"unknown group": func(s *Settings) { s.Pumps[acidPump].Group = dosing.GroupCount },
		"no rate":       func(s *Settings) { s.Pumps[acidPump].PerSecond = 0 },
		"no smallest":   func(s *Settings) { s.Pumps[acidPump].MinDose = 0 },
		"zero caps":     func(s *Settings) { s.Caps[acidPump] = Caps{} },
		"strength":      func(s *Settings) { s.Pumps[acidPump].AcidPerML = nan },
		"EC":            func(s *Settings) { s.Pumps[acidPump].ECPerML = math.Inf(1) },
		"sign":          func(s *Settings) { s.Pumps[acidPump].AcidPerML = -10 },
		"no node":       func(s *Settings) { s.PumpNode[acidPump] = 9 },
	}
	for name, change := range pumps {
		f := newFarm(t, change)
		f.wantFree(0, name, acid)
		if largest, cause := f.g.Largest(f.now, 0, acidPump); largest != 0 || cause != CauseConfigurationUnsafe {
			t.Errorf("%s: %s, %s", name, largest, cause)
		}
	}
	f := newFarm(t, func(s *Settings) { s.Pumps[basePump].AcidPerML = 1 })
	f.wantFree(0, "a base that is an acid", [4]bool{true, false, true, true})
	f = newFarm(t, func(s *Settings) { s.Pumps[calciumPump].ECPerML = 0 })
	f.wantFree(0, "a stock of water", [4]bool{true, true, false, true})
	f = newFarm(t, func(s *Settings) { s.Caps = s.Caps[:3] })
	f.wantFree(0, "a pump without caps", [4]bool{true, true, true, false})
}

func TestTankWithoutATitrationCurveIsLocked(t *testing.T) {
	for _, curves := range [][]dosing.Titration{nil, {nil, nil}, {line(math.NaN()), line(0)}, {line(-1), line(math.Inf(1))}} {
		w := NewWatch(farmSettings(), dosing.NewTotals(4, 2), curves, dosing.Instant{})
		for tank := range dosing.TankID(2) {
			f := farm{t: t, w: w}
			if trip, tripped := f.trip(tank, CauseConfigurationUnsafe); !tripped || trip.Action != Lockout || trip.Scope != ScopeTank {
				t.Errorf("curves %v, tank %d: %+v", curves, tank, w.Trips(tank))
			}
		}
	}
}

func TestAWaivedInputNeverTripsAndHalvesTheCapsOfLeakOrStop(t *testing.T) {
	f := newFarm(t, func(s *Settings) {
		for i := range s.Inputs {
			if q := s.Inputs[i].Quantity; q == dosing.QuantityLeak || q == dosing.QuantityFlood || q == dosing.QuantityOutlet {
				s.Inputs[i].NotFitted = "not on this farm"
			}
		}
	})
	f.wantFree(0, "waived", allFree)
	if f.w.HourlyCap(acidPump) != 100*dosing.Millilitre || f.w.DailyCap(acidPump) != dosing.Litre {
		t.Errorf("caps %s and %s", f.w.HourlyCap(acidPump), f.w.DailyCap(acidPump))
	}
	if q := f.send(f.input(0, dosing.QuantityOutlet), 0, 0, false); q != dosing.QualityFailure {
		t.Errorf("a waived input is read as %s", q)
	}
}

func TestANodeWithoutTheFullContractGetsHalfTheCapsAndNeedsNoHeartbeat(t *testing.T) {
	f := freshFarm(t, func(s *Settings) { s.Nodes[0].FullContract = false })
	f.node[0].silent = true
	f.pass(2 * time.Minute)
	f.wantFree(0, "timed pulses", allFree)
	if c := f.w.cap(acidPump); c.PerDose != 25*dosing.Millilitre || c.PerHour != 100*dosing.Millilitre || c.PerDay != dosing.Litre {
		t.Errorf("%+v", c)
	}
}

func TestHeartbeatsThatAreNoneAreIgnored(t *testing.T) {
	f := freshFarm(t)
	f.w.Heartbeat(f.now, 0, "", 0, true)
	f.w.Heartbeat(f.now, 0, "boot", -1, true)
	f.w.Heartbeat(f.now, 9, "boot", 0, true)
	if _, _, _, seen := f.w.Node(f.now, 0); seen {
		t.Error("a heartbeat without identity counts")
	}
	f.w.Heartbeat(f.now, 0, "boot", time.Minute, true)
	boot, tick, age, seen := f.w.Node(f.now.Add(3*time.Second), 0)
	if boot != "boot" || tick != time.Minute+3*time.Second || age != 3*time.Second || !seen {
		t.Errorf("%s %s %s %v", boot, tick, age, seen)
	}
}

func TestReconfigurationKeepsWhatWasSeenCountedAndLatched(t *testing.T) {
	f := newFarm(t)
	f.w.Aim(0, dosing.Target{PH: 5.5, EC: 2})
	f.dose(0, acidPump, 5*dosing.Millilitre)
	f.w.Aim(0, dosing.Target{PH: 5.8, EC: 2})
	f.set(1, dosing.QuantityLeak, 1)
	f.pass(36 * time.Second)
	s := farmSettings()
	s.Caps[acidPump].PerHour = 5 * dosing.Millilitre
	s.Tanks[0].MaxVolume = 1050
	f.s = s
	f.w.Reconfigure(f.now, s, nil)
	if trip, tripped := f.trip(0, CauseHourlyCap); !tripped || trip.Pump != acidPump || f.w.HourlyCap(acidPump) != 5*dosing.Millilitre {
		t.Errorf("the new cap does not hold: %+v", f.w.Trips(0))
	}
	if trip, tripped := f.trip(1, CauseLeak); !tripped || !trip.Latched {
		t.Error("the latch is gone")
	}
	f.pass(10 * time.Second)
	if largest, cause := f.g.Largest(f.now, 0, basePump); largest != 0 || cause != CauseAcidBaseChangeover {
		t.Errorf("base after acid: %s %s", largest, cause)
	}
	f.set(0, dosing.QuantityLevel, 1060)
	f.pass(10 * time.Second)
	if _, tripped := f.trip(0, CauseLevelHigh); !tripped {
		t.Error("the new limit does not hold")
	}
	s2 := farmSettings()
	s2.Inputs[0].NotFitted = "gone"
	f.w.Reconfigure(f.now, s2, []dosing.Titration{line(2)})
	f.wantFree(0, "no pH input", noneFree)
	f.w.Reconfigure(f.now, &Settings{}, nil)
	f.wantFree(0, "another station", noneFree)
	f.w.Reconfigure(f.now, nil, nil)
	f.wantFree(0, "no settings", noneFree)
}

func TestWhatIsNotThereIsRefusedWithoutAPanic(t *testing.T) {
	f := newFarm(t)
	w, now := f.w, f.now
	for _, far := range []int{0, 7} { // the next, and one far off
		tank, pump := dosing.TankID(len(w.tanks)+far), dosing.PumpID(len(w.pumps)+far)
		input, node := dosing.InputID(len(w.inputs)+far), NodeID(len(w.nodes)+far)
		w.Aim(tank, dosing.Target{})
		w.Learned(tank, 0, 1, 3)
		w.Serviced(now, tank)
		w.SetMode(now, tank, ModeArmed)
		w.SetState(now, tank, OperatorState{})
		w.Confirm(now, tank)
		w.Clear(now, tank)
		w.RestoreLatch(tank, CauseLeak, now)
		w.RestorePumpLatch(tank, acidPump, CauseNoResponse, now)
		w.RestoreLevel(now, tank, 1000)
		w.Rejected(now, input, "")
		w.Heartbeat(now, node, "first", 0, true)
		w.Refilled(pump)
		w.Used(pump, time.Hour, 1)
		w.Demand(pump, 1, 1)
		w.Fill(pump, 1, 1)
		w.Spent(now, pump, 1)
		w.Voided(pump, 1)
		w.Accepted(pump)
		w.Contradicted(now, tank, acidPump, "")
		w.RefusedForGood(now, 0, pump, "")
		w.Raised(now, tank, acidPump, 1, 2, 1)
		w.Raised(now, 0, pump, 1, 2, 1)
		w.Doubted(now, tank, pump)
		w.Closed(now, tank, acidPump, 1, FateKnown, 1)
		w.Closed(now, 0, pump, 1, FateKnown, 1)
		w.Closed(now, 0, acidPump, 4711, FateKnown, dosing.Millilitre)
		for _, d := range []dosing.Dose{{Tank: tank, Volume: 1}, {Pump: pump, Volume: 1}, {Volume: 0}, {Volume: -5}} {
			w.Opened(d)
			w.ByHand(d)
		}
		if w.HourlyCap(pump) != 0 || w.DailyCap(pump) != 0 || w.Trips(tank) != nil {
			t.Error("a pump or tank that is not there has caps or trips")
		}
		if _, blocked := w.Blocks(tank, 0); !blocked {
			t.Error("a tank that is not there is free")
		}
		if _, blocked := w.Blocks(0, pump); !blocked {
			t.Error("a pump that is not there is free")
		}
		if _, ok := w.Fit(tank, dosing.QuantityPH); ok {
			t.Error("a tank that is not there is fit")
		}
		if _, ok := w.Resting(now, tank); ok {
			t.Error("a tank that is not there rests")
		}
		if _, _, _, seen := w.Node(now, node); seen {
			t.Error("a node that is not there was heard")
		}
		if w.Mode(tank) != ModeObserving {
			t.Error("a tank that is not there is armed")
		}
		if _, _, ok := w.Input(input); ok {
			t.Error("an input that is not there was read")
		}
		if w.Read(dosing.Reading{}) != dosing.QualityFailure {
			t.Error("the zero reading is fit")
		}
		none, _ := dosing.NewReading(input, dosing.QuantityPH, 6, now, 0, false)
		if w.Read(none) != dosing.QualityFailure {
			t.Error("a reading of no input is fit")
		}
	}
	f.pass(time.Second)
	f.wantFree(0, "afterwards", allFree)
}

func TestServicePutsTheGateBackToWhatWasCommissioned(t *testing.T) {
	f := newFarm(t)
	f.w.Learned(0, 0.3, 0.1, 5)
	before := f.g.BufferFloor(f.now, 0)
	f.w.Serviced(f.now, 0)
	if after := f.g.BufferFloor(f.now, 0); !(after < before) || math.Abs(after-math.Exp(-0.55)) > 1e-12 {
		t.Errorf("floor %.3f, then %.3f", before, after)
	}
}

func TestAProbeThatWasServicedIsBelievedAtOnceAndNoOtherIs(t *testing.T) {
	for name, service := range map[string]func(*farm){
		"a service": func(f *farm) { f.w.Serviced(f.now, 0) },
		"the end of a maintenance": func(f *farm) {
			f.w.SetState(f.now, 0, OperatorState{Maintenance: true})
			f.pass(10 * time.Second)
			f.w.SetState(f.now, 0, OperatorState{})
		},
		"water that a person confirmed": func(f *farm) { f.w.Confirm(f.now, 0) },
	} {
		f := newFarm(t)
		service(f)
		for _, c := range []struct {
			tank dosing.TankID
			q    dosing.Quantity
			to   float64
			want bool
		}{{0, dosing.QuantityPH, 6.9, true}, {0, dosing.QuantityEC, 2.9, true}, {1, dosing.QuantityPH, 6.9, false}, {1, dosing.QuantityEC, 2.9, false}} {
			if got := f.send(f.input(c.tank, c.q), c.to, 0, false).MayDose(); got != c.want {
				t.Errorf("after %s of the north, tank %d, %s of %g believed: %v", name, c.tank, c.q, c.to, got)
			}
		}
	}
	f := newFarm(t)
	f.w.SetState(f.now, 0, OperatorState{Maintenance: true})
	if f.send(f.input(0, dosing.QuantityPH), 6.9, 0, false).MayDose() {
		t.Error("a maintenance that has only begun makes a wild reading good")
	}
}

func TestASetpointThatNoTankCanHaveIsNone(t *testing.T) {
	f := newFarm(t)
	for _, c := range []struct {
		target dosing.Target
		aimed  bool
	}{
		{dosing.Target{PH: 3.5, EC: 2}, true}, {dosing.Target{PH: 3.49, EC: 2}, false}, {dosing.Target{PH: 9.5, EC: 2}, true}, {dosing.Target{PH: 9.51, EC: 2}, false},
		{dosing.Target{PH: 5.8, EC: 10}, true}, {dosing.Target{PH: 5.8, EC: 10.1}, false}, {dosing.Target{PH: 5.8, EC: 0}, false}, {dosing.Target{PH: 5.8, EC: 0.01}, true},
	} {
		f.w.Aim(0, c.target)
		v := f.judge(0, sulfatePump, 5*dosing.Millilitre)
		if none := v.Cause == CauseAwayFromSetpoint && v.Detail == "no setpoint"; none == c.aimed {
			t.Errorf("%+v: %+v", c.target, v)
		}
	}
}

func TestWhatNobodyCanSayMoreOfCountsAgainstThePumpsCaps(t *testing.T) {
	f := newFarm(t, func(s *Settings) { s.Caps[calciumPump].PerHour = 60 * dosing.Millilitre })
	f.w.Spent(f.now, calciumPump, 50*dosing.Millilitre)
	f.w.Spent(f.now, calciumPump, 0)
	if largest, _ := f.g.Largest(f.now, 0, calciumPump); largest != 10*dosing.Millilitre {
		t.Errorf("50 of 60 mL are spent: largest %s", largest)
	}
}

func TestALaterWordRaisesWhatCountsAndNeverLowersIt(t *testing.T) {
	f := newFarm(t, func(s *Settings) { s.Caps[calciumPump].PerHour = 60 * dosing.Millilitre })
	key := f.open(0, calciumPump, 10*dosing.Millilitre)
	f.w.Closed(f.now, 0, calciumPump, key, FateKnown, 10*dosing.Millilitre)
	for _, c := range []struct{ volume, before, want dosing.Volume }{{40, 10, 40}, {40, 40, 40}, {5, 40, 40}} {
		f.w.Raised(f.now, 0, calciumPump, key, c.volume*dosing.Millilitre, c.before*dosing.Millilitre)
		if got := f.totals.Hour(calciumPump, f.now.Up); got != c.want*dosing.Millilitre {
			t.Errorf("%d mL after %d mL: %s count", c.volume, c.before, got)
		}
	}
}

func TestAnUncertainDoseThatIsExplainedInTheEndIsNotOneOfTheThree(t *testing.T) {
	f := newFarm(t)
	lost := func(fate Fate) {
		key := f.open(0, sulfatePump, 5*dosing.Millilitre)
		f.pass(20 * time.Second)
		f.w.Doubted(f.now, 0, sulfatePump)
		f.pass(5 * time.Minute)
		f.w.Closed(f.now, 0, sulfatePump, key, fate, 5*dosing.Millilitre)
		f.pass(6 * time.Minute)
	}
	for _, fate := range []Fate{FateUnknown, FateKnown, FateKnown, FateUnknown} {
		lost(fate)
	}
	if trip, tripped := f.trip(0, CauseDoseUncertain); tripped {
		t.Fatalf("two of four stayed uncertain: %+v", trip)
	}
	lost(FateUnknown)
	if trip, tripped := f.trip(0, CauseDoseUncertain); !tripped || !trip.Latched || trip.Detail != "the third uncertain dose in 24 h" {
		t.Errorf("the third: %v %+v", tripped, trip)
	}
}

func TestTheThirdTimeCountsWithinADay(t *testing.T) {
	for last, third := range map[time.Duration]bool{24 * time.Hour: true, 24*time.Hour + time.Second: false} {
		var e episode
		for _, up := range []time.Duration{0, 12 * time.Hour} {
			if e.begin(up) || e.begin(up+time.Second) {
				t.Errorf("at %s it is the third", up)
			}
			e.on = false
		}
		if e.begin(last) != third {
			t.Errorf("the third at %s: %v", last, !third)
		}
	}
}

func TestWhatAPersonSaysOfTheWaterIsToldInTheirWords(t *testing.T) {
	for state, want := range map[OperatorState]string{
		{Unconfirmed: true, Why: "new tank"}: "new tank", {Cleaning: true, Why: "peroxide"}: "peroxide", {Cleaning: true}: "a cleaning was entered"} {
		f := newFarm(t)
		f.w.SetState(f.now, 0, state)
		f.pass(time.Second)
		if trip, tripped := f.trip(0, CauseSolutionUnconfirmed); !tripped || trip.Detail != want {
			t.Errorf("%+v: %v %+v", state, tripped, trip)
		}
	}
}

func TestDosesIntoATankThatIsLockedAreCountedWithoutAPanic(t *testing.T) {
	s := farmSettings()
	s.PumpNode[basePump] = NodeID(len(s.Nodes)) // of a node that is not there
	totals, now := dosing.NewTotals(len(s.Pumps), len(s.Tanks)), dosing.Instant{Up: time.Second}
	w := NewWatch(s, totals, nil, now) // no curves: both tanks are locked
	for _, p := range []dosing.PumpID{acidPump, basePump} {
		d := dosing.Dose{Key: 5, Tank: 0, Pump: p, Volume: dosing.Millilitre, Up: now.Up, Open: true}
		w.Opened(d)
		w.Closed(now, 0, p, 5, FateKnown, dosing.Millilitre)
		w.ByHand(d)
	}
	w.Serviced(now, 0)
	w.Refilled(acidPump)
	w.Confirm(now, 0)
	w.Clear(now, 0)
	w.Evaluate(now)
	if got := totals.Hour(acidPump, now.Up); got != 2*dosing.Millilitre {
		t.Errorf("%s of acid counted, want the dose and what was poured in", got)
	}
}

func TestADoseThatWasGivenExplainsALargerJump(t *testing.T) {
	for _, dosed := range []bool{false, true} {
		f := newFarm(t)
		f.pass(10 * time.Minute)
		if dosed {
			f.dose(0, acidPump, dosing.Millilitre)
		}
		f.pass(7 * time.Minute) // of the eight in which it may still move the probe
		if got := f.send(f.input(0, dosing.QuantityPH), 5.35, 0, false).MayDose(); got != dosed {
			t.Errorf("dosed %v: a fall of 0.45 pH is believed: %v", dosed, got)
		}
		f.pass(3 * time.Minute)
		f.drift(0, dosing.QuantityPH, 5.8)
		if f.send(f.input(0, dosing.QuantityPH), 5.35, 0, false).MayDose() {
			t.Errorf("dosed %v: it is believed when the dose has long mixed", dosed)
		}
	}
}
