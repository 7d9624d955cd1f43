package controller

import (
	"leat/dosing"
	"leat/safety"
)

// waits keeps why what a tank wants is not given now.
type waits struct {
	*station
	wanted []bool      // scratch: what the tank under decision wants now, by pump
	of     []tankWaits // by tank
}

// tankWaits is why doses of a tank wait.
type tankWaits struct {
	now      []safety.Trip // what the gate's judgement of single doses withheld at the last decision
	withheld [safety.CauseCount]uint64
}

// withhold notes, at a decision, why what the tank wants now is not given. What
// stands is in the watch's table already; what only the judgement of a single dose
// says (a cap, a wait between reagents) is kept as a wait beside it, so that every
// withheld dose has its cause, its age and its words wherever a person looks.
func (wt *waits) withhold(now dosing.Instant, id dosing.TankID, limits []dosing.Volume, causes []safety.Cause) {
	t := &wt.tanks[id]
	k := &wt.of[id]
	before := k.now
	k.now = nil
	t.loops.Wanted(now, t.target(), wt.wanted)
	var counted [safety.CauseCount]bool
	for p, cause := range causes {
		if !wt.wanted[p] || limits[p] > 0 || cause == safety.CauseNone {
			continue
		}
		if !counted[cause] {
			counted[cause] = true
			k.withheld[cause]++
		}
		if safety.OfOneDose(cause) {
			detail := ""
			if cause == safety.CauseUnconfirmed {
				detail = wt.watch.UnseenWords(id, wt.settings.Safety.Pumps[p].Role)
			}
			k.add(now, before, id, dosing.PumpID(p), cause, detail)
		}
	}
}

// forDose notes that a tank that wants something waits for the dose under way.
// What else it waited for stands until the next decision.
func (wt *waits) forDose(now dosing.Instant, id dosing.TankID) {
	t := &wt.tanks[id]
	t.loops.Wanted(now, t.target(), wt.wanted)
	for p, wanted := range wt.wanted {
		if wanted {
			k := &wt.of[id]
			k.add(now, k.now, id, dosing.PumpID(p), safety.CauseDoseOpen, "")
			return
		}
	}
}

// refused notes that the gate refused a dose that was planned.
func (wt *waits) refused(now dosing.Instant, plan dosing.Plan, verdict safety.Verdict) {
	k := &wt.of[plan.Tank]
	k.withheld[verdict.Cause]++
	if safety.OfOneDose(verdict.Cause) {
		k.add(now, k.now, plan.Tank, plan.Pump, verdict.Cause, verdict.Detail)
	}
}

// add adds a wait, once for each cause, with the age of the one before it.
func (t *tankWaits) add(now dosing.Instant, before []safety.Trip, id dosing.TankID, pump dosing.PumpID, cause safety.Cause, detail string) {
	for i := range t.now {
		if t.now[i].Cause == cause {
			return
		}
	}
	row := safety.Of(cause)
	trip := safety.Trip{Cause: cause, Action: row.Action, Scope: row.Scope, Tank: id, Pump: pump, Since: now, Detail: detail}
	for i := range before {
		if before[i].Cause == cause {
			trip.Since = before[i].Since
		}
	}
	t.now = append(t.now, trip)
}
