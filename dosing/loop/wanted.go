package loop

import (
	"math"

	"leat/dosing"
)

// Wanted marks, by pump, what would be dosed now if nothing withheld it: the base
// for saying why a dose that is due is not given. It changes nothing. Wanted has
// one place for each pump of the row.
func (l *Loops) Wanted(now dosing.Instant, target dosing.Target, wanted []bool) {
	clear(wanted)
	s := l.prospect(now, target)
	ph := &s.planned.ph
	if ph.known {
		pumps := l.acids
		if ph.need < 0 {
			pumps = l.bases
		}
		for _, id := range pumps {
			p := &l.pumps[id]
			smallest := float64(p.MinDose.Millilitres()*math.Abs(p.AcidPerML)) / float64(l.tank.Quick())
			wanted[id] = ph.amount(float64(target.PH), deadBandPH, smallest) > 0
		}
	}
	if s.planned.ec.known && l.blend.usable() {
		l.blend.mark(l.pumps, target, &s.planned.ec, wanted)
	}
}

// pastTarget is how far past its target a dose that tests a probe may carry the settled prediction, pH.
const pastTarget = 0.05

// Bound cuts the limits of acid and base, by pump, to what carries pH no farther past the target than a test may. An
// unknown pH leaves no room.
func (l *Loops) Bound(now dosing.Instant, target dosing.Target, limits []dosing.Volume) {
	ph := &l.prospect(now, target).ph
	for _, side := range [...]struct {
		pumps []dosing.PumpID
		to    float64
	}{{l.acids, float64(target.PH) - pastTarget}, {l.bases, float64(target.PH) + pastTarget}} {
		for _, id := range side.pumps {
			room := 0.0
			if ph.known {
				room = float64(l.ph.curve.AcidNeeded(ph.settled, side.to)*l.ph.capacity()) / l.pumps[id].AcidPerML
			}
			limits[id] = min(limits[id], dosing.FromMillilitres(max(0, float64(room*float64(l.tank.Quick())))))
		}
	}
}

// mark marks what is due of a begun blend, or the whole row where a new
// one would be begun. What waits for room below the setpoint is not due.
func (b *blend) mark(pumps []dosing.Pump, target dosing.Target, ec *outlook, wanted []bool) {
	room := float64(target.EC) + deadBandEC + b.smallest/2 - ec.settled
	begun := false
	for _, id := range b.stocks {
		p := &pumps[id]
		if !b.due(id) {
			continue
		}
		begun = true
		wanted[id] = float64(room*b.volume) >= float64(p.ECPerML*p.MinDose.Millilitres())
	}
	if begun || !(ec.need < 0) {
		return
	}
	if !(ec.amount(float64(target.EC), deadBandEC, b.smallest) > 0) {
		return
	}
	for _, id := range b.stocks {
		wanted[id] = b.shares[id] > 0
	}
}
