package safety

import (
	"math"
	"strings"
	"testing"
	"time"

	"leat/dosing"
)

func TestNothingIsDosedBeforeReadingsComeAndTheStartIsOver(t *testing.T) {
	f := freshFarm(t)
	f.w.Evaluate(f.now)
	for _, cause := range []Cause{CausePHMissing, CauseECMissing, CauseTemperatureInvalid, CauseLevelUnknown, CauseStarting, CauseBrokerDisconnected, CauseLeak, CauseStopInput, CauseNodeOffline} {
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
	f := freshFarm(t, func(s *Settings) { s.StartSettling = 0; s.Tanks[1].TimeConstant = 2 * time.Minute })
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
		f.w.tankChecks, f.w.told = &fewer, true
		f.pass(time.Second)
		trip, tripped := f.trip(0, CauseInputNotEvaluated)
		if !tripped || trip.Action != Lockout || trip.Scope != ScopeTank {
			t.Fatalf("without the check of %s: %+v, %v", Cause(c), trip, tripped)
		}
		f.wantFree(0, "without a check", noneFree)
		f.w.tankChecks, f.w.told = &tankChecks, true
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
		f.w.pumpChecks, f.w.told = &fewer, true
		f.pass(time.Second)
		if trip, tripped := f.trip(0, CauseInputNotEvaluated); !tripped || trip.Scope != ScopePump || trip.Action != Lockout {
			t.Fatalf("without the check of %s: %+v, %v", Cause(c), trip, tripped)
		}
		f.wantFree(0, "without a check", noneFree)
	}
}

// A spark on the wire is one sample; a person's finger is more, however short and
// however much the contact bounces.
func TestAPersonsStopIsAStopAndASparkOnTheWireIsNone(t *testing.T) {
	for what, c := range map[string]struct {
		readings []float64
		latched  bool
	}{
		"one sample":             {[]float64{1, 0}, false},
		"pressed and let go":     {[]float64{1, 1, 0}, true},
		"a contact that bounces": {[]float64{1, 0, 1, 0}, true},
	} {
		f := newFarm(t)
		id := f.input(0, dosing.QuantityStop)
		for _, value := range c.readings {
			f.send(id, value, 0, false)
		}
		f.pass(time.Second)
		f.wantFree(0, what, noneFree)
		f.pass(time.Minute)
		for tank := range dosing.TankID(2) {
			if trip, tripped := f.trip(tank, CauseStopInput); trip.Latched != c.latched || tripped != c.latched {
				t.Errorf("%s, tank %d: a minute later %+v", what, tank, trip)
			}
		}
	}
}

func TestLatchedTripsAreToldOnceAndSurviveARestart(t *testing.T) {
	f := newFarm(t)
	f.set(0, dosing.QuantityLeak, 1)
	f.pass(36 * time.Second)
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

func TestStrangeWaterAtTheEdgeIsOneHoldNotTen(t *testing.T) {
	f := newFarm(t)
	f.drift(0, dosing.QuantityPH, 7.31)
	trip, tripped := f.trip(0, CauseSolutionUnconfirmed)
	if !tripped || trip.Latched {
		t.Fatalf("above setpoint + 1.5: %+v, %v", trip, tripped)
	}
	f.drift(0, dosing.QuantityPH, 7.28)
	if _, tripped := f.trip(0, CauseSolutionUnconfirmed); !tripped {
		t.Error("the noise of a probe at the edge lifts the hold")
	}
	f.drift(0, dosing.QuantityPH, 7.15)
	f.wantFree(0, "well below the edge", [4]bool{true, false, true, true})
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
	f.pass(40 * time.Second)
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
	f.w.SetLedger(f.now, LedgerFailed)
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
	f.w.NewLatches()
	f.w.latchAs(f.now, &tank.cells, CauseNoResponse, 0, 0, ScopeReagents, "acid once more")
	if again := f.w.NewLatches(); len(again) != 0 {
		t.Errorf("what stops the whole tank already is told again: %+v", again)
	}
}

func TestARestoredTripIsSeenBeforeTheFirstRound(t *testing.T) {
	f := newFarm(t)
	f.w.RestorePumpLatch(0, sulfatePump, CauseNoResponse, f.now)
	f.w.RestoreLatch(1, CauseLeak, f.now)
	for tank, cause := range []Cause{CauseNoResponse, CauseLeak} {
		if trip, tripped := f.trip(dosing.TankID(tank), cause); !tripped || trip.Detail != "since before the restart" {
			t.Errorf("%s: %v %+v", cause, tripped, trip)
		}
	}
	f = newFarm(t)
	f.w.RestorePumpLatch(0, sulfatePump, CauseLeak, f.now)
	f.wantFree(0, "a leak that an older version laid to a pump", noneFree)
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
	f.w.Closed(f.now, 0, sulfatePump, key, FateUnknown, 0)
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

func TestTwoTemperatureSensorsThatDisagreeStopTheNutrients(t *testing.T) {
	f := newFarm(t, secondProbe(dosing.QuantityTemperature, 0))
	f.value[dosing.InputID(len(f.s.Inputs)-1)] = 23
	f.pass(5*time.Minute + 10*time.Second)
	for _, cause := range []Cause{CauseProbesDisagree, CauseTemperatureInvalid} {
		if trip, tripped := f.trip(0, cause); !tripped || trip.Scope != ScopeNutrients || trip.Detail == "" {
			t.Errorf("%s: %+v", cause, trip)
		}
	}
	f.wantFree(0, "20 and 23 °C", reagentsOnly)
}

func TestEachTripHasItsFigures(t *testing.T) {
	f := newFarm(t)
	f.set(0, dosing.QuantityEC, 0.01)
	f.silence(0, dosing.QuantityPH, true)
	f.set(0, dosing.QuantityLevel, 1105)
	f.node[0].silent = true
	f.set(0, dosing.QuantityTemperature, 31)
	f.pass(3 * time.Minute)
	for cause, want := range map[Cause]string{
		CauseECInvalid:        "north ec reads",
		CausePHStale:          "at most 15 s",
		CauseLevelHigh:        "1105 L; at most 1100 L",
		CauseNodeOffline:      "ago",
		CauseTemperatureRange: "31.0 °C; allowed 10.0 °C to 30.0 °C",
	} {
		if trip, _ := f.trip(0, cause); !strings.Contains(trip.Detail, want) {
			t.Errorf("%s: %q, want %q in it", cause, trip.Detail, want)
		}
	}
}

func TestAnAlarmThatStopsNothingBlocksNoPump(t *testing.T) {
	trip := Trip{Cause: CauseOutOfBand, Action: Run, Scope: ScopeStation}
	if trip.stops(acidPump, dosing.RoleAcid) {
		t.Error("an alarm stops acid")
	}
}

func TestAFindingOfOnePumpThatSwapsReagentsStopsBoth(t *testing.T) {
	f := newFarm(t)
	f.w.tanks[0].responses = nil
	f.pass(time.Second)
	f.wantFree(0, "no response test", allFree)
	f.w.found(f.now, &f.w.tanks[0], Finding{Cause: CauseWrongDirection, Scope: ScopePump, Pump: acidPump, Detail: "acid raised pH"})
	f.pass(time.Second)
	f.wantFree(0, "acid raised pH", stocksOnly)
	if trip, _ := f.trip(0, CauseWrongDirection); trip.Detail != "acid raised pH" {
		t.Errorf("%+v", trip)
	}
}

func TestWaterChangedWhileTheDaemonWasAwayIsUnconfirmed(t *testing.T) {
	for _, c := range []struct {
		litres  float64
		doubted bool
	}{{950, false}, {620, true}, {1050, false}} {
		before := newFarm(t)
		litres, ok := before.w.Resting(before.now, 0)
		if !ok || litres != 1000 {
			t.Fatalf("rests at %.0f L, %v", litres, ok)
		}
		before.set(0, dosing.QuantityFlood, 1)
		before.pass(10 * time.Second)
		if _, ok := before.w.Resting(before.now, 0); ok {
			t.Error("a level in a flood is taken for one at rest")
		}
		f := freshFarm(t)
		f.w.RestoreLevel(f.now, 0, litres)
		f.set(0, dosing.QuantityLevel, c.litres)
		f.pass(90 * time.Second)
		if _, tripped := f.trip(0, CauseSolutionUnconfirmed); tripped != c.doubted {
			t.Errorf("1000 L before, %.0f L after: doubted %v, want %v", c.litres, tripped, c.doubted)
		}
	}
	f := freshFarm(t)
	for _, bad := range []float64{0, -3, math.NaN(), math.Inf(1)} {
		f.w.RestoreLevel(f.now, 0, bad)
		f.w.RestoreLevel(f.now, 9, 1000)
	}
	f.pass(90 * time.Second)
	if trip, tripped := f.trip(0, CauseSolutionUnconfirmed); tripped {
		t.Errorf("a record that says nothing trips %+v", trip)
	}
}

func TestASwitchThatHasJustTrippedSaysThatItMayBeAMoment(t *testing.T) {
	f := newFarm(t)
	f.send(f.input(0, dosing.QuantityLeak), 1, 0, false)
	f.w.Evaluate(f.now)
	if trip, tripped := f.trip(0, CauseLeak); !tripped || trip.Detail != "a moment so far" {
		t.Errorf("%v %+v", tripped, trip)
	}
}

// A wave that uncovers the gauge for one reading holds for that reading: water that was
// never away need not mix.
func TestOneLowReadingOfTheLevelBeginsNoWait(t *testing.T) {
	f := newFarm(t)
	f.drift(0, dosing.QuantityLevel, 510)
	f.pass(20 * time.Minute)
	f.w.Confirm(f.now, 0) // it fell unexplained
	f.pass(20 * time.Minute)
	f.send(f.input(0, dosing.QuantityLevel), 480, 0, false)
	f.w.Evaluate(f.now)
	if _, tripped := f.trip(0, CauseLevelLow); !tripped {
		t.Error("480 L of at least 500 holds nothing")
	}
	f.pass(time.Minute)
	for _, cause := range []Cause{CauseLevelLow, CauseMixingWait} {
		if trip, tripped := f.trip(0, cause); tripped {
			t.Errorf("a minute later: %+v", trip)
		}
	}
}
