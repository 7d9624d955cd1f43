package controller

import (
	"leat/dosing"
	"leat/safety"
)

// situation is what the alarms that stop nothing are judged from.
func (c *Core) situation(now dosing.Instant, id dosing.TankID, e dosing.Estimate) safety.Situation {
	t := &c.tanks[id]
	return safety.Situation{Known: e.Known, Mode: c.watch.Mode(id), PH: float64(e.MeasuredPH), EC: float64(e.MeasuredEC), SettledEC: float64(e.EC),
		Target: t.target(), TopUpEC: float64(t.plant.TopUp.EC), MixingTime: t.plant.MixingTime(), LnBuffer: e.LnBuffer, Answered: e.Answered,
		Withheld: c.withholder(now, id)}
}

// withholder is the standing interlock that keeps the needed reagent from the
// tank, if each pump of that reagent is kept from it.
func (c *Core) withholder(now dosing.Instant, id dosing.TankID) safety.Cause {
	role := c.tanks[id].needs(now)
	if role == dosing.RoleNone {
		return safety.CauseNone
	}
	cause := safety.CauseNone
	for i := range c.settings.Safety.Pumps {
		if p := &c.settings.Safety.Pumps[i]; p.Role != role || !p.ServesTank(id) {
			continue
		}
		trip, blocked := c.watch.Blocks(id, dosing.PumpID(i))
		if !blocked {
			return safety.CauseNone
		}
		if cause == safety.CauseNone {
			cause = trip.Cause
		}
	}
	return cause
}
