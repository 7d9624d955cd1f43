package controller

import (
	"leat/dosing"
	"leat/dosing/loop"
	"leat/safety"
)

// decisions asks the loops and the gate, once a period.
type decisions struct {
	*station
	waits  *waits
	doses  *doses
	limits []dosing.Volume // scratch of a decision, by pump
	causes []safety.Cause  // why a limit is zero, by pump
	turns  []dosing.TankID // the tanks, the one that was dosed longest ago first
	would  []string        // what each would dose now if it were armed, in words
}

// decide asks the loops of each tank for a plan and puts the first that the gate permits
// on its way. One order runs at a time in a station. The tank whose last dose is the
// longest ago is asked first: turns that only went round fell in step with the waits
// between stocks, and one tank of three got a tenth of the doses.
func (de *decisions) decide(now dosing.Instant) {
	if de.dose.state != doseNone {
		for i := range de.tanks {
			de.waits.forDose(now, dosing.TankID(i))
		}
		return
	}
	for turn, id := range de.turns {
		if de.decideTank(now, id) {
			copy(de.turns[turn:], de.turns[turn+1:])
			de.turns[len(de.turns)-1] = id
			return
		}
	}
}

// sparedShare is the part of a cap that a plan leaves free.
const sparedShare = 32

func (de *decisions) decideTank(now dosing.Instant, id dosing.TankID) bool {
	de.gate.Limits(now, id, de.limits, de.causes)
	for p := range de.limits {
		// While the intent is on its way to the disk a reading may narrow a cap by a
		// hair. A dose planned to the very cap would then be withdrawn.
		if spared := de.limits[p] - de.limits[p]/sparedShare; spared >= de.settings.Safety.Pumps[p].MinDose {
			de.limits[p] = spared
		}
	}
	de.waits.withhold(now, id, de.limits, de.causes)
	de.would[id] = ""
	if de.watch.Mode(id) != safety.ModeArmed {
		de.would[id] = de.wouldDose(now, id)
		return false
	}
	if de.topUp(now, id) {
		return true
	}
	plan, ok := de.plan(now, id)
	if !ok {
		return false
	}
	return de.put(now, plan)
}

// put puts a plan on its way if the gate permits it.
func (de *decisions) put(now dosing.Instant, plan dosing.Plan) bool {
	clearance, verdict := de.gate.Judge(now, plan)
	if !verdict.Allowed {
		de.waits.refused(now, plan, verdict)
		return false
	}
	return de.doses.intend(now, plan, clearance)
}

// plan is the next dose of a tank: what its loops want, else a test of its probe; while a titration is
// under way only that.
func (de *decisions) plan(now dosing.Instant, id dosing.TankID) (dosing.Plan, bool) {
	t := &de.tanks[id]
	if t.titration != nil {
		return t.titration.next(now, id, t, de.settings.Safety.Pumps, de.limits)
	}
	if t.fillUp != nil {
		t.fillUp.narrow(de.settings.Safety.Pumps, de.limits)
	}
	plan, ok := t.loops.Next(now, t.target(), de.limits)
	de.doses.recordOwed(now, id)
	if ok {
		return plan, true
	}
	if t.fillUp != nil {
		return dosing.Plan{}, false
	}
	t.loops.Bound(now, t.target(), de.limits)
	return de.watch.Test(now, id, de.limits)
}

// topUp lets in what the level lacks, a pulse at a time. It goes before doses: what they are
// planned for is then the water that is there, and between two pulses there is time for them.
func (de *decisions) topUp(now dosing.Instant, id dosing.TankID) bool {
	lacks, reason := de.watch.Lacks(now, id), dosing.ReasonLevelLow
	if !(lacks > 0) {
		if lacks, reason = de.dilutes(now, id), dosing.ReasonECHigh; !(lacks > 0) {
			return false
		}
	}
	for p := range de.limits {
		pump := &de.settings.Safety.Pumps[p]
		if pump.Role != dosing.RoleWater || !pump.ServesTank(id) {
			continue
		}
		volume := min(dosing.FromMillilitres(1000*lacks), de.limits[p])
		if volume >= pump.MinDose {
			return de.put(now, dosing.Plan{Tank: id, Pump: dosing.PumpID(p), Volume: volume, Reason: reason})
		}
		if cause := de.causes[p]; de.limits[p] == 0 && cause != safety.CauseNone {
			de.waits.refused(now, dosing.Plan{Tank: id, Pump: dosing.PumpID(p)}, safety.Verdict{Cause: cause})
		}
	}
	return false
}

// Of the band of top-up, the room above the level at which diluting begins and ends: each of its pulses must be one that
// the level shows.
const dilutesFrom, dilutesTo = 0.5, 0.1

// dilutes is how much water a valve of ours is to let in because EC stands above its warn band, in litres: as much as
// brings it back where there is room below the upper end of top-up. While it does so nothing wants stock, and by
// the EC at which the water will have mixed it ends before stock is wanted, so the two never work against each other.
func (de *decisions) dilutes(now dosing.Instant, id dosing.TankID) float64 {
	t, band := &de.tanks[id], &de.settings.Safety.Tanks[id].TopUpBand
	level, rests := de.watch.Resting(now, id)
	e := t.loops.Estimate(now, t.target())
	over, weaker := float64(e.EC)-t.ec.present, float64(e.EC)-float64(t.plant.TopUp.EC)
	room, wide := float64(band.High)-level, float64(band.High-band.Low)
	if !(room > dilutesTo*wide) || !rests || !e.ECKnown || e.Away || t.titration != nil || t.fillUp != nil || !(weaker > over) || !(over > dosing.StartBand.EC) {
		t.diluting = false
		return 0
	}
	t.diluting = t.diluting || room > dilutesFrom*wide && over > dosing.WarnBand.EC && float64(e.MeasuredEC)-t.ec.present > dosing.WarnBand.EC
	if !t.diluting {
		return 0
	}
	return min(over/weaker*float64(t.plant.Quick()), room)
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
