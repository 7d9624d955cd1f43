package safety

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"leat/dosing"
)

// slowed makes every input send once in a period.
func slowed(period time.Duration) func(*Settings) {
	return func(s *Settings) {
		for i := range s.Inputs {
			s.Inputs[i].Period = period
		}
	}
}

// wild draws what an input may read when a wire is touched: anything that can be parsed.
func wild(r *rand.Rand, q dosing.Quantity) float64 {
	if q.Switch() {
		return 1 - nominal[q]
	}
	span := map[dosing.Quantity][2]float64{dosing.QuantityPH: {0, 14}, dosing.QuantityEC: {0, 12}, dosing.QuantityTemperature: {-30, 110},
		dosing.QuantityLevel: {0, 3000}, dosing.QuantityRedox: {-2000, 2000}, dosing.QuantityStockLevel: {0, 200}}[q]
	value := span[0] + r.Float64()*(span[1]-span[0])
	if near := nominal[q]; r.IntN(2) == 0 { // a little off is harder to tell than far off
		value = near + (value-near)*r.Float64()*0.2
	}
	return max(span[0], value)
}

// moments are the states of a healthy farm in which the sample comes.
var moments = map[string]func(f *farm, r *rand.Rand){
	"at rest":       func(*farm, *rand.Rand) {},
	"during top-up": func(f *farm, _ *rand.Rand) { f.set(0, dosing.QuantityTopUp, 1); f.pass(time.Minute) },
	"during a flood": func(f *farm, _ *rand.Rand) {
		f.set(0, dosing.QuantityFlood, 1)
		f.pass(time.Minute)
	},
	"with a dose on its way": func(f *farm, _ *rand.Rand) { f.dose(0, acidPump, 2*dosing.Millilitre) },
	"after a silence": func(f *farm, r *rand.Rand) {
		for i := range f.s.Inputs {
			f.mute[dosing.InputID(i)] = true
		}
		f.pass(time.Duration(20+r.IntN(400)) * time.Second)
	},
	"after a service": func(f *farm, _ *rand.Rand) { f.w.Serviced(f.now, 0) },
	"as the first of all": func(f *farm, _ *rand.Rand) {
		*f = *freshFarm(f.t, slowed(time.Duration(f.every)*time.Second))
		f.every = int(f.s.Inputs[0].Period / time.Second)
	},
	"as the first of all, after a restart": func(f *farm, _ *rand.Rand) {
		*f = *freshFarm(f.t, slowed(time.Duration(f.every)*time.Second))
		f.every = int(f.s.Inputs[0].Period / time.Second)
		f.w.RestoreLevel(f.now, 0, 1000)
	},
}

// A wire that was touched, a wave on the gauge, a bit that flipped: whatever one sample
// of whatever input says, in whatever state of a healthy farm, nobody has to come for it.
func TestOneWildSampleOfAnyInputLatchesNothingAndTheTankDosesAgain(t *testing.T) {
	for name, moment := range moments {
		for seed := range uint64(4 * len(farmSettings().Inputs)) {
			r := rand.New(rand.NewPCG(seed, 5))
			period := []time.Duration{5, 10, 20}[r.IntN(3)] * time.Second
			f := newFarm(t, slowed(period))
			f.every = int(period / time.Second)
			f.pass(3 * time.Minute)
			id := dosing.InputID(seed % uint64(len(f.s.Inputs)))
			value := wild(r, f.s.Inputs[id].Quantity)
			what := fmt.Sprintf("%s, every %v, seed %d: one sample of %s reads %.3g", name, period, seed, f.s.Inputs[id].Name, value)
			moment(f, r)
			f.pass(time.Duration(r.IntN(30)) * time.Second)
			healthy := f.value[id]
			f.value[id] = value
			clear(f.mute)
			f.pass(period)
			f.value[id] = healthy
			f.pass(time.Minute)
			f.set(0, dosing.QuantityTopUp, 0)
			f.set(0, dosing.QuantityFlood, 0)
			f.pass(15 * time.Minute)
			if latches := f.w.NewLatches(); len(latches) > 0 {
				t.Errorf("%s: latched %s (%s)", what, latches[0].Cause, latches[0].Detail)
				continue
			}
			for tank := range dosing.TankID(2) {
				for p := range pumpCount {
					if trip, blocked := f.w.Blocks(tank, p); blocked {
						t.Errorf("%s: a quarter of an hour later %s (%s)", what, trip.Cause, trip.Detail)
					}
				}
			}
		}
	}
}

// What one sample may not latch, one that stays does: three readings over half a minute.
func TestWhatStaysLatchesAfterThreeReadingsAndHalfAMinute(t *testing.T) {
	for _, c := range []struct {
		quantity dosing.Quantity
		value    float64
		cause    Cause
	}{
		{dosing.QuantityLevel, 600, CauseSolutionUnconfirmed},
		{dosing.QuantityLevel, 1400, CauseSolutionUnconfirmed},
		{dosing.QuantityRedox, 620, CauseSolutionUnconfirmed},
		{dosing.QuantityLeak, 1, CauseLeak},
		{dosing.QuantityStop, 1, CauseStopInput},
	} {
		for _, period := range []time.Duration{5 * time.Second, 20 * time.Second} {
			f := newFarm(t, slowed(period))
			f.every = int(period / time.Second)
			f.pass(3 * time.Minute)
			for f.step%f.every != f.every-1 {
				f.pass(time.Second)
			}
			f.set(0, c.quantity, c.value)
			f.pass(time.Second)
			f.wantFree(0, c.quantity.String()+" at the first sample", noneFree)
			if latches := f.w.NewLatches(); len(latches) > 0 {
				t.Errorf("%s, every %v: latched %s by one sample", c.quantity, period, latches[0].Cause)
			}
			if c.quantity != dosing.QuantityStop {
				if f.pass(2*period - 2*time.Second); len(f.w.NewLatches()) > 0 {
					t.Errorf("%s, every %v: latched by two", c.quantity, period)
				}
			}
			f.pass(max(2*period, lastsFor) + period)
			latches := f.w.NewLatches()
			if len(latches) == 0 || latches[0].Cause != c.cause {
				t.Errorf("%s that stays at %g, every %v: %+v, want %s", c.quantity, c.value, period, latches, c.cause)
			}
		}
	}
}

// A drawn wild sample may come with another a quarter of an hour later, and another: each
// is one sample.
func TestWildSamplesNowAndThenAreNoEventEither(t *testing.T) {
	for _, q := range []dosing.Quantity{dosing.QuantityCirculation, dosing.QuantityLevel, dosing.QuantityLeak, dosing.QuantityStop} {
		f := newFarm(t)
		for range 12 {
			f.pass(15 * time.Minute)
			f.set(0, q, map[bool]float64{true: 1 - nominal[q], false: 300}[q.Switch()])
			f.pass(5 * time.Second)
			f.set(0, q, nominal[q])
		}
		f.pass(time.Minute)
		if latches := f.w.NewLatches(); len(latches) > 0 {
			t.Errorf("%s, one wild sample each quarter of an hour: latched %s (%s)", q, latches[0].Cause, latches[0].Detail)
		}
		f.wantFree(0, q.String(), allFree)
	}
}
