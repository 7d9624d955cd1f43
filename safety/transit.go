package safety

import (
	"leat/dosing"
)

// inTransit is what is on its way to a tank's probes, per litre.
type inTransit struct {
	acid, base float64 // meq/L, both positive
	doubtAcid  float64 // of it what may never have been delivered, or is a person's word
	doubtBase  float64
	saidAcid   float64 // of it a person's word
	saidBase   float64
	ec         float64 // mS/cm
}

// gather sums what is on its way to the tank, whatever is dosed next.
func (s *sight) gather() {
	t := s.tank
	s.volume = float64(t.plant.QuickOf(min(s.watch.Volume(t.id), t.plant.Volume)))
	s.commissioned, s.floor = t.buffers()
	visit := func(d *dosing.Dose, ml float64) {
		if s.own.is && d.Key == s.own.key && d.Pump == s.plan.Pump {
			return
		}
		pump := &s.watch.settings.Pumps[d.Pump]
		s.transit.ec += float64(ml*pump.ECPerML) / s.volume
		effect := float64(ml*pump.AcidPerML) / s.volume
		if effect >= 0 {
			add(d, effect, &s.transit.acid, &s.transit.doubtAcid, &s.transit.saidAcid)
		} else {
			add(d, -effect, &s.transit.base, &s.transit.doubtBase, &s.transit.saidBase)
		}
	}
	if s.looking {
		s.watch.totals.SeeInTransit(t.id, s.now.Up, t.plant.DeadTime, t.plant.TimeConstant, visit)
	} else {
		s.watch.totals.EachInTransit(t.id, s.now.Up, t.plant.DeadTime, t.plant.TimeConstant, visit)
	}
	s.credit = min(t.unanswered(s.now.Up, s.volume), creditPH*s.floor)
}

// add counts what one dose has on its way, and of it what is in doubt and what a person
// said.
func add(d *dosing.Dose, effect float64, all, doubt, said *float64) {
	*all += effect
	if d.Open || d.Hand {
		*doubt += effect
	}
	if d.Hand {
		*said += effect
	}
}
