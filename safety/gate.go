package safety

import (
	"fmt"

	"leat/dosing"
)

// Gate is the only maker of a Clearance. It believes no controller: every dose is
// judged again from the raw state, and one that was already written down is judged
// once more.
type Gate struct{ watch *Watch }

// NewGate makes the gate over a station's watch. Without a watch it refuses all.
func NewGate(w *Watch) *Gate { return &Gate{watch: w} }

// Judge says whether a plan may be carried out now, and if so gives the one
// clearance for it.
func (g *Gate) Judge(now dosing.Instant, plan dosing.Plan) (*Clearance, Verdict) {
	verdict := g.judge(now, plan, none)
	if !verdict.Allowed {
		return nil, verdict
	}
	return &Clearance{plan: plan, at: now, valid: true}, verdict
}

// Recheck judges a plan whose dose is open under key, now that its intent is
// durable. The tests are those of Judge; only the dose does not count against
// itself.
func (g *Gate) Recheck(now dosing.Instant, plan dosing.Plan, key uint64) Verdict {
	return g.judge(now, plan, own{key: key, is: true})
}

// Limits is the largest volume that Judge would allow now of every pump of the row, or
// zero and why, for a planner: what they have in common is computed once, and the status
// table is taken as it was evaluated at this instant. It is advice. Judge trusts none of it,
// and only Judge knows the slack of a blend's rest: it is for a prediction that moved
// after the plan, not to plan into.
// Most and causes have one place for each pump; what cannot be judged gets nothing.
func (g *Gate) Limits(now dosing.Instant, t dosing.TankID, most []dosing.Volume, causes []Cause) {
	for p := range most {
		most[p], causes[p] = 0, CauseInputNotEvaluated
	}
	if g == nil || g.watch == nil || int(t) >= len(g.watch.tanks) || len(most) != len(g.watch.pumps) || len(causes) != len(most) {
		return
	}
	w := g.watch
	if w.evaluated != now.Up || !w.seeded {
		w.Evaluate(now)
	}
	s := sight{watch: w, now: now, plan: dosing.Plan{Tank: t}, tank: &w.tanks[t]}
	gathered := false
	for p := range most {
		pump := &w.settings.Pumps[p]
		s.plan.Pump, s.pump = dosing.PumpID(p), pump
		if !pump.ServesTank(t) {
			causes[p] = CauseConfigurationUnsafe
			continue
		}
		if causes[p] = s.stands(); causes[p] != CauseNone {
			continue
		}
		if causes[p] = s.openDose(); causes[p] != CauseNone {
			continue
		}
		if !gathered {
			s.gather()
			gathered = true
		}
		s.settle()
		if causes[p] = s.forbids(); causes[p] != CauseNone {
			continue
		}
		s.bound()
		most[p], causes[p] = s.most()
	}
}

// BufferFloor is the buffer capacity in meq/L per pH by which the gate judges the
// tank: what was commissioned, at the last good pH, narrowed by what was learned.
// It is zero while nothing is known, and then no dose is small enough.
func (g *Gate) BufferFloor(_ dosing.Instant, t dosing.TankID) float64 {
	if g == nil || g.watch == nil || int(t) >= len(g.watch.tanks) {
		return 0
	}
	_, floor := g.watch.tanks[t].buffers()
	return floor
}

// judge is the whole judgement: what stands, what would be the wrong way or too
// soon, and then the volume against each limit.
func (g *Gate) judge(now dosing.Instant, plan dosing.Plan, own own) Verdict {
	var s sight
	if cause := g.see(&s, now, plan, own); cause != CauseNone {
		return Verdict{Cause: cause, Detail: s.words(cause)}
	}
	if plan.Volume < s.pump.MinDose {
		return Verdict{Cause: CauseOrderTooSmall, Detail: fmt.Sprintf("%s; at least %s", plan.Volume, s.pump.MinDose)}
	}
	for _, l := range s.limits {
		if plan.Volume > l.most {
			return Verdict{Cause: l.cause, Detail: s.tooMuch(l)}
		}
	}
	return Verdict{Allowed: true}
}

// see gathers everything for one dose and returns what forbids any volume.
func (g *Gate) see(s *sight, now dosing.Instant, plan dosing.Plan, own own) Cause {
	if g == nil || g.watch == nil {
		return CauseInputNotEvaluated
	}
	w := g.watch
	if int(plan.Tank) >= len(w.tanks) || int(plan.Pump) >= len(w.pumps) || !w.settings.Pumps[plan.Pump].ServesTank(plan.Tank) {
		return CauseConfigurationUnsafe
	}
	s.watch, s.now, s.plan, s.own = w, now, plan, own
	s.tank, s.pump = &w.tanks[plan.Tank], &w.settings.Pumps[plan.Pump]
	if cause := s.standing(); cause != CauseNone {
		return cause
	}
	if cause := s.openDose(); cause != CauseNone {
		return cause
	}
	s.predict()
	if cause := s.forbids(); cause != CauseNone {
		return cause
	}
	s.bound()
	return CauseNone
}

// forbids is what speaks against any volume of this reagent.
func (s *sight) forbids() Cause {
	if s.pump.Role == dosing.RoleWater {
		return s.keepsShut()
	}
	if cause := s.direction(); cause != CauseNone {
		return cause
	}
	return s.waits()
}

// standing evaluates the status table again and returns the most severe trip that
// stops this pump. The caps by hour and day are judged with the volume.
func (s *sight) standing() Cause {
	s.watch.evaluateTank(s.now, s.tank, anything)
	s.watch.evaluatePump(s.now, s.plan.Pump, anything)
	return s.stands()
}

// stands is the most severe trip of the status table that stops this pump.
func (s *sight) stands() Cause {
	w, found := s.watch, false
	tank, pump := &s.tank.cells, &w.pumps[s.plan.Pump].cells
	for rest := tank.active.Or(tank.latched); !rest.Empty(); {
		var cause Cause
		cause, rest = rest.First()
		if trip, _ := tank.trip(cause, s.plan.Tank, 0); trip.stops(s.plan.Pump, s.pump.Role) {
			worst(&s.trip, &found, trip)
		}
	}
	caps := setOf(CauseHourlyCap, CauseDailyCap)
	for rest := pump.active.Or(pump.latched).Without(caps); !rest.Empty(); {
		var cause Cause
		cause, rest = rest.First()
		trip, _ := pump.trip(cause, s.plan.Tank, s.plan.Pump)
		worst(&s.trip, &found, trip)
	}
	if found {
		return s.trip.Cause
	}
	if w.nodeOf(&w.pumps[s.plan.Pump]).running(s.now.Up) {
		return CauseNodeBusy
	}
	return CauseNone
}

// openDose allows one dose of a station at a time. A dose that is judged a second
// time must be the open one, and the same.
func (s *sight) openDose() Cause {
	mine := !s.own.is
	for _, d := range s.watch.open {
		if !s.own.is || d.Key != s.own.key || d.Tank != s.plan.Tank || d.Pump != s.plan.Pump || d.Volume != s.plan.Volume {
			return CauseDoseOpen
		}
		mine = true
	}
	if !mine {
		return CauseDoseOpen // it was never counted, so no cap knows of it
	}
	return CauseNone
}

// direction refuses a dose that would lead away from the setpoint. Without a
// setpoint or a number every direction is wrong.
func (s *sight) direction() Cause {
	target, reads := s.tank.target, s.tank.group[dosing.QuantityPH].smooth
	right := false
	// Where the opposite is on its way, be it by a report or by an entry, the reading
	// itself must stand on the side that the dose corrects.
	some := float64(quietPH * s.floor)
	switch s.pump.Role {
	case dosing.RoleAcid:
		right = s.pH > float64(target.PH)-slackPH && (s.transit.base <= some || reads > float64(target.PH))
	case dosing.RoleBase:
		right = s.pH < float64(target.PH)+slackPH && (s.transit.acid <= some || reads < float64(target.PH))
	case dosing.RoleStock:
		slack := slackEC
		if s.plan.Reason == dosing.ReasonBlendOwed {
			slack = slackBlend
		}
		right = s.ec < float64(target.EC)+slack && !s.sours()
	}
	if !right || !s.tank.aimed {
		return CauseAwayFromSetpoint
	}
	return CauseNone
}

// waits keeps acid and base from fighting, and concentrates that must not meet
// apart. They run on uptime alone.
func (s *sight) waits() Cause {
	if s.counter() {
		return CauseAcidBaseChangeover
	}
	if rest := s.tank.responses.Rests(s.pump.Role, s.tank.group[dosing.QuantityPH].smooth); s.now.Up < rest && !s.own.is {
		s.wait = rest - s.now.Up
		return CauseAnswerWait
	}
	for i := range s.watch.tanks {
		other := &s.watch.tanks[i]
		if other != s.tank && s.watch.settings.LineVolume <= 0 {
			continue // each tank has its own line
		}
		for g := dosing.GroupNeutral; g < dosing.GroupCount; g++ {
			last, apart := other.lastGroup[g], other.plant.PlumeTime()
			if s.pump.Group.MayMeet(g) || !last.within(apart, s.now.Up) {
				continue
			}
			s.wait = apart - (s.now.Up - last.up)
			return CauseIncompatibleWait
		}
	}
	return CauseNone
}

// counter says whether the opposite of this reagent is too recent.
func (s *sight) counter() bool {
	var opposite dosing.Role
	var away, onWay float64
	switch s.pump.Role {
	case dosing.RoleAcid:
		opposite, away, onWay = dosing.RoleBase, s.pH-float64(s.tank.target.PH), s.transit.base
	case dosing.RoleBase:
		opposite, away, onWay = dosing.RoleAcid, float64(s.tank.target.PH)-s.pH, s.transit.acid
	default:
		return false
	}
	last, same := s.tank.lastRole[opposite], s.tank.lastRole[s.pump.Role]
	if away > counterHurry {
		return false
	}
	if last.within(counterWait, s.now.Up) {
		s.wait = counterWait - (s.now.Up - last.up)
		return true
	}
	follows := last.ever && (!same.ever || last.up > same.up)
	return onWay > counterShare*transitPH*s.floor || follows && !(away > counterError)
}

// settle computes where the water will come to rest, in the cautious view of a
// dose of this reagent.
func (s *sight) settle() {
	t := s.tank
	net := s.transit.acid - s.transit.base - s.credit
	// A person's word only withholds: it is no ground for its opposite.
	switch s.pump.Role {
	case dosing.RoleAcid:
		net += s.transit.saidBase
	case dosing.RoleBase:
		net -= s.transit.saidAcid
	}
	// What is on its way counts for most where it does what this dose does, and for
	// least where it does the opposite: by the larger of what was commissioned and
	// learned.
	buffer := s.floor
	if s.pump.Role == dosing.RoleAcid && net < 0 || s.pump.Role == dosing.RoleBase && net > 0 {
		buffer = max(s.commissioned, s.floor)
	}
	s.pH = t.group[dosing.QuantityPH].smooth - net/buffer
	s.ec = t.group[dosing.QuantityEC].smooth + s.transit.ec
}
