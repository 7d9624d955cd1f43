package safety

import (
	"fmt"

	"leat/dosing"
)

// Allowance is how large a dose of one pump into one tank may be, and why not larger.
type Allowance struct {
	Most  dosing.Volume // zero: none
	By    Cause         // what forbids any, or the limit that binds
	Words string        // the same in figures
}

// Allowance answers: how large can a dose of this pump into this tank be right now, and
// why? It is zero with what stands against any dose (an interlock, an open dose, the wrong
// direction, a wait), or the smallest of the limits in the table of doselimits.go with its
// name. Where that is less than the pump's smallest dose it is zero, too.
//
// It is for people. It reads the table of interlocks as it was last evaluated and changes
// nothing; Judge computes everything again before a dose, and again once its intent is
// durable, and trusts none of this.
func (g *Gate) Allowance(now dosing.Instant, t dosing.TankID, p dosing.PumpID) Allowance {
	if g == nil || g.watch == nil {
		return Allowance{By: CauseInputNotEvaluated}
	}
	w := g.watch
	if int(t) >= len(w.tanks) || int(p) >= len(w.pumps) || !w.settings.Pumps[p].ServesTank(t) {
		return Allowance{By: CauseConfigurationUnsafe}
	}
	s := sight{watch: w, now: now, plan: dosing.Plan{Tank: t, Pump: p}, tank: &w.tanks[t], pump: &w.settings.Pumps[p], looking: true}
	cause := s.stands()
	if cause == CauseNone {
		cause = s.openDose()
	}
	if cause == CauseNone {
		s.predict()
		cause = s.forbids()
	}
	if cause != CauseNone {
		return Allowance{By: cause, Words: s.words(cause)}
	}
	s.bound()
	least := s.limits[0]
	for _, l := range s.limits[1:] {
		if l.most < least.most {
			least = l
		}
	}
	a := Allowance{Most: least.most, By: least.cause, Words: s.limitWords(least)}
	if a.Most < s.pump.MinDose {
		a = Allowance{By: least.cause, Words: fmt.Sprintf("less than the smallest dose, %s; %s", s.pump.MinDose, a.Words)}
	}
	return a
}

// limitWords puts a limit in figures.
func (s *sight) limitWords(l limit) string {
	switch l.cause {
	case CauseDoseCap:
		return "the cap on one dose or one run"
	case CauseEffectCap:
		return fmt.Sprintf("%.2f pH at a buffer of %.3g meq/L, or %.2f mS/cm", s.mostPH(), s.floor, effectEC)
	case CauseInTransitCap:
		return fmt.Sprintf("on its way: acid %.2f and base %.2f pH, EC %.2f mS/cm; at most %.2f pH and %.2f mS/cm",
			s.transit.acid/s.floor, s.transit.base/s.floor, s.transit.ec, transitPH, transitEC)
	case CauseUnconfirmed:
		if class, ok := classOf(s.pump.Role); ok {
			a := &s.tank.accounts[class]
			return a.words(a.limit(s.tank, s.commissioned))
		}
	case CauseHourlyCap:
		return fmt.Sprintf("%s of %s in the last hour", s.hour, s.watch.HourlyCap(s.plan.Pump))
	case CauseDailyCap:
		return fmt.Sprintf("%s of %s in the last 24 h", s.day, s.watch.DailyCap(s.plan.Pump))
	case CauseContainerCap:
		return "what the container holds"
	}
	return ""
}
