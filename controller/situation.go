package controller

import (
	"leat/dosing"
	"leat/safety"
	"leat/safety/alarm"
)

// alkalineTopUp is the alkalinity from which top-up brings carbonate that shows, meq/L.
const alkalineTopUp = 0.3

// situation is what the alarms that stop nothing are judged from.
func (c *Core) situation(id dosing.TankID) alarm.Situation {
	t := &c.tanks[id]
	e := &t.estimate
	return alarm.Situation{Known: e.Known, Mode: c.watch.Mode(id), PH: float64(e.MeasuredPH), EC: float64(e.MeasuredEC), SettledEC: float64(e.EC),
		Target: t.target(), TopUpEC: float64(t.plant.TopUp.EC), MixingTime: t.plant.MixingTime(), LnBuffer: e.LnBuffer, ECGain: e.ECGain, Answered: e.Answered,
		Acid: c.watch.Usual(id, dosing.RoleAcid), Base: c.watch.Usual(id, dosing.RoleBase),
		Alkaline: t.plant.TopUp.Alkalinity >= alkalineTopUp && t.loops.ToppedUp() > 0, Slow: t.plant.Slow,
		Withheld: c.withholder(id, t.lacks(e)), Surplus: t.ions.surplus, Loaded: c.watch.Loaded(id), StuckLevel: c.watch.StuckLevel(id), Unanswered: c.watch.Unanswered(id), Miscompensated: c.watch.Miscompensated(id),
		Late: c.watch.Late(id), SourceWater: c.watch.SourceWater(id), Disarmed: t.disarmed, StockLow: t.low}
}

// withholder is why the needed reagent is kept from the tank, if each pump of that
// reagent is kept from it: by what stands, or by what the last decision said.
func (c *Core) withholder(id dosing.TankID, role dosing.Role) safety.Cause {
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
			return c.waitsFor(id, role)
		}
		if cause == safety.CauseNone {
			cause = trip.Cause
		}
	}
	return cause
}

// waitsFor is what the last decision withheld a reagent for.
func (c *Core) waitsFor(id dosing.TankID, role dosing.Role) safety.Cause {
	for i := range c.tanks[id].waits {
		if w := &c.tanks[id].waits[i]; w.Cause != safety.CauseDoseOpen && c.settings.Safety.Pumps[w.Pump].Role == role {
			return w.Cause
		}
	}
	return safety.CauseNone
}
