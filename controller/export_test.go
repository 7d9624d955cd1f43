package controller

import "leat/dosing"

// JudgeEverything lets the next round of the interlock table judge every row.
func (c *Core) JudgeEverything(now dosing.Instant) { c.watch.Jumped(now, 0) }

// Standing are the holds and the alarms that the view of a tank shows, without the rest of it.
func (c *Core) Standing(now dosing.Instant, id dosing.TankID) ([]HoldView, []AlarmView) {
	warn, harm := c.tanks[id].leaves(now)
	return c.snapshot.holdViews(id), c.snapshot.alarmViews(id, warn, harm)
}

// Titrating says that a titration of a tank is under way.
func (c *Core) Titrating(id dosing.TankID) bool { return c.tanks[id].titration != nil }
