package safety

import (
	"cmp"
	"fmt"
	"math/bits"

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

// causeSet is a set of causes, one bit each.
type causeSet [2]uint64

// A set holds every cause.
var _ [128 - CauseCount]struct{}

func setOf(causes ...Cause) (s causeSet) {
	for _, c := range causes {
		s.add(c)
	}
	return s
}

func (s *causeSet) add(c Cause)    { s[c/64] |= 1 << (c % 64) }
func (s *causeSet) remove(c Cause) { s[c/64] &^= 1 << (c % 64) }

func (s causeSet) has(c Cause) bool { return s[c/64]&(1<<(c%64)) != 0 }
func (s causeSet) empty() bool      { return s[0]|s[1] == 0 }

func (s causeSet) or(o causeSet) causeSet      { return causeSet{s[0] | o[0], s[1] | o[1]} }
func (s causeSet) and(o causeSet) causeSet     { return causeSet{s[0] & o[0], s[1] & o[1]} }
func (s causeSet) without(o causeSet) causeSet { return causeSet{s[0] &^ o[0], s[1] &^ o[1]} }

// first is the lowest cause of a set that is not empty, and the set without it.
func (s causeSet) first() (Cause, causeSet) {
	if s[0] != 0 {
		return Cause(bits.TrailingZeros64(s[0])), causeSet{s[0] & (s[0] - 1), s[1]}
	}
	return 64 + Cause(bits.TrailingZeros64(s[1])), causeSet{0, s[1] & (s[1] - 1)}
}

// due are the causes that every round of a tank, or of a pump, must judge.
var due = func() (sets [byPump + 1]causeSet) {
	for i := range table {
		if row := &table[i]; row.Cause != CauseInputNotEvaluated {
			sets[row.judged].add(row.Cause)
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
	judged, active, latched causeSet
	cell                    [CauseCount]status
}

// begin starts a round in which these rows are due.
func (c *cells) begin(due causeSet) { c.judged = c.judged.without(due) }

// lower notes that a cause is not present.
func (c *cells) lower(cause Cause) {
	c.judged.add(cause)
	c.active.remove(cause)
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
	c.judged.add(cause)
	c.active.add(cause)
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
	missed := due[here].without(c.judged)
	if missed.empty() {
		c.lower(CauseInputNotEvaluated)
		return
	}
	cause, _ := missed.first()
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
