package loop

import (
	"math"
	"time"

	"leat/dosing"
)

// A buffer that is far weaker than commissioned, as where phosphate has run down, shows in
// the first dose: pH goes further than all that was given explains. The filter takes so
// large a surprise for somebody's hand and starts anew; here it is the answer, and the
// learned buffer falls at once to what explains it. When a dose arrives need not be known:
// all that was given counts, arrived or not, so that nothing but a weaker buffer, another
// hand or a stronger reagent moves pH that far, and for each of them less is to be dosed.
const (
	strongLeast = 0.05 // pH that it must have moved by
	strongZ     = 4.0  // and so many standard deviations of the mean
	strongMore  = 1.3  // times what was given explains
	strongOver  = 20 * time.Second
	// A capacity so much below the commissioned is believed from a strong answer; the
	// filter alone goes to a third. What would take less was somebody's hand.
	strongMost = 2.995732273553991 // ln 20
	// strongSpread is how sure such an answer is: what is still on its way shows later.
	strongSpread = 0.3
)

// strong compares how far pH has gone with all that was given meanwhile.
type strong struct {
	begun      bool
	from       float64 // mean reading before the first dose
	at, last   time.Duration
	acid, base float64 // given since, or brought by top-up, meq/L, both positive
	drift      float64 // as learned before

	mean   float64 // of the readings
	meanAt time.Duration
	fresh  bool
}

// given notes what a dose, or water, will do once it has arrived; positive is acid.
func (s *strong) given(acid float64, o *observer, up time.Duration) {
	if acid == 0 || !s.fresh {
		return
	}
	if !s.begun {
		*s = strong{begun: true, from: s.mean, at: up, drift: o.drift, mean: s.mean, meanAt: s.meanAt, fresh: true}
	}
	s.last = up
	s.acid += max(acid, 0)
	s.base += max(-acid, 0)
}

// read takes the mean of a block.
func (s *strong) read(value float64, up time.Duration) {
	gap := float64(up - s.meanAt)
	if !s.fresh || gap > float64(3*strongOver) {
		s.mean, s.fresh = value, true
	} else {
		s.mean += float64((value - s.mean) * (gap / (gap + float64(strongOver))))
	}
	s.meanAt = up
}

// weaken lowers the learned buffer where the reading has gone further than everything
// that was given explains.
func (o *observer) weaken(s *strong, mixing, up time.Duration) {
	if !s.begun || o.untaught {
		return
	}
	if up-s.last > mixing {
		s.begun = false // it has shown
		return
	}
	given := s.base
	if s.mean < s.from {
		given = s.acid
	}
	moved := math.Abs(s.mean - s.from)
	sure := strongLeast + float64(strongZ*math.Sqrt(o.noise/4))
	if !(given > 0) || !(moved > sure) {
		return
	}
	byItself := float64((up - s.at).Hours() * (math.Abs(s.drift) + float64(2*o.tuning.startDrift)))
	all := given + byItself
	needed := math.Abs(o.curve.AcidNeeded(s.from, s.mean)) * o.scale
	if !(needed*dosing.Exponential(o.gain) > float64(strongMore*all)) || math.Log(given/needed) < -strongMost {
		return
	}
	o.gain = math.Log(all / needed)
	o.least = min(o.least, o.gain)
	o.gg, o.dg, o.vg = max(o.gg, strongSpread*strongSpread), 0, 0
	o.drift = s.drift
	o.value, o.vd, o.strikes = s.mean, 0, 0
}
