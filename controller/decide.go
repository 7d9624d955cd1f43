package controller

import (
	"leat/dosing"
	"leat/dosing/loop"
	"leat/safety"
)

// decide asks the loops of each tank for a plan and puts the first that the gate permits
// on its way. One order runs at a time in a station. The tank whose last dose is the
// longest ago is asked first: turns that only went round fell in step with the waits
// between stocks, and one tank of three got a tenth of the doses.
func (c *Core) decide(now dosing.Instant) {
	if c.dose.state != doseNone {
		for i := range c.tanks {
			c.waitForDose(now, dosing.TankID(i))
		}
		return
	}
	for turn, id := range c.turns {
		if c.decideTank(now, id) {
			copy(c.turns[turn:], c.turns[turn+1:])
			c.turns[len(c.turns)-1] = id
			return
		}
	}
}

// sparedShare is the part of a cap that a plan leaves free.
const sparedShare = 32

func (c *Core) decideTank(now dosing.Instant, id dosing.TankID) bool {
	t := &c.tanks[id]
	c.gate.Limits(now, id, c.limits, c.causes)
	for p := range c.limits {
		// While the intent is on its way to the disk a reading may narrow a cap by a
		// hair. A dose planned to the very cap would then be withdrawn.
		if spared := c.limits[p] - c.limits[p]/sparedShare; spared >= c.settings.Safety.Pumps[p].MinDose {
			c.limits[p] = spared
		}
	}
	c.withhold(now, id)
	t.would = ""
	if c.watch.Mode(id) != safety.ModeArmed {
		t.would = c.wouldDose(now, id)
		return false
	}
	plan, ok := t.loops.Next(now, t.target(), c.limits)
	c.recordOwed(now, id)
	if !ok {
		return false
	}
	clearance, verdict := c.gate.Judge(now, plan)
	if !verdict.Allowed {
		c.refused(now, plan, verdict)
		return false
	}
	return c.intend(now, plan, clearance)
}

// needs says which role would be dosed if nothing stood in the way.
func (t *tank) needs(now dosing.Instant) dosing.Role {
	e := t.loops.Estimate(now, t.target())
	return t.lacks(&e)
}

func (t *tank) lacks(e *loop.Estimate) dosing.Role {
	target := t.target()
	switch {
	case e.ECKnown && float64(e.EC) < float64(target.EC)-dosing.StartBand.EC:
		return dosing.RoleStock
	case e.PHKnown && float64(e.PH) > float64(target.PH)+dosing.StartBand.PH:
		return dosing.RoleAcid
	case e.PHKnown && float64(e.PH) < float64(target.PH)-dosing.StartBand.PH:
		return dosing.RoleBase
	}
	return dosing.RoleNone
}

// learn tells the gate what the loops learned and, now and then, the ledger, so
// that a restart does not forget it.
func (c *Core) learn(now dosing.Instant) {
	for i := range c.tanks {
		e := &c.tanks[i].estimate
		c.watch.Learned(dosing.TankID(i), e.LnBuffer, e.LnBufferSpread, e.Answered)
		c.recordUnseen(now, dosing.TankID(i))
	}
	if now.Up-c.learned >= learnedEvery {
		c.learned = now.Up
		c.recordLearned(now)
		c.recordIons(now)
		c.foresee(now)
		c.countHour()
	}
}
