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
	if trip.Action >= Run {
		return false
	}
	switch trip.Scope {
	case ScopeNutrients:
		return role != dosing.RoleAcid && role != dosing.RoleBase
	case ScopeReagents:
		return role != dosing.RoleStock
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

// status is one cell of the status table: a row of the interlock table for one
// tank or one pump. Round says when it was last evaluated; a cell that missed a
// round is tripped, so that a check nobody called never reads as healthy.
type status struct {
	round   uint64
	active  bool
	latched bool
	action  Action
	scope   Scope
	key     int64
	since   dosing.Instant
	detail  string
}

// cells is the status of every cause for one tank or one pump.
type cells struct {
	round uint64
	cell  [CauseCount]status
}

// lower notes that a cause is not present.
func (c *cells) lower(cause Cause) {
	s := &c.cell[cause]
	s.round = c.round
	s.active = false
}

// raise notes that a cause is present with the row's own action and scope. It
// returns the cell when its text must be written: at the onset and when key
// differs from last time. Texts are made then only, so that a round of an
// unchanged plant allocates nothing.
func (c *cells) raise(now dosing.Instant, cause Cause, key int64) *status {
	s := &c.cell[cause]
	row := &table[places[cause]-1]
	s.round = c.round
	s.action, s.scope = row.Action, row.Scope
	fresh := !s.active || s.key != key
	if !s.active && !s.latched {
		s.since = now
	}
	s.active, s.key = true, key
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
	s := &c.cell[cause]
	if !s.active && !s.latched {
		return Trip{}, false
	}
	action := s.action
	if s.latched {
		action = min(action, Stop)
	}
	return Trip{Cause: cause, Action: action, Scope: s.scope, Tank: tank, Pump: pump, Since: s.since,
		Latched: s.latched, Detail: s.detail}, true
}

// finish raises CauseInputNotEvaluated when a row that is judged here was not
// evaluated in this round.
func (c *cells) finish(now dosing.Instant, here judged) {
	for i := range table {
		row := &table[i]
		if row.judged != here || row.Cause == CauseInputNotEvaluated || c.cell[row.Cause].round == c.round {
			continue
		}
		if s := c.raise(now, CauseInputNotEvaluated, int64(row.Cause)); s != nil {
			s.detail = fmt.Sprintf("%s was not checked in this round", row.Cause)
		}
		if here == byPump {
			c.as(CauseInputNotEvaluated, Lockout, ScopePump)
		}
		return
	}
	c.lower(CauseInputNotEvaluated)
}

// worst keeps the more severe of two trips.
func worst(best *Trip, found *bool, trip Trip) {
	if !*found || trip.before(best) {
		*best, *found = trip, true
	}
}
