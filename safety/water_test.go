package safety

import (
	"testing"
	"time"

	"leat/dosing"
)

// What no nutrient solution reads holds at once, and at its edge until it is plainly back.
func TestStrangeReadingsHoldFromTheirLimitOn(t *testing.T) {
	for name, c := range map[string]struct {
		q     dosing.Quantity
		steps []float64
		holds []bool
	}{
		"pH far above the setpoint": {dosing.QuantityPH, []float64{7.29, 7.31, 7.22, 7.19, 7.29}, []bool{false, true, true, false, false}},
		"pH too low for plants":     {dosing.QuantityPH, []float64{4.01, 3.99, 4.09, 4.11, 4.01}, []bool{false, true, true, false, false}},
		"redox of a disinfectant":   {dosing.QuantityRedox, []float64{500, 501, 500}, []bool{false, true, false}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			f := newFarm(t)
			f.noise = 0
			if c.q == dosing.QuantityPH {
				f.drift(0, c.q, c.steps[0])
				f.pass(time.Minute)
				clearNorth(f) // nothing that was dosed took it there
			}
			for i, value := range c.steps {
				f.set(0, c.q, value)
				f.pass(5 * time.Second)
				if trip, tripped := f.trip(0, CauseSolutionUnconfirmed); tripped != c.holds[i] {
					t.Errorf("step %d, %s reads %g: %v %+v", i, c.q, value, tripped, trip)
				}
			}
		})
	}
}

func TestALevelThatChangesByThreeTenthsIsOtherWater(t *testing.T) {
	for to, doubted := range map[float64]bool{705: false, 695: true} {
		f := newFarm(t)
		f.set(0, dosing.QuantityLevel, 850)
		f.pass(2 * time.Minute)
		f.set(0, dosing.QuantityLevel, to-5) // two minutes of the first half are forgotten meanwhile
		f.pass(40 * time.Second)
		if trip, tripped := f.trip(0, CauseSolutionUnconfirmed); tripped != doubted {
			t.Errorf("from 1000 to %g L: %v %+v", to-5, tripped, trip)
		}
	}
}

func TestWaterThatPlantsAndAirTakeInADayIsNoChangeOfWater(t *testing.T) {
	f := newFarm(t, func(s *Settings) { s.Tanks[0].MinVolume = 100 })
	f.noise = 0
	for range 48 {
		f.set(0, dosing.QuantityLevel, f.value[f.input(0, dosing.QuantityLevel)]-15)
		f.pass(10 * time.Minute)
	}
	if trip, tripped := f.trip(0, CauseSolutionUnconfirmed); tripped {
		t.Errorf("720 L in eight hours, a little at a time: %+v", trip)
	}
}

func TestALevelAtRestIsToldAndOneOnItsWayIsNot(t *testing.T) {
	f := newFarm(t)
	f.pass(time.Minute)
	if litres, ok := f.w.Resting(f.now, 0); !ok || litres != 1000 {
		t.Errorf("at rest: %g L, %v", litres, ok)
	}
	for _, q := range []dosing.Quantity{dosing.QuantityTopUp, dosing.QuantityFlood} {
		f.set(0, q, 1)
		f.pass(10 * time.Second)
		if _, ok := f.w.Resting(f.now, 0); ok {
			t.Errorf("at rest during a %s", q)
		}
		f.set(0, q, 0)
		f.pass(10 * time.Minute)
		if _, ok := f.w.Resting(f.now, 0); !ok {
			t.Errorf("not at rest ten minutes after a %s", q)
		}
	}
	f.silence(0, dosing.QuantityLevel, true)
	f.pass(20 * time.Second)
	if _, ok := f.w.Resting(f.now, 0); ok {
		t.Error("at rest though the gauge is silent")
	}
}

// The valve shuts, and what was in the pipe still comes.
func TestWaterThatFollowsTheValveIsTopUp(t *testing.T) {
	for after, counted := range map[time.Duration]bool{20 * time.Second: true, 45 * time.Second: false} {
		f := newFarm(t)
		f.pass(time.Minute)
		before := f.w.tanks[0].water.came
		f.set(0, dosing.QuantityTopUp, 1)
		f.pass(10 * time.Second)
		f.set(0, dosing.QuantityTopUp, 0)
		f.pass(after)
		f.set(0, dosing.QuantityLevel, 1020)
		f.pass(5 * time.Second)
		if came := f.w.tanks[0].water.came - before; (came == 20) != counted || came != 0 && came != 20 {
			t.Errorf("20 L %s after the valve shut: %g L of top-up", after, came)
		}
	}
}

func TestTopUpIsForgottenAMixingTimeAfterItCame(t *testing.T) {
	f := newFarm(t)
	f.pass(time.Minute)
	f.set(0, dosing.QuantityTopUp, 1)
	f.pass(5 * time.Second)
	f.set(0, dosing.QuantityLevel, 1020)
	f.pass(5 * time.Second)
	f.set(0, dosing.QuantityTopUp, 0)
	brought := func() float64 { return f.w.tanks[0].unanswered(f.now.Up, 1000) }
	if got := brought(); got != 0.04 {
		t.Errorf("20 L of 2 meq/L in 1000 L: %g meq/L", got)
	}
	came := f.w.tanks[0].water.inflow.at[0]
	f.pass(came + 5*time.Minute - f.now.Up)
	if got := brought(); got != 0.04 {
		t.Errorf("a mixing time later: %g meq/L", got)
	}
	f.pass(time.Second)
	if got := brought(); got != 0 {
		t.Errorf("and a second: %g meq/L", got)
	}
}
