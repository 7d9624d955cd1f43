package safety

import (
	"testing"
	"time"

	"leat/dosing"
)

// runs plays so many orders of acid of half a minute each, during which pH reads off
// by step.
func runs(f *farm, orders int, step float64) {
	for range orders {
		key := f.open(0, acidPump, 2*dosing.Millilitre)
		f.value[f.input(0, dosing.QuantityPH)] += step
		f.pass(30 * time.Second)
		f.value[f.input(0, dosing.QuantityPH)] -= step
		f.w.Closed(f.now, 0, acidPump, key, FateKnown, 2*dosing.Millilitre)
		f.pass(30 * time.Minute)
	}
}

func TestAProbeThatMovesWhileAPumpRunsStandsInAGroundLoop(t *testing.T) {
	for _, c := range []struct {
		step  float64
		loops bool
	}{{0.3, true}, {-0.3, true}, {0.05, false}, {0, false}} {
		f := newFarm(t)
		f.drift(0, dosing.QuantityPH, 6.2)
		f.pass(20 * time.Minute)
		runs(f, 3, c.step)
		if got := f.w.Loaded(0) != ""; got != c.loops {
			t.Errorf("%+.2f pH while the pump runs: %q", c.step, f.w.Loaded(0))
		}
		if f.w.Loaded(1) != "" {
			t.Errorf("the other tank's probe is blamed: %q", f.w.Loaded(1))
		}
	}
}

func TestReadingsInAGroundLoopAreLeftOutWhileThePumpRunsAndGoodOtherwise(t *testing.T) {
	f := newFarm(t)
	f.drift(0, dosing.QuantityPH, 6.2)
	f.pass(20 * time.Minute)
	runs(f, 3, 0.3)
	probe := f.input(0, dosing.QuantityPH)
	if q := f.send(probe, 6.2, 0, false); q != dosing.QualityGood {
		t.Errorf("while every pump stands: %s", q)
	}
	f.open(0, acidPump, 2*dosing.Millilitre)
	f.now = f.now.Add(5 * time.Second)
	if q := f.send(probe, 6.5, 0, false); q.MayDose() {
		t.Errorf("while a pump runs: %s", q)
	}
	f.w.Evaluate(f.now)
	if trip, stops := f.trip(0, CausePHInvalid); stops {
		t.Errorf("the dose under way would be cut short: %+v", trip)
	}
}

func TestAServiceEndsWhatIsThoughtOfAGroundLoop(t *testing.T) {
	f := newFarm(t)
	f.drift(0, dosing.QuantityPH, 6.2)
	f.pass(20 * time.Minute)
	runs(f, 3, 0.3)
	f.w.Serviced(f.now, 0)
	if f.w.Loaded(0) != "" {
		t.Error("a person mended it, and it stands")
	}
}
