package safety

import (
	"testing"
	"time"

	"leat/dosing"
)

func TestAFallThatDosesExplainIsNotUnexplainedChange(t *testing.T) {
	f := newFarm(t)
	// In a third of the buffer acid worth 0.15 pH moves 0.45, and a little more for the drift.
	f.drift(0, dosing.QuantityPH, 6.4)
	f.pass(20 * time.Minute)
	for range 3 {
		f.dose(0, acidPump, 5*dosing.Millilitre)
	}
	f.pass(time.Minute)
	for range 50 {
		f.value[f.input(0, dosing.QuantityPH)] -= 0.012
		f.pass(5 * time.Second)
	}
	f.pass(20 * time.Minute)
	if trip, found := f.trip(0, CauseUnexplainedChange); found {
		t.Errorf("a fall of 0.6 pH after acid worth 0.15 gave %+v", trip)
	}
}

func TestSlowDriftOfPlantsIsNotUnexplainedChange(t *testing.T) {
	f := newFarm(t)
	for range 40 { // 0.2 pH an hour at 1 meq/L per pH, for four hours
		f.value[f.input(0, dosing.QuantityPH)] -= 0.02
		f.pass(6 * time.Minute)
	}
	if trip, found := f.trip(0, CauseUnexplainedChange); found {
		t.Errorf("a fall of 0.2 pH an hour gave %+v", trip)
	}
}

func TestWhatAPersonEnteredIsNotUnexplainedChange(t *testing.T) {
	f := newFarm(t)
	f.w.ByHand(dosing.Dose{Tank: 0, Pump: acidPump, Volume: 70 * dosing.Millilitre, Up: f.now.Up})
	f.drift(0, dosing.QuantityPH, 5.1)
	f.pass(5 * time.Minute)
	if trip, found := f.trip(0, CauseUnexplainedChange); found {
		t.Errorf("0.7 pH poured in and entered gave %+v", trip)
	}
}

// 190 L of hard water bring 2.7 meq/L: pH rises by more than a pump that ran on would be
// allowed.
func TestARiseThatTopUpExplainsIsNotUnexplainedChange(t *testing.T) {
	for _, valve := range []float64{1, 0} {
		f := freshFarm(t, func(s *Settings) { s.Tanks[0].TopUp.Alkalinity = 14 })
		f.set(0, dosing.QuantityPH, 4.6)
		f.set(0, dosing.QuantityLevel, 900)
		f.pass(5 * time.Minute)
		f.set(0, dosing.QuantityTopUp, valve)
		f.pass(10 * time.Second)
		for range 95 {
			f.value[f.input(0, dosing.QuantityLevel)] += 2
			f.value[f.input(0, dosing.QuantityPH)] += 2.6 / 95
			f.pass(5 * time.Second)
		}
		f.pass(time.Minute)
		if trip, found := f.trip(0, CauseUnexplainedChange); found != (valve == 0) {
			t.Errorf("valve %g, a rise of 2.6 pH within eight minutes: %+v", valve, trip)
		}
	}
}

func TestAFallWhileOtherHandsMayDoseIsNotUnexplainedChange(t *testing.T) {
	f := newFarm(t)
	f.w.SetMode(f.now, 0, ModeObserving)
	f.drift(0, dosing.QuantityPH, 4.9)
	f.pass(time.Minute)
	if trip, found := f.trip(0, CauseUnexplainedChange); found {
		t.Errorf("while only observing: %+v", trip)
	}
}

func TestWaterThatComesHomeFromAFloodIsNotUnexplainedChange(t *testing.T) {
	f := newFarm(t)
	f.set(0, dosing.QuantityFlood, 1)
	f.pass(5 * time.Minute)
	f.drift(0, dosing.QuantityPH, 5.1)
	f.set(0, dosing.QuantityFlood, 0)
	f.pass(10 * time.Minute)
	if trip, found := f.trip(0, CauseUnexplainedChange); found {
		t.Errorf("bench water of another pH gave %+v", trip)
	}
}

// An ordinary dose explains what it does, and no more.
func TestAPumpThatRunsOnAfterADoseIsUnexplainedChange(t *testing.T) {
	for what, c := range map[string]struct {
		pump dosing.PumpID
		q    dosing.Quantity
		to   float64
	}{
		"acid":    {acidPump, dosing.QuantityPH, 4.9},
		"calcium": {calciumPump, dosing.QuantityEC, 2.6},
	} {
		f := newFarm(t)
		f.w.Aim(0, dosing.Target{PH: 5.5, EC: 2}) // near its setpoint a dose does half of that
		f.dose(0, c.pump, 5*dosing.Millilitre)
		f.pass(10 * time.Second)
		f.drift(0, c.q, c.to)
		f.pass(2 * time.Minute)
		trips, found := []Trip{}, false
		for _, cause := range []Cause{CauseUnexplainedChange, CauseTooStrong} {
			trip, tripped := f.trip(0, cause)
			trips, found = append(trips, trip), found || tripped && trip.Latched
		}
		if !found {
			t.Errorf("%s: to %g within two minutes after 5 mL: %+v", what, c.to, trips)
		}
	}
}

// How far pH and EC may go by themselves, and what a stock on its way makes of it.
func TestHowFarWaterMayGoBeforeAPumpIsBelievedToRun(t *testing.T) {
	for name, c := range map[string]struct {
		pump   dosing.PumpID
		ml     float64 // given before; 0 = none
		target dosing.PH
		q      dosing.Quantity
		to     float64
		cause  Cause // CauseNone = nothing
	}{
		"pH falls by little":                        {target: 5.8, q: dosing.QuantityPH, to: 5.33},
		"pH falls by more":                          {target: 5.8, q: dosing.QuantityPH, to: 5.24, cause: CauseUnexplainedChange},
		"pH rises by little":                        {target: 6.8, q: dosing.QuantityPH, to: 7.75},
		"pH rises by more":                          {target: 6.8, q: dosing.QuantityPH, to: 7.9, cause: CauseUnexplainedChange},
		"EC rises by little":                        {target: 5.8, q: dosing.QuantityEC, to: 2.18},
		"EC rises by more":                          {target: 5.8, q: dosing.QuantityEC, to: 2.24, cause: CauseUnexplainedChange},
		"EC rises further, as a strong stock would": {pump: calciumPump, ml: 100, target: 5.8, q: dosing.QuantityEC, to: 2.6, cause: CauseTooStrong},
		"EC rises further than any stock takes it":  {pump: calciumPump, ml: 100, target: 5.8, q: dosing.QuantityEC, to: 3.2, cause: CauseUnexplainedChange},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			f := newFarm(t)
			f.noise = 0.001
			f.w.Aim(0, dosing.Target{PH: c.target, EC: 3})
			f.pass(10 * time.Minute)
			if c.ml > 0 {
				f.w.Opened(dosing.Dose{Tank: 0, Pump: c.pump, Volume: dosing.FromMillilitres(c.ml), Up: f.now.Up})
			}
			f.drift(0, c.q, c.to)
			f.pass(2 * time.Minute)
			for _, cause := range []Cause{CauseUnexplainedChange, CauseTooStrong} {
				if trip, tripped := f.trip(0, cause); tripped && trip.Latched != (cause == c.cause) {
					t.Errorf("to %g: %+v", c.to, trip)
				} else if !tripped && cause == c.cause {
					t.Errorf("to %g: no %s", c.to, cause)
				}
			}
		})
	}
}
