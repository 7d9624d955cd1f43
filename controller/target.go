package controller

import (
	"leat/dosing"
	"leat/dosing/loop"
)

// Target is the tank's effective setpoints now, after ramp and schedule.
func (c *Core) Target(id dosing.TankID) dosing.Target { return c.tanks[id].target() }

// Estimate is what the tank's loops know now, seen from its effective setpoints.
func (c *Core) Estimate(now dosing.Instant, id dosing.TankID) loop.Estimate {
	return c.tanks[id].loops.Estimate(now, c.tanks[id].target())
}

// UnseenMost is how much of a pump's kind of reagent may be in a tank that no reading has
// shown, meq/L or mS/cm.
func (c *Core) UnseenMost(id dosing.TankID, pump dosing.PumpID) float64 {
	return c.watch.UnseenMost(id, c.settings.Safety.Pumps[pump].Role)
}

// BufferFloor is the buffer capacity by which the gate judges the tank now, meq/L
// per pH; 0 while nothing is known.
func (c *Core) BufferFloor(now dosing.Instant, id dosing.TankID) float64 {
	return c.gate.BufferFloor(now, id)
}

// View makes a snapshot for people and metrics.
func (c *Core) View(now dosing.Instant) *View { return c.snapshot.view(now) }

// Tank is one tank of the View.
func (c *Core) Tank(now dosing.Instant, id dosing.TankID) TankView { return c.snapshot.ofTank(now, id) }

// Doubt says why the newest reading of an input was not valid for dosing when it came, and
// why the input is not now; "" = it is.
func (c *Core) Doubt(now dosing.Instant, in dosing.InputID) (came, stands string) {
	return c.watch.Doubt(now, in)
}
