package response

import (
	"fmt"
	"time"
)

// Circulation that is half blocked brings every dose late, and a coated pH probe tells of
// it late. The course of an answer shows it: the same readings are asked how likely they
// are if everything takes as long as commissioned, and if it takes longer. One pool proves
// little, since two courses that overlap look alike; several that say the same do. Where pH
// answers late and EC in time it is the probe, since both stand in the same water.
const (
	slowMost   = 8.0  // what one pool may say for or against, in ln of likelihood
	slowEnough = 20.0 // together, before it is believed: three pools at least
)

// slower are the times as long as commissioned that are tried.
var slower = [...]float64{1.7, 3}

// slowness is what the pools so far say for answers that come late.
type slowness struct {
	inTime bool    // the last pool spoke against it
	sum    float64 // ln of likelihood, never below zero: what was in time long ago proves nothing now
	times  float64 // as long as commissioned, as the last pool said that spoke for it
	stands bool
}

// add takes what one pool says.
func (s *slowness) add(says, times float64) {
	s.inTime = says < 0
	s.sum = min(max(s.sum+min(max(says, -slowMost), slowMost), 0), slowEnough+slowMost)
	if says > 0 {
		s.times = times
	}
	switch {
	case s.sum >= slowEnough:
		s.stands = true
	case s.sum == 0:
		s.stands = false
	}
}

// timed asks of a pool that was answered when that was.
func (r *Responses) timed(up time.Duration, p *pool, f fitted) {
	if p.single || !(f.ratio > float64(silentZ*f.sd)) {
		return // one stock among others overlaps them; what is not answered has no course
	}
	t, s := &r.ph, &r.slowPH
	if p.class == Stock {
		t, s = &r.ec, &r.slowEC
	}
	q := r.question(p, up)
	q.settled, q.grain = p.last+r.tank.DeadTime+2*r.tank.TimeConstant, t.grain()
	if f = t.answer(r.marks.kept(), &q); !f.ok {
		return
	}
	deadTime, lag := q.deadTime, q.lag
	says, times := -slowMost, 1.0
	for _, x := range slower {
		q.deadTime, q.lag = time.Duration(x*float64(deadTime)), time.Duration(x*float64(lag))
		if late := t.answer(r.marks.kept(), &q); late.ok && late.likely-f.likely > says {
			says, times = late.likely-f.likely, x
		}
	}
	if s.add(says, times); s == &r.slowPH && !s.inTime {
		// What EC showed before pH became slow does not tell probe and water apart.
		r.slowEC.inTime = r.slowEC.inTime && s.stands
	}
}

// Late is what answers later than commissioned: the water, or only the pH probe in it; ""
// for what does not.
type Late struct{ Water, Probe string }

// Late tells what of a tank answers late.
func (r *Responses) Late() Late {
	if r == nil {
		return Late{}
	}
	pH, ec := &r.slowPH, &r.slowEC
	switch {
	case pH.stands && ec.stands:
		return Late{Water: fmt.Sprintf("pH and EC show doses about %.1f times as late as commissioned", max(pH.times, ec.times))}
	case ec.stands:
		return Late{Water: fmt.Sprintf("EC shows doses about %.1f times as late as commissioned", ec.times)}
	case pH.stands && ec.inTime:
		return Late{Probe: fmt.Sprintf("pH shows doses about %.1f times as late as commissioned, and EC shows them in time", pH.times)}
	case pH.stands:
		return Late{Water: fmt.Sprintf("pH shows doses about %.1f times as late as commissioned, and no stock was dosed by which water and probe could be told apart", pH.times)}
	}
	return Late{}
}
