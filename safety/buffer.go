package safety

import (
	"math"

	"leat/dosing"
)

// buffers are the commissioned buffer capacity at the present pH and the floor by
// which the gate judges, in meq/L per pH; zero while either is no positive number.
func (t *tankState) buffers() (commissioned, floor float64) {
	g := &t.group[dosing.QuantityPH]
	if t.unsafe != "" || g.standing != standFit {
		return 0, 0
	}
	// The least between reading and setpoint: a probe that wrongly reads 7, where
	// phosphate buffers most, must not enlarge the doses. One whose water has answered
	// is looked at no farther ahead than what is on its way may lead.
	way := float64(t.target.PH) - g.value
	if t.trusted() {
		way = max(-transitPH, min(transitPH, way))
	}
	commissioned = t.curve.Buffer(g.value)
	for _, share := range [...]float64{0.25, 0.5, 0.75, 1} {
		commissioned = min(commissioned, t.curve.Buffer(g.value+float64(share*way)))
	}
	commissioned *= t.plant.BufferScale
	floor = commissioned * t.weakestScale()
	if !(floor > 0) || !(commissioned > 0) || math.IsInf(floor, 1) {
		return 0, 0
	}
	return commissioned, floor
}

// startSpread is how unsure the buffer capacity is before any dose has been answered.
func (t *tankState) startSpread() float64 {
	if t.titrated > 0 {
		return min(t.titrated, t.plant.StartSpread())
	}
	return t.plant.StartSpread()
}

// weakestScale is the least credible buffer scale: in the weakest buffer a dose does
// most.
func (t *tankState) weakestScale() float64 {
	exponent := min(t.lnBuffer, 0) - t.spread
	if t.trusted() {
		exponent = t.lnBuffer - float64(2*t.spread)
	}
	return min(math.Exp(exponent), floorMost)
}

// trusted says that the learned mean counts in full. What the loop calls answered has
// arrived: before a probe that is stuck or sees old water it learns a strong buffer from
// that. So one pool at least must have been seen to answer by the gate's own tests.
func (t *tankState) trusted() bool {
	return t.answered >= trustAfter && t.responses != nil && t.responses.Answered() > 0
}
