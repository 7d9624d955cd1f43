package safety

import (
	"math"
	"testing"
	"time"

	"leat/dosing"
)

func TestNothingIsDosedBeforeReadingsComeAndTheStartIsOver(t *testing.T) {
	f := freshFarm(t)
	f.w.Evaluate(f.now)
	for _, cause := range []Cause{CausePHMissing, CauseECMissing, CauseTemperatureUnfit, CauseLevelUnknown, CauseStarting, CauseBrokerDown, CauseLeak, CauseStopInput, CauseNodeSilent} {
		if _, tripped := f.trip(0, cause); !tripped {
			t.Errorf("%s does not stand at the start", cause)
		}
	}
	if trip, _ := f.trip(0, CausePHMissing); trip.Scope != ScopeTank || trip.Action != Hold {
		t.Errorf("%+v", trip)
	}
	if trip, _ := f.trip(0, CauseECMissing); trip.Scope != ScopeNutrients {
		t.Errorf("%+v", trip)
	}
	f.wantFree(0, "at the start", noneFree)
	f.pass(30 * time.Second)
	if _, cause := f.g.Largest(f.now, 0, acidPump); cause != CauseStarting {
		t.Errorf("half a minute after the start doses wait for %s", cause)
	}
	f.pass(31 * time.Second)
	f.wantFree(0, "after the start", allFree)
}

func TestStartWaitsOneMixingTimeOfTheSlowestTankWhenTheFileIsSilent(t *testing.T) {
	f := freshFarm(t, func(s *Settings) { s.StartSettling = 0; s.Tanks[1].Lag = 2 * time.Minute })
	f.pass(9*time.Minute - 2*time.Second)
	f.wantFree(0, "before one mixing time", noneFree)
	f.pass(3 * time.Second)
	f.wantFree(0, "after one mixing time", allFree)
}

func TestNewWatchBeforeAnyEvaluationBlocks(t *testing.T) {
	s := farmSettings()
	w := NewWatch(s, dosing.NewTotals(4, 2), []dosing.Titration{line(1), line(1)}, dosing.Instant{})
	for p := range pumpCount {
		if _, blocked := w.Blocks(0, p); !blocked {
			t.Errorf("pump %d is not blocked", p)
		}
	}
	if w.Mode(0) != ModeObserving {
		t.Errorf("a new watch is %s", w.Mode(0))
	}
}

func TestCheckThatWasNotMadeCountsAsTripped(t *testing.T) {
	for c := range tankChecks {
		if tankChecks[c] == nil {
			continue
		}
		f := newFarm(t)
		fewer := tankChecks
		fewer[c] = nil
		f.w.tankChecks = &fewer
		f.pass(time.Second)
		trip, tripped := f.trip(0, CauseInputNotEvaluated)
		if !tripped || trip.Action != Lockout || trip.Scope != ScopeTank {
			t.Fatalf("without the check of %s: %+v, %v", Cause(c), trip, tripped)
		}
		f.wantFree(0, "without a check", noneFree)
		f.w.tankChecks = &tankChecks
		f.pass(time.Second)
		f.wantFree(0, "with it again", allFree)
	}
}

func TestPumpCheckThatWasNotMadeStopsThatPump(t *testing.T) {
	for c := range pumpChecks {
		if pumpChecks[c] == nil || Cause(c) == CauseConfigurationUnsafe {
			continue // that row is a tank's; a pump only narrows it
		}
		f := newFarm(t)
		fewer := pumpChecks
		fewer[c] = nil
		f.w.pumpChecks = &fewer
		f.pass(time.Second)
		if trip, tripped := f.trip(0, CauseInputNotEvaluated); !tripped || trip.Scope != ScopePump || trip.Action != Lockout {
			t.Fatalf("without the check of %s: %+v, %v", Cause(c), trip, tripped)
		}
		f.wantFree(0, "without a check", noneFree)
	}
}

func TestAStopPressedBrieflyBetweenTwoEvaluationsStillStops(t *testing.T) {
	f := newFarm(t)
	id := f.input(0, dosing.QuantityStop)
	f.send(id, 1, 0, false)
	f.send(id, 0, 0, false)
	f.pass(time.Second)
	for tank := range dosing.TankID(2) {
		if trip, tripped := f.trip(tank, CauseStopInput); !tripped || !trip.Latched {
			t.Errorf("tank %d: %+v", tank, trip)
		}
	}
}

func TestLatchedTripsAreToldOnceAndSurviveARestart(t *testing.T) {
	f := newFarm(t)
	f.set(0, dosing.QuantityLeak, 1)
	f.pass(10 * time.Second)
	latches := f.w.NewLatches()
	if len(latches) != 1 || latches[0].Cause != CauseLeak || latches[0].Tank != 0 || !latches[0].Latched || latches[0].Action != Stop {
		t.Fatalf("%+v", latches)
	}
	f.pass(10 * time.Second)
	if again := f.w.NewLatches(); len(again) != 0 {
		t.Fatalf("told twice: %+v", again)
	}
	restarted := newFarm(t)
	restarted.w.RestoreLatch(0, CauseLeak, latches[0].Since)
	restarted.wantFree(0, "after a restart", noneFree)
	restarted.wantFree(1, "after a restart", allFree)
	restarted.pass(time.Hour)
	if trip, tripped := restarted.trip(0, CauseLeak); !tripped || !trip.Latched || trip.Since != latches[0].Since {
		t.Fatalf("%+v", trip)
	}
	if restarted.w.Mode(0) != ModeStopped || len(restarted.w.NewLatches()) != 0 {
		t.Errorf("mode %s", restarted.w.Mode(0))
	}
	restarted.w.SetMode(restarted.now, 0, ModeArmed)
	restarted.pass(time.Second)
	restarted.wantFree(0, "armed again", noneFree)
	restarted.w.Clear(restarted.now, 0)
	restarted.wantFree(0, "cleared by a person", allFree)
}

func TestRestoredTripOfAPumpStopsItAndWithoutItsNameTheWholeTank(t *testing.T) {
	f := newFarm(t)
	f.w.RestorePumpLatch(0, sulfatePump, CauseNoResponse, f.now)
	f.wantFree(0, "one pump", [4]bool{true, true, true, false})
	f.wantFree(1, "one pump of the row", [4]bool{true, true, true, false})
	f.w.Clear(f.now, 0)
	f.wantFree(0, "cleared", allFree)
	f.w.RestoreLatch(0, CauseNoResponse, f.now)
	f.wantFree(0, "unknown pump", noneFree)
	f.wantFree(1, "unknown pump", allFree)
	f.w.Clear(f.now, 0)
	f.w.RestoreLatch(0, CauseCount, f.now)
	f.wantFree(0, "a cause nobody knows", noneFree)
	f.w.Clear(f.now, 0)
	f.w.RestorePumpLatch(0, 99, CauseLeak, f.now)
	f.wantFree(0, "a pump nobody knows", noneFree)
	f.w.RestoreLatch(99, CauseLeak, f.now)
	f.w.Clear(f.now, 99)
}

func TestUnconfirmedSolutionOutlivesClearArmingAndRelease(t *testing.T) {
	f := newFarm(t)
	f.w.SetState(f.now, 0, OperatorState{Cleaning: true})
	f.pass(time.Second)
	f.w.SetState(f.now, 0, OperatorState{})
	f.w.Clear(f.now, 0)
	f.w.SetMode(f.now, 0, ModeArmed)
	f.pass(time.Hour)
	f.wantFree(0, "cleared and armed", noneFree)
	if f.w.Mode(0) != ModeStopped {
		t.Errorf("mode %s", f.w.Mode(0))
	}
	f.w.Confirm(f.now, 0)
	f.pass(301 * time.Second)
	f.wantFree(0, "confirmed", allFree)
}

func TestConfirmedStrangeWaterIsBelievedUntilItWasOrdinary(t *testing.T) {
	f := newFarm(t)
	f.drift(0, dosing.QuantityPH, 7.5)
	f.pass(20 * time.Second)
	if latches := f.w.NewLatches(); len(latches) != 1 || latches[0].Cause != CauseSolutionUnconfirmed {
		t.Fatalf("%+v", latches)
	}
	f.w.Confirm(f.now, 0)
	f.pass(10 * time.Minute)
	if _, tripped := f.trip(0, CauseSolutionUnconfirmed); tripped {
		t.Fatal("what a person confirmed is doubted again")
	}
	if largest, cause := f.g.Largest(f.now, 0, acidPump); largest == 0 {
		t.Errorf("acid waits for %s", cause)
	}
	f.drift(0, dosing.QuantityPH, 5.8)
	f.drift(0, dosing.QuantityPH, 7.5)
	f.pass(20 * time.Second)
	if _, tripped := f.trip(0, CauseSolutionUnconfirmed); !tripped {
		t.Error("the next time it is strange nobody asks")
	}
}

func TestAcidWaitsFromTheFirstStrangeReadingOn(t *testing.T) {
	f := newFarm(t)
	f.drift(0, dosing.QuantityPH, 7.25)
	f.wantFree(0, "not yet strange", [4]bool{true, false, true, true})
	f.drift(0, dosing.QuantityPH, 7.35)
	if trip, tripped := f.trip(0, CauseSolutionUnconfirmed); !tripped || trip.Latched {
		t.Errorf("%+v", trip)
	}
	f.wantFree(0, "one strange reading", noneFree)
}

func TestTopUpAndFloodExplainALevelThatAnEmptiedTankDoesNot(t *testing.T) {
	f := newFarm(t)
	f.set(0, dosing.QuantityFlood, 1)
	f.pass(10 * time.Second)
	f.set(0, dosing.QuantityLevel, 600) // 40 % out on the benches
	f.pass(5 * time.Minute)
	if _, tripped := f.trip(0, CauseLevelLow); tripped {
		t.Error("a flood that took the water raises level low")
	}
	f.set(0, dosing.QuantityLevel, 1000)
	f.set(0, dosing.QuantityFlood, 0)
	f.pass(3 * time.Minute)
	f.wantFree(0, "after the flood", allFree)
	for level := 1000.0; level > 600; level -= 4 {
		f.set(0, dosing.QuantityLevel, level) // evaporation, 4 L in 2 min: slow
		f.pass(2 * time.Minute)
	}
	if trip, tripped := f.trip(0, CauseSolutionUnconfirmed); tripped {
		t.Errorf("evaporation: %+v", trip)
	}
	f.set(0, dosing.QuantityTopUp, 1)
	f.pass(10 * time.Second)
	for level := 600.0; level <= 1000; level += 20 {
		f.set(0, dosing.QuantityLevel, level)
		f.pass(5 * time.Second)
	}
	f.set(0, dosing.QuantityTopUp, 0)
	f.pass(3 * time.Minute)
	// The alkalinity that came with the water will raise pH: base is the wrong way.
	f.wantFree(0, "after top-up", [4]bool{true, false, true, true})
	f.set(0, dosing.QuantityLevel, 690)
	f.pass(10 * time.Second)
	if trip, tripped := f.trip(0, CauseSolutionUnconfirmed); !tripped || !trip.Latched {
		t.Errorf("water that vanished: %+v", f.w.Trips(0))
	}
}

func TestModesShowWhatHoldsTheWholeTankOnly(t *testing.T) {
	f := newFarm(t)
	if f.w.Mode(0) != ModeArmed {
		t.Fatalf("mode %s", f.w.Mode(0))
	}
	f.silence(0, dosing.QuantityEC, true)
	f.pass(30 * time.Second)
	if f.w.Mode(0) != ModeArmed {
		t.Errorf("an EC hold makes the tank %s: pH must go on", f.w.Mode(0))
	}
	f.silence(0, dosing.QuantityPH, true)
	f.pass(30 * time.Second)
	if f.w.Mode(0) != ModeHolding {
		t.Errorf("without pH the tank is %s", f.w.Mode(0))
	}
	f.w.SetMode(f.now, 0, ModeStopped)
	f.pass(time.Second)
	if f.w.Mode(0) != ModeStopped {
		t.Errorf("stopped reads %s", f.w.Mode(0))
	}
	f.w.SetMode(f.now, 0, ModeHolding)
	f.pass(time.Second)
	if f.w.Mode(0) != ModeObserving {
		t.Errorf("a mode that cannot be set reads %s", f.w.Mode(0))
	}
	if f.w.Mode(9) != ModeObserving {
		t.Error("a tank that is not there")
	}
}

func TestTripsComeMostSevereFirst(t *testing.T) {
	f := newFarm(t)
	f.silence(0, dosing.QuantityEC, true)
	f.node[0].silent = true
	f.set(0, dosing.QuantityCirculation, 0)
	f.set(0, dosing.QuantityLeak, 1)
	f.w.SetLedger(f.now, LedgerBroken)
	f.pass(30 * time.Second)
	trips := f.w.Trips(0)
	for i := 1; i < len(trips); i++ {
		if trips[i].before(&trips[i-1]) {
			t.Errorf("%s stands behind %s", trips[i].Cause, trips[i-1].Cause)
		}
	}
	if len(trips) < 5 || trips[0].Cause != CauseLedgerUnavailable || trips[1].Cause != CauseLeak || trips[2].Cause != CauseCirculationOff {
		t.Errorf("%+v", trips)
	}
	if trip, blocked := f.w.Blocks(0, acidPump); !blocked || trip.Cause != CauseLedgerUnavailable {
		t.Errorf("%+v", trip)
	}
}

func TestWallClockStepsNeverWithholdADoseButABackwardUptimeDoes(t *testing.T) {
	f := newFarm(t)
	for _, by := range []time.Duration{-30 * 365 * 24 * time.Hour, 10 * 365 * 24 * time.Hour, -time.Hour} {
		f.now.Wall = f.now.Wall.Add(by)
		f.w.Jumped(f.now, by)
		f.pass(10 * time.Second)
		f.wantFree(0, "after a wall clock step", allFree)
	}
	back := f.now
	back.Up -= time.Second
	f.w.Evaluate(back)
	if trip, tripped := f.trip(0, CauseClockUntrusted); !tripped || trip.Action != Lockout || trip.Scope != ScopeStation {
		t.Errorf("%+v", trip)
	}
	f.pass(time.Hour)
	f.w.Clear(f.now, 0)
	f.wantFree(0, "uptime ran backwards once", noneFree)
}

func TestUnsafeSettingsLockTheTankOrThePump(t *testing.T) {
	nan := math.NaN()
	tanks := map[string]func(*Settings){
		"no pH probe":       func(s *Settings) { s.Inputs[0].NotFitted = "broken" },
		"no word on a stop": func(s *Settings) { s.Inputs = append(s.Inputs[:len(s.Inputs)-2], s.Inputs[len(s.Inputs)-1]) },
		"volume":            func(s *Settings) { s.Tanks[0].Volume = dosing.Litres(nan) },
		"least":             func(s *Settings) { s.Tanks[0].Least = 0 },
		"least above":       func(s *Settings) { s.Tanks[0].Least = 2000 },
		"greatest":          func(s *Settings) { s.Tanks[0].Greatest = dosing.Litres(nan) },
		"dead time":         func(s *Settings) { s.Tanks[0].DeadTime = 0 },
		"lag":               func(s *Settings) { s.Tanks[0].Lag = -time.Second },
		"scale":             func(s *Settings) { s.Tanks[0].BufferScale = nan },
		"no scale":          func(s *Settings) { s.Tanks[0].BufferScale = 0 },
		"alkalinity":        func(s *Settings) { s.Tanks[0].TopUp.Alkalinity = nan },
		"temperature":       func(s *Settings) { s.Tanks[0].TemperatureHigh = dosing.Celsius(nan) },
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
		"no smallest":   func(s *Settings) { s.Pumps[acidPump].Smallest = 0 },
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
	if f.w.HourCap(acidPump) != 100*dosing.Millilitre || f.w.DayCap(acidPump) != dosing.Litre {
		t.Errorf("caps %s and %s", f.w.HourCap(acidPump), f.w.DayCap(acidPump))
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

func TestVolumeIsTheLevelElseTheLeastAtWhichDosesAreAllowed(t *testing.T) {
	f := newFarm(t)
	f.set(0, dosing.QuantityLevel, 930)
	f.pass(5 * time.Second)
	if v := f.w.Volume(0); v != 930 {
		t.Errorf("%s", v)
	}
	f.silence(0, dosing.QuantityLevel, true)
	f.pass(time.Minute)
	if v := f.w.Volume(0); v != 500 {
		t.Errorf("unknown level: %s", v)
	}
	if f.w.Volume(9) != 0 {
		t.Error("a tank that is not there has a volume")
	}
}

func TestOfTwoLevelsTheLowerCounts(t *testing.T) {
	f := newFarm(t, secondProbe(dosing.QuantityLevel, 0))
	f.value[dosing.InputID(len(f.s.Inputs)-1)] = 870
	f.pass(5 * time.Second)
	if v := f.w.Volume(0); v != 870 {
		t.Errorf("%s", v)
	}
}

func TestMedianOfThreeProbesHasItsWayAgainstALiar(t *testing.T) {
	f := newFarm(t, secondProbe(dosing.QuantityPH, 0), secondProbe(dosing.QuantityPH, 0))
	liar := dosing.InputID(len(f.s.Inputs) - 1)
	for f.value[liar] < 7 {
		f.value[liar] += 0.1
		f.pass(5 * time.Second)
	}
	f.pass(10 * time.Minute)
	if value, ok := f.w.Fit(0, dosing.QuantityPH); !ok || math.Abs(value-5.8) > 0.02 {
		t.Errorf("pH %.2f, %v", value, ok)
	}
	f.wantFree(0, "two of three agree", allFree)
	f.mute[liar] = true
	f.mute[liar-1] = true
	f.pass(time.Minute)
	f.wantFree(0, "one probe left", allFree)
}

func TestReconfigurationKeepsWhatWasSeenCountedAndLatched(t *testing.T) {
	f := newFarm(t)
	f.dose(0, acidPump, 5*dosing.Millilitre)
	f.set(1, dosing.QuantityLeak, 1)
	f.pass(10 * time.Second)
	s := farmSettings()
	s.Caps[acidPump].PerHour = 5 * dosing.Millilitre
	s.Tanks[0].Greatest = 1050
	f.s = s
	f.w.Reconfigure(f.now, s, nil)
	if trip, tripped := f.trip(0, CauseHourCap); !tripped || trip.Pump != acidPump || f.w.HourCap(acidPump) != 5*dosing.Millilitre {
		t.Errorf("the new cap does not hold: %+v", f.w.Trips(0))
	}
	if trip, tripped := f.trip(1, CauseLeak); !tripped || !trip.Latched {
		t.Error("the latch is gone")
	}
	f.pass(10 * time.Second)
	if largest, cause := f.g.Largest(f.now, 0, basePump); largest != 0 || cause != CauseCounterReagent {
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
	w.Aim(9, dosing.Target{})
	w.Learned(9, 0, 1, 3)
	w.Serviced(now, 9)
	w.SetMode(now, 9, ModeArmed)
	w.SetState(now, 9, OperatorState{})
	w.Confirm(now, 9)
	w.Rejected(now, 9999, "")
	w.Used(9, time.Hour, 1)
	w.Demand(9, 1, 1)
	w.Fill(9, 1, 1)
	w.Doubted(now, 9, 9)
	w.Closed(now, 9, 9, 1, true, 1)
	w.Closed(now, 0, acidPump, 4711, true, dosing.Millilitre)
	for _, d := range []dosing.Dose{{Tank: 9, Volume: 1}, {Pump: 9, Volume: 1}, {Volume: 0}, {Volume: -5}} {
		w.Opened(d)
		w.ByHand(d)
	}
	if w.HourCap(9) != 0 || w.DayCap(9) != 0 || w.Trips(9) != nil {
		t.Error("a pump or tank that is not there has caps or trips")
	}
	if _, blocked := w.Blocks(9, 0); !blocked {
		t.Error("a tank that is not there is free")
	}
	if _, blocked := w.Blocks(0, 9); !blocked {
		t.Error("a pump that is not there is free")
	}
	if _, ok := w.Fit(9, dosing.QuantityPH); ok {
		t.Error("a tank that is not there is fit")
	}
	if _, _, ok := w.Input(9999); ok {
		t.Error("an input that is not there was read")
	}
	if w.Read(dosing.Reading{}) != dosing.QualityFailure {
		t.Error("the zero reading is fit")
	}
	far, _ := dosing.NewReading(9999, dosing.QuantityPH, 6, now, 0, false)
	if w.Read(far) != dosing.QualityFailure {
		t.Error("a reading of no input is fit")
	}
	f.pass(time.Second)
	f.wantFree(0, "afterwards", allFree)
}

func TestDosesThatTheWaterDoesNotAnswerStopThePump(t *testing.T) {
	f := newFarm(t)
	f.w.Aim(0, dosing.Target{PH: 5.0, EC: 2})
	f.noise = 0.004
	for range 12 {
		if largest, _ := f.g.Largest(f.now, 0, acidPump); largest >= 3*dosing.Millilitre {
			f.dose(0, acidPump, 3*dosing.Millilitre)
		}
		f.pass(6 * time.Minute)
		if trip, tripped := f.trip(0, CauseNoResponse); tripped {
			if trip.Scope != ScopePump || trip.Pump != acidPump || !trip.Latched || trip.Action != Stop {
				t.Errorf("%+v", trip)
			}
			f.wantFree(1, "no response to acid", [4]bool{false, true, true, true})
			if latches := f.w.NewLatches(); len(latches) != 1 || latches[0].Pump != acidPump {
				t.Errorf("%+v", latches)
			}
			f.w.Clear(f.now, 0)
			f.wantFree(1, "cleared", allFree)
			return
		}
	}
	t.Fatalf("acid without any answer goes on: %+v", f.w.Trips(0))
}

func TestAcidThatRaisesPHStopsAcidAndBase(t *testing.T) {
	f := newFarm(t)
	f.w.Aim(0, dosing.Target{PH: 5.0, EC: 2})
	f.noise = 0.004
	f.w.Learned(0, 0, 0.1, 5)
	id := f.input(0, dosing.QuantityPH)
	for range 10 {
		if largest, _ := f.g.Largest(f.now, 0, acidPump); largest >= 5*dosing.Millilitre {
			f.dose(0, acidPump, 5*dosing.Millilitre)
			f.pass(time.Minute)
			for range 10 {
				f.value[id] += 0.006
				f.pass(10 * time.Second)
			}
		}
		f.pass(6 * time.Minute)
		if trip, tripped := f.trip(0, CauseWrongDirection); tripped {
			if trip.Scope != ScopeReagents || !trip.Latched {
				t.Errorf("%+v", trip)
			}
			f.wantFree(0, "swapped", stocksOnly)
			return
		}
	}
	t.Fatalf("swapped containers are not noticed: %+v", f.w.Trips(0))
}

func TestASecondFindingThatReachesElsewhereStopsTheTank(t *testing.T) {
	f := newFarm(t)
	tank := &f.w.tanks[0]
	f.w.latchAs(f.now, &tank.cells, CauseNoResponse, 0, 0, ScopeNutrients, "stocks")
	f.wantFree(0, "stocks", reagentsOnly)
	f.w.latchAs(f.now, &tank.cells, CauseNoResponse, 0, 0, ScopeReagents, "acid")
	f.wantFree(0, "stocks and acid", noneFree)
}

func TestWaterThatOnlyFillsFromTopUpIsNotDoubtedButALossDuringItIs(t *testing.T) {
	f := newFarm(t)
	f.set(0, dosing.QuantityTopUp, 1)
	f.pass(10 * time.Second)
	f.set(0, dosing.QuantityLevel, 600)
	f.pass(10 * time.Second)
	f.set(0, dosing.QuantityTopUp, 0)
	f.pass(40 * time.Second)
	if trip, tripped := f.trip(0, CauseSolutionUnconfirmed); !tripped || !trip.Latched {
		t.Errorf("40 %% of the water left during top-up: %+v", f.w.Trips(0))
	}
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

func TestClearEndsTheDoubtOverDosesThatWereGivenUpAndOnlyThose(t *testing.T) {
	f := newFarm(t)
	key := f.open(0, sulfatePump, 5*dosing.Millilitre)
	f.pass(20 * time.Second)
	f.w.Doubted(f.now, 0, sulfatePump)
	f.pass(time.Second)
	f.w.Clear(f.now, 0)
	if _, tripped := f.trip(0, CauseDoseUncertain); !tripped {
		t.Error("a dose that may still be running is forgiven")
	}
	f.w.Closed(f.now, 0, sulfatePump, key, false, 0)
	f.w.Clear(f.now, 0)
	if _, tripped := f.trip(0, CauseDoseUncertain); tripped {
		t.Error("a person has looked, and still it waits")
	}
	if got := f.totals.Hour(sulfatePump, f.now.Up); got != 5*dosing.Millilitre {
		t.Errorf("%s count, want all of it", got)
	}
}

func TestClearLeavesTheTripsOfPumpsThatServeAnotherTank(t *testing.T) {
	f := newFarm(t, func(s *Settings) { s.Pumps[basePump].Serves = dosing.TankSet(0).With(1) })
	f.w.RestorePumpLatch(1, basePump, CauseNoResponse, f.now)
	f.w.Clear(f.now, 0)
	f.wantFree(1, "another tank was cleared", [4]bool{true, false, true, true})
	f.w.Clear(f.now, 1)
	f.wantFree(1, "this tank was cleared", allFree)
	if f.w.firstTank(basePump) != 1 || f.w.firstTank(acidPump) != 0 {
		t.Error("the record names another tank")
	}
}

func TestBlocksIsFreeWhereNothingStands(t *testing.T) {
	f := newFarm(t)
	if trip, blocked := f.w.Blocks(0, acidPump); blocked {
		t.Errorf("%+v", trip)
	}
}

func TestDurationsReadAsAGrowerWouldSayThem(t *testing.T) {
	for d, want := range map[time.Duration]string{90 * time.Second: "90 s", 5 * time.Minute: "5 min", 3 * time.Hour: "3.0 h"} {
		if got := words(d); got != want {
			t.Errorf("%s reads %q, want %q", d, got, want)
		}
	}
	if ModeHolding.String() != "holding" || Mode(77).String() != "stopped" {
		t.Error("a mode has another name")
	}
}
