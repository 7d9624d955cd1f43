package safety

import "leat/dosing"

// Verdict is the gate's word on a plan. The zero verdict allows nothing.
type Verdict struct {
	Allowed bool
	Cause   Cause  // why not; CauseNone with Allowed false means nobody judged
	Detail  string // the figures, in words
}

// Clearance is permission for one plan at one instant. Only Gate.Judge makes one;
// it is spent by the first who uses it, and a zero clearance permits nothing.
type Clearance struct {
	plan  dosing.Plan
	at    dosing.Instant
	valid bool
	spent bool
}

// Spend uses the clearance up and returns what it permits. A second call, or a
// call on a nil or zero clearance, permits nothing.
func (c *Clearance) Spend() (plan dosing.Plan, at dosing.Instant, ok bool) {
	if c == nil || !c.valid || c.spent {
		return dosing.Plan{}, dosing.Instant{}, false
	}
	c.spent = true
	return c.plan, c.at, true
}
