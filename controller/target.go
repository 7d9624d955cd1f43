package controller

import "leat/dosing"

// Target is the tank's effective setpoints now, after ramp and schedule.
func (c *Core) Target(id dosing.TankID) dosing.Target { return c.tanks[id].target() }
