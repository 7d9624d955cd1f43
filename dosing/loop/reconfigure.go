package loop

import "leat/dosing"

// Reconfigure takes new settings of the same tank and row. What was measured, owed
// and learned stays; what was learned against another titration curve or another
// commissioned capacity says nothing any more and starts anew.
func (l *Loops) Reconfigure(tank dosing.Tank, pumps []dosing.Pump, curve dosing.Titration) {
	fresh := NewLoops(l.id, tank, pumps, curve, l.totals)
	other := tank.BufferScale != l.tank.BufferScale || tank.BufferSpread != l.tank.BufferSpread || tank.Expected() != l.tank.Expected()
	fresh.ph = l.ph.commissioned(fresh.ph)
	fresh.ec = l.ec.commissioned(fresh.ec)
	if other {
		fresh.ph.resetGain()
		fresh.ph.measured(tank.StartSpread())
	}
	copy(fresh.blend.owed, l.blend.owed)
	copy(fresh.blend.part, l.blend.part)
	if l.reshared {
		fresh.Reshare(l.blend.shares)
	}
	fresh.water, fresh.frozen, fresh.explained, fresh.came = l.water, l.frozen, l.explained, l.came
	fresh.lastAcid, fresh.lastBase, fresh.lastGroup = l.lastAcid, l.lastBase, l.lastGroup
	fresh.phWithheld, fresh.ecWithheld, fresh.blend.traceRefused = l.phWithheld, l.ecWithheld, l.blend.traceRefused
	*l = *fresh
}

// commissioned is the observer with the curve, scale, noise and waters of another one;
// how far the waters stand apart was followed and stays.
func (o observer) commissioned(by observer) observer {
	o.curve, o.scale, o.noise = by.curve, by.scale, by.noise
	o.waters.slow, o.waters.fade = by.waters.slow, by.waters.fade
	if o.waters.slow == 0 {
		o.waters.apart = 0
	}
	return o
}
