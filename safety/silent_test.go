package safety

import (
	"testing"
	"time"

	"leat/dosing"
)

// tested lets hours pass in which nothing is asked for but tests of the pH probe, which shows so
// much of each dose's share of a pH of 0.01, and counts them.
func (f *farm) stands(hours, shows float64) (tests int) {
	limits, causes := make([]dosing.Volume, pumpCount), make([]Cause, pumpCount)
	for range int(hours * 60) {
		f.pass(time.Minute)
		f.g.Limits(f.now, 0, limits, causes)
		plan, ok := f.w.Test(f.now, 0, limits)
		if !ok {
			continue
		}
		clearance, verdict := f.g.Judge(f.now, plan)
		if clearance == nil {
			f.t.Fatalf("the gate refused a test: %s %s", verdict.Cause, verdict.Detail)
		}
		tests++
		f.dose(0, plan.Pump, plan.Volume)
		by := plan.Volume.Millilitres() * f.s.Pumps[plan.Pump].AcidPerML / 1000 / testBuffer
		f.set(0, dosing.QuantityPH, f.value[f.input(0, dosing.QuantityPH)]-by*shows)
	}
	return tests
}

const testBuffer = 1 // meq/L per pH

func TestAProbeThatStandsStillForHoursIsTestedAndNotBelievedWhenItShowsNothing(t *testing.T) {
	f := newFarm(t)
	if n := f.stands(5.5, 0); n > 0 {
		t.Fatalf("%d tests within five and a half hours", n)
	}
	if n := f.stands(2.5, 0); n != testCount {
		t.Errorf("%d tests; want %d", n, testCount)
	}
	trip, stands := f.trip(0, CauseProbeSilent)
	if !stands || trip.Action != Hold || trip.Scope != ScopeReagents {
		t.Fatalf("%v %+v", stands, trip)
	}
	f.wantFree(0, "of a silent probe", stocksOnly)
	if n := f.stands(3, 0); n > 0 {
		t.Errorf("%d more doses into silence", n)
	}
	f.w.Serviced(f.now, 0)
	f.pass(time.Minute)
	if _, stands := f.trip(0, CauseProbeSilent); stands {
		t.Error("it outlives a service")
	}
}

func TestAProbeThatShowsATestIsTrustedEvenInThreeTimesTheBuffer(t *testing.T) {
	for _, shows := range []float64{1.5, 1, 1.0 / 3} {
		f := newFarm(t)
		f.stands(9, shows)
		if trip, stands := f.trip(0, CauseProbeSilent); stands {
			t.Errorf("%.2f of each dose shows: %s", shows, trip.Detail)
		}
	}
}

func TestAReadingThatMovesByItselfNeedsNoTest(t *testing.T) {
	f := newFarm(t)
	for hour := range 12 {
		f.set(0, dosing.QuantityPH, 5.8+0.05*float64(hour%2))
		if n := f.stands(1, 0); n > 0 {
			t.Fatalf("hour %d: %d tests", hour, n)
		}
	}
}

func TestAProbeThatMovesAgainIsBelievedAgain(t *testing.T) {
	f := newFarm(t)
	f.stands(9, 0)
	f.set(0, dosing.QuantityPH, 5.9)
	f.pass(10 * time.Minute)
	if _, stands := f.trip(0, CauseProbeSilent); stands {
		t.Error("the reading moved and the probe is still not believed")
	}
}

// With the acid at its cap base is what is left to test by. Above the setpoint it leads away from it: to a twentieth
// beyond, and a test that would show nothing within that is not made.
func TestATestThatLeadsAwayFromTheSetpointLeadsNoFartherThanAnyDose(t *testing.T) {
	for _, c := range []struct{ above, most float64 }{{0.02, 0.03}, {0.04, 0}} {
		f := newFarm(t)
		f.set(0, dosing.QuantityPH, float64(f.w.tanks[0].target.PH)+c.above)
		limits, causes := make([]dosing.Volume, pumpCount), make([]Cause, pumpCount)
		tests := 0
		for range 9 * 60 {
			f.pass(time.Minute)
			f.g.Limits(f.now, 0, limits, causes)
			for i := range limits {
				if f.s.Pumps[i].Role == dosing.RoleAcid {
					limits[i] = 0
				}
			}
			plan, ok := f.w.Test(f.now, 0, limits)
			if !ok {
				continue
			}
			tests++
			if worth := -plan.Volume.Millilitres() * f.s.Pumps[plan.Pump].AcidPerML / 1000 / testBuffer; worth > c.most+0.001 || worth <= 0 {
				t.Errorf("%.2f above the setpoint base worth %.3f pH is given", c.above, worth)
			}
		}
		if (tests > 0) != (c.most > 0) {
			t.Errorf("%.2f above the setpoint: %d tests", c.above, tests)
		}
	}
}
