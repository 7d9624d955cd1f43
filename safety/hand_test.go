package safety

import (
	"testing"
	"time"

	"leat/dosing"
)

// A thousand millilitres typed for ten, or any other word, must not make the opposite
// reagent run against the reading, nor more of it than the reading alone allows.
func TestAnEntryByHandNeverMakesAPumpDoseAgainstTheReading(t *testing.T) {
	for name, c := range map[string]struct {
		entered, asked dosing.PumpID
		against, with  dosing.PH
	}{"acid entered, base asked": {acidPump, basePump, 5.79, 5.96}, "base entered, acid asked": {basePump, acidPump, 5.81, 5.64}} {
		f := newFarm(t)
		f.noise = 0
		f.pass(10 * time.Minute) // the reading is 5.80
		f.w.Aim(0, dosing.Target{PH: c.with, EC: 2})
		alone, _ := f.g.Largest(f.now, 0, c.asked)
		f.w.ByHand(dosing.Dose{Tank: 0, Pump: c.entered, Volume: dosing.Litre, Up: f.now.Up})
		f.pass(121 * time.Second) // concentrates apart
		if got, cause := f.g.Largest(f.now, 0, c.asked); got > alone {
			t.Errorf("%s: %s, without the entry %s (%s)", name, got, alone, cause)
		}
		f.w.Aim(0, dosing.Target{PH: c.against, EC: 2})
		for range 40 {
			f.pass(time.Minute)
			if got, _ := f.g.Largest(f.now, 0, c.asked); got > 0 {
				t.Fatalf("%s: %s after %s against a reading of 5.80 where %v is wanted", name, got, f.now.Up, c.against)
			}
		}
		if got, cause := f.g.Largest(f.now, 0, c.entered); got > 0 && f.now.Up < 12*time.Minute {
			t.Errorf("%s: the same again: %s (%s)", name, got, cause)
		}
	}
}

func TestAReportOfTooMuchNeverMakesTheOppositeDoseAgainstTheReading(t *testing.T) {
	for _, way := range []struct {
		name             string
		given, opposite  dosing.PumpID
		before, nearLine dosing.PH // targets: the dose is right; then the reading of 5.80 lies just beyond
	}{{"acid", acidPump, basePump, 5.75, 5.79}, {"base", basePump, acidPump, 5.85, 5.81}} {
		f := newFarm(t)
		f.noise = 0
		f.pass(10 * time.Minute)
		f.w.Aim(0, dosing.Target{PH: way.before, EC: 2})
		key := f.open(0, way.given, 2*dosing.Millilitre)
		f.pass(time.Second)
		f.w.Closed(f.now, 0, way.given, key, FateKnown, dosing.Litre)
		f.w.Aim(0, dosing.Target{PH: way.nearLine, EC: 2})
		for range 40 {
			f.pass(time.Minute)
			if got, _ := f.g.Largest(f.now, 0, way.opposite); got > 0 {
				t.Fatalf("a litre of %s reported: %s of its opposite against a reading of 5.80", way.name, got)
			}
		}
	}
}

func TestAnEntryByHandRaisesNoCapAndAVoidedOneGivesBackHourAndDayButNothingOnItsWay(t *testing.T) {
	f := newFarm(t)
	f.pass(time.Minute)
	f.w.Used(acidPump, 96*time.Hour, 100*dosing.Millilitre)
	f.w.Demand(acidPump, dosing.Millilitre, 10*dosing.Millilitre)
	key := f.open(0, calciumPump, 5*dosing.Millilitre)
	cap := f.w.HourlyCap(acidPump)
	f.w.ByHand(dosing.Dose{Key: 9, Tank: 0, Pump: acidPump, Volume: 900 * dosing.Millilitre, Up: f.now.Up})
	if got := f.w.HourlyCap(acidPump); got > cap {
		t.Errorf("an entry raised the hour cap from %s to %s", cap, got)
	}
	acid, _, _ := f.totals.InTransit(0, f.s.Pumps, f.s.Tanks[0].Tank, f.now.Up)
	f.w.Voided(acidPump, 9)
	if got := f.totals.Hour(acidPump, f.now.Up); got != 0 {
		t.Errorf("%s still counted in the hour", got)
	}
	if after, _, _ := f.totals.InTransit(0, f.s.Pumps, f.s.Tanks[0].Tank, f.now.Up); after != acid {
		t.Errorf("in transit %v meq/L, %v before it was voided", after, acid)
	}
	f.w.Voided(calciumPump, key)
	if got := f.totals.Hour(calciumPump, f.now.Up); got != 5*dosing.Millilitre {
		t.Errorf("a dose that was ordered was voided: %s left", got)
	}
}
