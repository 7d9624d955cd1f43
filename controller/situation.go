package controller

import (
	"leat/dosing"
	"leat/safety"
	"leat/safety/alarm"
)

// alkalineTopUp is the alkalinity from which top-up brings carbonate that shows, meq/L.
const alkalineTopUp = 0.3

// situation is what the alarms that stop nothing are judged from.
func (il *interlocks) situation(id dosing.TankID) alarm.Situation {
	t := &il.tanks[id]
	e := &t.estimate
	return alarm.Situation{Known: e.Known, Mode: il.watch.Mode(id), PH: float64(e.MeasuredPH), EC: float64(e.MeasuredEC), SettledEC: float64(e.EC),
		Target: t.target(), TopUpEC: float64(t.plant.TopUp.EC), Litres: float64(t.plant.Volume), MixingTime: t.plant.MixingTime(), LnBuffer: e.LnBuffer, Measured: t.plant.StartSpread() < dosing.UnmeasuredSpread, ECGain: e.ECGain, Answered: e.Answered,
		Acid: il.watch.Usual(id, dosing.RoleAcid), Base: il.watch.Usual(id, dosing.RoleBase),
		Alkaline: t.plant.TopUp.Alkalinity >= alkalineTopUp && t.loops.ToppedUp() > 0, Slow: t.plant.Slow, Later: t.plant.Later,
		Withheld: il.withholder(id, t.lacks(e)), Surplus: t.ions.surplus, Loaded: il.watch.Loaded(id), StuckLevel: il.watch.StuckLevel(id), Unanswered: il.watch.Unanswered(id), Miscompensated: il.watch.Miscompensated(id),
		Late: il.watch.Late(id), SourceWater: il.watch.SourceWater(id), OffBalance: il.watch.OffBalance(id), Disarmed: t.disarmed, StockLow: il.stocks.lows[id], Line: il.lines.of[id].Findings()}
}

// withholder is why the needed reagent is kept from the tank, if each pump of that
// reagent is kept from it: by what stands, or by what the last decision said.
func (il *interlocks) withholder(id dosing.TankID, role dosing.Role) safety.Cause {
	if role == dosing.RoleNone {
		return safety.CauseNone
	}
	cause := safety.CauseNone
	for i := range il.settings.Safety.Pumps {
		if p := &il.settings.Safety.Pumps[i]; p.Role != role || !p.ServesTank(id) {
			continue
		}
		trip, blocked := il.watch.Blocks(id, dosing.PumpID(i))
		if !blocked {
			return il.waitsFor(id, role)
		}
		if cause == safety.CauseNone {
			cause = trip.Cause
		}
	}
	return cause
}

// waitsFor is what the last decision withheld a reagent for.
func (il *interlocks) waitsFor(id dosing.TankID, role dosing.Role) safety.Cause {
	for i := range il.waits.of[id].now {
		if w := &il.waits.of[id].now[i]; w.Cause != safety.CauseDoseOpen && il.settings.Safety.Pumps[w.Pump].Role == role {
			return w.Cause
		}
	}
	return safety.CauseNone
}
