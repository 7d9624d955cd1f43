package calibration

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"leat/dosing"
	"leat/dosing/chem"
)

// basin is water of its own making: three stirred parts in a row in place of one lag, the chemistry of
// pure phosphate by the textbook, CO2 that leaves, plants that give base, a probe that wanders.
type basin struct {
	parts       [3]float64 // meq/L of acid that is in each
	line        []float64  // on its way
	phosphate   float64    // mmol/L
	seconds     float64    // of each part
	drift       float64    // meq/L an hour, upward
	noise       float64
	wander, now float64
	rest        float64 // pH at no acid
	random      *rand.Rand
}

const phosphatePK = 6.75 // of H2PO4, at the strength of a nutrient solution

func (b *basin) second(acid float64) (pH float64) {
	b.line = append(b.line[1:], acid)
	in := b.line[0]
	b.parts[0] += 3 * in // a third of the water each
	for i := range b.parts {
		next := (i + 1) % len(b.parts)
		b.now = (b.parts[i] - b.parts[next]) / b.seconds
		b.parts[i] -= b.now
		b.parts[next] += b.now
		b.parts[i] -= b.drift / 3600
	}
	b.wander += 0.0002 * b.random.NormFloat64()
	b.wander *= 0.9995
	// Charge of phosphate: base form is total·K/(K+H); acid takes it away.
	share := 1/(1+math.Pow(10, phosphatePK-b.rest)) - b.parts[2]/b.phosphate
	share = min(max(share, 1e-4), 1-1e-4)
	return phosphatePK + math.Log10(share/(1-share)) + b.wander + b.noise*b.random.NormFloat64()
}

func TestTitrationFindsTheBufferOfWaterThatItWasNotToldOf(t *testing.T) {
	for name, water := range map[string]struct {
		phosphate, drift, noise float64
		deadTime                int // s
		seconds                 float64
	}{
		"as commissioned":  {phosphate: 1.5, noise: 0.01, deadTime: 40, seconds: 30},
		"a third of it":    {phosphate: 0.5, noise: 0.01, deadTime: 40, seconds: 30},
		"three times":      {phosphate: 4.5, noise: 0.01, deadTime: 40, seconds: 30},
		"plants give base": {phosphate: 1, drift: 0.08, noise: 0.02, deadTime: 60, seconds: 60},
		"plants take base": {phosphate: 1, drift: -0.05, noise: 0.02, deadTime: 20, seconds: 20},
		"scatter of 0.03":  {phosphate: 1.5, noise: 0.03, deadTime: 40, seconds: 30},
	} {
		plant := dosing.Tank{Phosphate: 1.5, DeadTime: 60 * time.Second, TimeConstant: 40 * time.Second, BufferScale: 1}
		curve, err := chem.NewCurve(plant.Expected(), 21)
		if err != nil {
			t.Fatal(err)
		}
		b := &basin{phosphate: water.phosphate, drift: water.drift, noise: water.noise, seconds: water.seconds, rest: 6.1,
			line: make([]float64, water.deadTime), random: rand.New(rand.NewPCG(7, 11))}
		titrant := NewTitrant(plant, curve)
		each := int(plant.MixingTime().Seconds())
		last := b.rest
		for second := range each * 8 {
			acid := 0.0
			if second%each == 0 && second >= each && second < 7*each && !titrant.Enough() {
				acid = titrant.Next(last)
				titrant.Give(time.Duration(second)*time.Second, acid)
			}
			if last = b.second(acid); second%5 == 0 {
				titrant.Read(time.Duration(second)*time.Second, last)
			}
		}
		got, err := titrant.Result()
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		// What the water truly buffers where it stood, by the textbook's van Slyke formula.
		ha := 1 / (1 + math.Pow(10, b.rest-0.05-phosphatePK))
		truly := math.Ln10 * water.phosphate * ha * (1 - ha)
		if got.Moved > 0.3 {
			t.Errorf("%s: pH was moved by %.2f", name, got.Moved)
		}
		found := curve.Buffer(b.rest-0.05) * math.Exp(got.LnScale)
		if off := math.Log(found / truly); math.Abs(off) > 2*got.Spread || got.Spread > 0.3 {
			t.Errorf("%s: %.3f meq/L per pH ±%.0f %%, truly %.3f", name, found, 100*got.Spread, truly)
		}
		if mixing, told := got.DeadTime+got.TimeConstant, time.Duration(water.deadTime)*time.Second+time.Duration(float64(time.Second)*water.seconds); mixing < told/3 || mixing > 3*told {
			t.Errorf("%s: θ + τ found as %s, the parts exchange in %s", name, mixing, told)
		}
	}
}

func TestTitrationOfWaterThatDoesNotAnswerFindsNothing(t *testing.T) {
	plant := dosing.Tank{Phosphate: 1.5, DeadTime: 40 * time.Second, TimeConstant: 60 * time.Second, BufferScale: 1}
	curve, err := chem.NewCurve(plant.Expected(), 21)
	if err != nil {
		t.Fatal(err)
	}
	random := rand.New(rand.NewPCG(3, 5))
	for name, answer := range map[string]float64{"probe in held water": 0, "wrong way": 0.05} {
		titrant := NewTitrant(plant, curve)
		pH := 6.1
		for second := range 1800 {
			if second%300 == 0 && second > 0 && second < 1500 {
				titrant.Give(time.Duration(second)*time.Second, 0.03)
				pH += answer
			}
			titrant.Read(time.Duration(second)*time.Second, pH+0.01*random.NormFloat64())
		}
		if got, err := titrant.Result(); err == nil {
			t.Errorf("%s: found %+v", name, got)
		}
	}
}
