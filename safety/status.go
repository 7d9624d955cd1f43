package safety

import (
	"cmp"
	"fmt"

	"leat/dosing"
)

// Trip is one active interlock with its figures.
type Trip struct {
	Cause   Cause
	Action  Action
	Scope   Scope
	Tank    dosing.TankID
	Pump    dosing.PumpID // of a trip of scope pump; zero otherwise
	Since   dosing.Instant
	Latched bool   // only a person clears it
	Detail  string // the figures, in words
}

// stops says whether the trip stops a pump of this role from dosing into the
// trip's tank.
func (trip *Trip) stops(p dosing.PumpID, role dosing.Role) bool {
	if trip.Action >= Run || role == dosing.RoleWater && trip.sparesWater() {
		return false
	}
	switch trip.Scope {
	case ScopeNutrients:
		return role == dosing.RoleStock
	case ScopeReagents:
		return role == dosing.RoleAcid || role == dosing.RoleBase
	case ScopePump:
		return trip.Pump == p
	}
	return true
}

// before orders trips: the most severe action, then the widest scope, then the
// order of roots of the table.
func (trip *Trip) before(other *Trip) bool {
	order := cmp.Compare(trip.Action, other.Action)
	if order == 0 {
		order = cmp.Compare(trip.Scope, other.Scope)
	}
	if order == 0 {
		order = cmp.Compare(places[trip.Cause], places[other.Cause])
	}
	return order < 0
}

// due are the causes that every round of a tank, or of a pump, must judge.
var due = func() (sets [byPump + 1]CauseSet) {
	for i := range table {
		if row := &table[i]; row.Cause != CauseInputNotEvaluated {
			sets[row.judged].Add(row.Cause)
		}
	}
	return sets
}()

// status is one cell of the status table: a row of the interlock table for one
// tank or one pump.
type status struct {
	action Action
	scope  Scope
	key    int64
	since  dosing.Instant
	detail string
}

// cells is the status of every cause for one tank or one pump. Judged holds what
// was evaluated when it was last due: what was not is tripped, so that a check nobody
// called never reads as healthy.
type cells struct {
	judged, active, latched CauseSet
	cell                    [CauseCount]status
}

// begin starts a round in which these rows are due.
func (c *cells) begin(due CauseSet) { c.judged = c.judged.Without(due) }

// lower notes that a cause is not present.
func (c *cells) lower(cause Cause) {
	c.judged.Add(cause)
	c.active.Remove(cause)
}

// raise notes that a cause is present with the row's own action and scope. It
// returns the cell when its text must be written: at the onset and when key
// differs from last time. Texts are made then only, so that a round of an
// unchanged plant allocates nothing.
func (c *cells) raise(now dosing.Instant, cause Cause, key int64) *status {
	s := &c.cell[cause]
	row := &table[places[cause]-1]
	fresh := !c.active.has(cause) || s.key != key
	if !c.active.has(cause) && !c.latched.has(cause) {
		s.since = now
	}
	c.judged.Add(cause)
	c.active.Add(cause)
	s.action, s.scope, s.key = row.Action, row.Scope, key
	if !fresh {
		return nil
	}
	return s
}

// put raises or lowers a cause whose text needs no figures.
func (c *cells) put(now dosing.Instant, cause Cause, present bool, detail string) {
	if !present {
		c.lower(cause)
		return
	}
	if s := c.raise(now, cause, 0); s != nil {
		s.detail = detail
	}
}

// as sets another action or scope than the row's for the present round.
func (c *cells) as(cause Cause, action Action, scope Scope) {
	c.cell[cause].action, c.cell[cause].scope = action, scope
}

// trip makes the trip of a cell, if it is active or latched.
func (c *cells) trip(cause Cause, tank dosing.TankID, pump dosing.PumpID) (Trip, bool) {
	if !c.active.has(cause) && !c.latched.has(cause) {
		return Trip{}, false
	}
	s := &c.cell[cause]
	action := s.action
	if c.latched.has(cause) {
		action = min(action, Stop)
	}
	return Trip{Cause: cause, Action: action, Scope: s.scope, Tank: tank, Pump: pump, Since: s.since,
		Latched: c.latched.has(cause), Detail: s.detail}, true
}

// finish raises CauseInputNotEvaluated when a row was not evaluated when it was due.
func (c *cells) finish(now dosing.Instant, here judged) {
	missed := due[here].Without(c.judged)
	if missed.Empty() {
		c.lower(CauseInputNotEvaluated)
		return
	}
	cause, _ := missed.First()
	if s := c.raise(now, CauseInputNotEvaluated, int64(cause)); s != nil {
		s.detail = fmt.Sprintf("%s was not checked in this round", cause)
	}
	if here == byPump {
		c.as(CauseInputNotEvaluated, Lockout, ScopePump)
	}
}

// worst keeps the more severe of two trips.
func worst(best *Trip, found *bool, trip Trip) {
	if !*found || trip.before(best) {
		*best, *found = trip, true
	}
}

// tankCheck raises or lowers one cause of a tank; pumpCheck one of a pump. A check
// that is not in these tables, or that forgets its cell, counts as tripped.
type (
	tankCheck func(w *Watch, now dosing.Instant, t *tankState)
	pumpCheck func(w *Watch, now dosing.Instant, id dosing.PumpID, p *pumpState)
)

// sparesWater says that water may be let in in spite of this trip. A low level is what top-up is
// for, and what is not known of pH or mixing matters to doses. What a person must clear stops it.
func (trip *Trip) sparesWater() bool {
	if trip.Latched {
		return trip.Scope == ScopeNutrients || trip.Scope == ScopeReagents
	}
	switch trip.Cause {
	case CausePHMissing, CausePHStale, CausePHInvalid, CauseProbeSilent, CauseProbesDisagree, CauseECMissing, CauseECDoubted, CauseECStale, CauseECInvalid,
		CauseTemperatureInvalid, CauseTemperatureRange, CauseSampleFlowOff, CauseCirculationOff, CauseLevelLow, CauseMixingWait:
		return true
	}
	return false
}
