package safety

import "leat/dosing"

// Largest is the largest volume that Judge would allow now, or zero and why.
func (g *Gate) Largest(now dosing.Instant, t dosing.TankID, p dosing.PumpID) (dosing.Volume, Cause) {
	var s sight
	plan := dosing.Plan{Tank: t, Pump: p}
	if cause := g.see(&s, now, plan, none); cause != CauseNone {
		return 0, cause
	}
	return s.most()
}
