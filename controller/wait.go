package controller

import (
	"leat/dosing"
	"leat/safety"
)

// waits keeps why what a tank wants is not given now.
type waits struct {
	*station
	wanted []bool // scratch: what the tank under decision wants now, by pump
}

// withhold notes, at a decision, why what the tank wants now is not given. What
// stands is in the watch's table already; what only the judgement of a single dose
// says (a cap, a wait between reagents) is kept as a wait beside it, so that every
// withheld dose has its cause, its age and its words wherever a person looks.
func (wt *waits) withhold(now dosing.Instant, id dosing.TankID, limits []dosing.Volume, causes []safety.Cause) {
	t := &wt.tanks[id]
	before := t.waits
	t.waits = nil
	t.loops.Wanted(now, t.target(), wt.wanted)
	var counted [safety.CauseCount]bool
	for p, cause := range causes {
		if !wt.wanted[p] || limits[p] > 0 || cause == safety.CauseNone {
			continue
		}
		if !counted[cause] {
			counted[cause] = true
			t.withheld[cause]++
		}
		if safety.OfOneDose(cause) {
			detail := ""
			if cause == safety.CauseUnconfirmed {
				detail = wt.watch.UnseenWords(id, wt.settings.Safety.Pumps[p].Role)
			}
			t.wait(now, before, id, dosing.PumpID(p), cause, detail)
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
			t.wait(now, t.waits, id, dosing.PumpID(p), safety.CauseDoseOpen, "")
			return
		}
	}
}

// refused notes that the gate refused a dose that was planned.
func (wt *waits) refused(now dosing.Instant, plan dosing.Plan, verdict safety.Verdict) {
	t := &wt.tanks[plan.Tank]
	t.withheld[verdict.Cause]++
	if safety.OfOneDose(verdict.Cause) {
		t.wait(now, t.waits, plan.Tank, plan.Pump, verdict.Cause, verdict.Detail)
	}
}

// wait adds a wait, once for each cause, with the age of the one before it.
func (t *tank) wait(now dosing.Instant, before []safety.Trip, id dosing.TankID, pump dosing.PumpID, cause safety.Cause, detail string) {
	for i := range t.waits {
		if t.waits[i].Cause == cause {
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
	t.waits = append(t.waits, trip)
}
