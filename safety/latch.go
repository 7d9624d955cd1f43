package safety

import "leat/dosing"

// latch makes a trip stay until a person clears it, and notes it for the record.
func (st *state) latch(now dosing.Instant, c *cells, cause Cause, tank dosing.TankID, pump dosing.PumpID, detail string) {
	st.latchAs(now, c, cause, tank, pump, Of(cause).Scope, detail)
}

// latchAs latches with a scope of its own. A second finding that reaches elsewhere
// widens the first to the whole tank.
func (st *state) latchAs(now dosing.Instant, c *cells, cause Cause, tank dosing.TankID, pump dosing.PumpID, scope Scope, detail string) {
	s := &c.cell[cause]
	if c.latched.has(cause) {
		if s.scope == scope || s.scope <= ScopeTank {
			return
		}
		scope = ScopeTank
	} else if !c.active.has(cause) {
		s.since = now
	}
	c.latched.Add(cause)
	s.action, s.scope = min(Of(cause).Action, Stop), scope
	if detail != "" {
		s.detail = detail
	}
	trip, _ := c.trip(cause, tank, pump)
	st.latches = append(st.latches, trip)
}

// NewLatches returns the trips that latched since it was last called. Each goes
// into the ledger, so that a restart does not lift it.
func (st *state) NewLatches() []Trip {
	latches := st.latches
	st.latches = nil
	return latches
}

// RestoreLatch brings a latched trip back after a restart. A trip of one pump
// whose pump is not known stops the whole tank, and so does a cause that this
// version does not know: it was thought bad enough to record.
func (w *Watch) RestoreLatch(id dosing.TankID, cause Cause, since dosing.Instant) {
	if int(id) >= len(w.tanks) {
		return
	}
	w.told = true
	t := &w.tanks[id]
	if cause == CauseNone || cause >= CauseCount {
		cause = CauseOperatorStop
	}
	s := &t.cell[cause]
	row := &table[places[cause]-1]
	t.latched.Add(cause)
	s.since, s.action = since, min(row.Action, Stop)
	if s.scope = row.Scope; s.scope == ScopePump {
		s.scope = ScopeTank
	}
	s.detail = "since before the restart"
	w.publish(t)
}

// RestorePumpLatch brings a latched trip of one pump back after a restart.
func (w *Watch) RestorePumpLatch(id dosing.TankID, pump dosing.PumpID, cause Cause, since dosing.Instant) {
	if int(id) >= len(w.tanks) || int(pump) >= len(w.pumps) || Of(cause).Scope != ScopePump {
		w.RestoreLatch(id, cause, since)
		return
	}
	w.told = true
	c := &w.pumps[pump].cells
	c.latched.Add(cause)
	s := &c.cell[cause]
	s.since, s.action, s.scope = since, min(Of(cause).Action, Stop), ScopePump
	s.detail = "since before the restart"
	for i := range w.tanks {
		w.publish(&w.tanks[i])
	}
}

// Clear lifts the latched trips of a tank and of the pumps that serve it, as a
// person asked who has checked. What is still so trips again at once. Unconfirmed
// solution stays, which only Confirm lifts, and so does a ledger behind its nodes.
func (w *Watch) Clear(now dosing.Instant, id dosing.TankID) {
	if int(id) >= len(w.tanks) {
		return
	}
	w.told = true
	t := &w.tanks[id]
	t.latched = t.latched.and(setOf(CauseSolutionUnconfirmed, CauseLedgerBehindNode))
	t.circulation, t.low, t.thirds, t.unexplained = episode{}, episode{}, thrice{}, unexplained{}
	t.forgive()
	for q := range t.inputs {
		for _, id := range t.inputs[q] {
			if b := &w.inputs[id].blip; !b.on {
				*b = blip{}
			}
		}
	}
	if t.responses != nil {
		t.responses.Disturbed()
	}
	for p := range w.pumps {
		if !w.settings.Pumps[p].ServesTank(id) {
			continue
		}
		w.pumps[p].latched = CauseSet{}
		if n := w.pumps[p].node; int(n) < len(w.nodes) {
			w.nodes[n].loop, w.nodes[n].restarts = false, 0
		}
	}
	w.evaluate(now)
}

// BehindNode says that a node knows of later orders than the ledger: what was dosed
// meanwhile counts nowhere, so nothing is dosed until EpochRaised.
func (w *Watch) BehindNode(now dosing.Instant, words string) {
	w.told = true
	for i := range w.tanks {
		w.latch(now, &w.tanks[i].cells, CauseLedgerBehindNode, w.tanks[i].id, 0, words)
	}
}

// Behind says whether a node is known to know more than the ledger.
func (st *state) Behind() bool {
	for i := range st.tanks {
		if st.tanks[i].latched.has(CauseLedgerBehindNode) {
			return true
		}
	}
	return false
}

// EpochRaised says that a person has raised the epoch above what the nodes know.
func (w *Watch) EpochRaised(now dosing.Instant) {
	w.told = true
	for i := range w.tanks {
		w.tanks[i].latched.Remove(CauseLedgerBehindNode)
	}
	w.evaluate(now)
}

// Accepted ends the refusals of a pump's orders: other settings are in force.
func (w *Watch) Accepted(pump dosing.PumpID) (was bool) {
	w.told = true
	if int(pump) < len(w.pumps) && w.pumps[pump].latched.has(CauseNodeRefuses) {
		was = true
		w.pumps[pump].latched.Remove(CauseNodeRefuses)
	}
	return was
}

// forgive ends the doubt over doses that were settled in full: a person has looked.
// They go on counting.
func (t *tankState) forgive() {
	kept := t.uncertain[:0]
	for _, u := range t.uncertain {
		if !u.closed {
			kept = append(kept, u)
		}
	}
	t.uncertain = kept
}
