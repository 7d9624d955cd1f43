package safety

import (
	"math"
	"time"

	"leat/dosing"
)

// An electrode that is dead wanders in steps, from one reading to the next, and stands still between
// them. Water does not: what is dosed into it arrives with its lag, as a slope over many readings. So
// steps that have stillness on both sides, while no pump runs and no water comes in, are the probe's.
const (
	stepLeast  = 0.1 // pH: less is what waves and stray currents do
	stepNoise  = 6.0 // times the commissioned noise likewise
	stepStill  = 3.0 // by so many times less it moves before and after
	stepLag    = 4   // readings within the water's lag, at least: else a dose looks like a step
	stepsFail  = 2   // one may be somebody who touched the probe
	stepsTime  = 90 * time.Minute
	stepsTrust = time.Hour // without a step, before the probe is believed again
)

// steps follows the steps of a pH probe.
type steps struct {
	lag    time.Duration // of the water; 0 = not tested
	last   [4]float64    // readings, the oldest first
	at     [4]time.Duration
	kept   int
	found  [stepsFail]time.Duration // when it stepped, the latest last
	seen   int
	failed bool
}

func newSteps(q dosing.Quantity, tank dosing.Tank) steps {
	if q != dosing.QuantityPH {
		return steps{}
	}
	return steps{lag: tank.TimeConstant}
}

// add takes a reading that is otherwise believed. Moved says that a pump runs or water comes in.
func (s *steps) add(value float64, at time.Duration, noise float64, moved bool) {
	if s.lag <= 0 {
		return
	}
	if s.failed && at-s.found[stepsFail-1] > stepsTrust {
		s.failed, s.seen = false, 0
	}
	if moved {
		s.kept = 0
		return
	}
	if s.kept == len(s.last) {
		copy(s.last[:], s.last[1:])
		copy(s.at[:], s.at[1:])
		s.kept--
	}
	s.last[s.kept], s.at[s.kept] = value, at
	if s.kept++; s.kept < len(s.last) || (s.at[3]-s.at[0])*stepLag > 3*s.lag {
		return
	}
	size := math.Abs(s.last[2]+s.last[3]-s.last[0]-s.last[1]) / 2
	still := max(math.Abs(s.last[1]-s.last[0]), math.Abs(s.last[3]-s.last[2]))
	if size < max(stepLeast, stepNoise*noise) || still*stepStill > size {
		return
	}
	s.kept = 0
	copy(s.found[:], s.found[1:])
	s.found[stepsFail-1] = at
	s.seen = min(s.seen+1, stepsFail)
	s.failed = s.failed || s.seen == stepsFail && at-s.found[0] <= stepsTime
}
