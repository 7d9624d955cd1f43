package safety

import (
	"fmt"
	"math"
	"time"

	"leat/dosing"
)

const (
	unexplainedShare  = 0.30        // of the volume: a change of this much is a change of water
	unexplainedFade   = time.Hour   // slow loss is evaporation, not a change of water
	strangeAbove      = 1.5         // pH above the setpoint
	strangeBelow      = 4.0         // pH
	strangeRedox      = 500         // mV
	strangeBack       = 0.1         // pH by which it must come back: at the edge noise would make ten holds of one
	strangeInvalidFor = time.Minute // how long a pH that is not valid for dosing must be strange
	openBelow         = 0.5         // pH that a cut or shorted probe shows
	openAbove         = 13.5
	afterClosing      = 30 * time.Second // the level follows the top-up valve by this much
)

// waterState follows the level of a tank.
type waterState struct {
	any         bool
	level       float64
	at          time.Duration
	unexplained float64 // L that neither top-up nor flood explains, fading
	filling     bool
	before      float64 // level when the filling began
	mark        float64 // level up to which top-up has been counted
	valve       when    // when top-up was last seen open
	inflow      inflow
	came        float64 // L of top-up, ever
	gauge       gauge
	pulses      pulses
	bench       bench
}

// flows is what the water of a tank does, and whether it is solution.
type flows struct {
	water       waterState
	flood       dosing.Flood
	ahead       ahead
	circulation episode
	low         episode
	lowSince    dosing.Timer
	wait        wait
	outlet      outlet
	doubt       suspicion
	unexplained unexplained
	warmth      warmth
}

// inflow is the top-up of the last mixing time, in a ring; it knows nothing of before.
type inflow struct {
	at     [32]time.Duration
	litres [32]float64
	next   int
}

func (f *inflow) add(up time.Duration, litres float64, step time.Duration) {
	newest := (f.next + len(f.at) - 1) % len(f.at)
	if f.litres[newest] > 0 && up-f.at[newest] < step {
		f.litres[newest] += litres
		return
	}
	f.at[f.next], f.litres[f.next] = up, litres
	f.next = (f.next + 1) % len(f.at)
}

func (f *inflow) since(up time.Duration) float64 {
	sum := 0.0
	for i := range f.at {
		if f.litres[i] > 0 && f.at[i] >= up {
			sum += f.litres[i]
		}
	}
	return sum
}

// waters follows what water comes and goes in each tank, and whether it is solution.
type waters struct{ *state }

// levelled takes a fit level reading: it counts top-up, and adds up what nothing
// explains.
func (wa *waters) levelled(t *tankState, level float64, at dosing.Instant) {
	s, up := &t.water, at.Up
	if !s.any {
		s.any, s.level, s.mark, s.at = true, level, level, up
		return
	}
	change, gap := level-s.level, up-s.at
	s.level, s.at = level, up
	s.unexplained = float64(s.unexplained * max(0, 1-float64(gap)/float64(unexplainedFade)))
	if wa.runs(t, up) {
		s.valve.set(up)
	}
	filling := s.valve.within(afterClosing, up)
	unsure := wa.unsure(t)
	s.gauge.reads(level, unsure)
	away := wa.on(t, dosing.QuantityFlood, up) || t.flood.Within(t.plant.PlumeTime(), up)
	wa.followPulse(at, t, level, unsure, away)
	switch {
	case away:
		s.filling, s.mark = false, level // water that comes home brings nothing
		s.gauge.ran = 0
	case filling:
		if !s.filling {
			// The averaged mark may lag behind a level that rose by itself.
			s.filling, s.before, s.mark = true, s.mark, max(s.mark, level-change)
		}
		s.gauge.runs(wa.runs(t, up), gap)
		if level > s.mark {
			s.inflow.add(up, level-s.mark, t.plant.MixingTime()/16)
			s.came += level - s.mark
			t.meet(float64((level-s.mark)*max(t.plant.TopUp.Alkalinity, 0)) / float64(t.plant.Volume))
			s.mark = level
		}
		if s.before-level > float64(t.plant.Volume)*unexplainedShare {
			// Somebody drains it, and the valve runs because of that.
			t.doubt.suspect(fmt.Sprintf("the level fell by %.0f L while top-up ran", s.before-level))
			s.before = level
		}
	case s.filling:
		s.filling = false
		s.gauge.filled(level, level-s.before, unsure, float64(t.plant.Volume))
		s.unexplained += min(0, level-s.before)
		s.mark = level
	default:
		s.unexplained += change
		s.mark += float64(0.3 * (level - s.mark))
	}
	share := float64(t.plant.Volume) * unexplainedShare
	if !(s.unexplained <= share && s.unexplained >= -share) {
		t.doubt.suspect(fmt.Sprintf("the level changed by %.0f L with neither flood nor top-up", s.unexplained))
		s.unexplained = 0
	}
}

// Resting is the level of a tank in litres, while no water is out on a flood or
// coming in.
func (wa *waters) Resting(now dosing.Instant, id dosing.TankID) (litres float64, ok bool) {
	if int(id) >= len(wa.tanks) {
		return 0, false
	}
	t := &wa.tanks[id]
	away := t.water.filling || wa.on(t, dosing.QuantityFlood, now.Up) || t.flood.Within(t.plant.PlumeTime(), now.Up)
	return t.water.level, t.water.any && !away && t.group[dosing.QuantityLevel].standing == standFit
}

// RestoreLevel says what a tank held before a restart: a change that came meanwhile
// is explained by nothing, and judged as one that was seen.
func (wa *waters) RestoreLevel(now dosing.Instant, id dosing.TankID, litres float64) {
	wa.told = true
	if int(id) < len(wa.tanks) && litres > 0 && !math.IsInf(litres, 1) {
		s := &wa.tanks[id].water
		*s = waterState{any: true, level: litres, mark: litres, at: now.Up, came: s.came, gauge: s.gauge}
	}
}

// on says whether any live switch of a quantity reads true.
func (st *state) on(t *tankState, q dosing.Quantity, up time.Duration) bool {
	for _, id := range t.inputs[q] {
		if i := &st.inputs[id]; i.seen && up-i.last.At().Up <= i.limit && i.last.Value() >= 0.5 {
			return true
		}
	}
	return false
}

// unanswered is the alkalinity in meq/L that top-up brought in the last mixing
// time into volume litres.
func (t *tankState) unanswered(up time.Duration, volume float64) float64 {
	alkalinity := t.plant.TopUp.Alkalinity
	if !(alkalinity > 0) || !(volume > 0) {
		return 0
	}
	return float64(t.water.inflow.since(up-t.plant.MixingTime())*alkalinity) / volume
}

// suspicion is what speaks against the tank holding nutrient solution.
type suspicion struct {
	why      string // a reason that latches
	present  [3]bool
	accepted [3]bool // confirmed by a person while it was so
	strange  [3]dosing.Timer
}

func (s *suspicion) suspect(why string) {
	if s.why == "" {
		s.why = why
	}
}

func (s *suspicion) confirm() {
	s.why = ""
	s.accepted = s.present
	s.strange = [3]dosing.Timer{}
}

// look judges the readings. Strange is true as soon as one is strange; it becomes
// a reason that latches when it lasts.
func (wa *waters) look(t *tankState, up time.Duration) (strange bool) {
	redox := &t.group[dosing.QuantityRedox]
	fit := t.group[dosing.QuantityPH].standing == standFit
	pH, patience := wa.strangest(t, up)
	if t.operator.Maintenance {
		// What a probe reads in an alkaline buffer is not the tank, and nothing is dosed until
		// a person has put it back and resumes.
		fit, pH = false, math.NaN()
	}
	high, low := float64(t.target.PH)+strangeAbove, strangeBelow
	if t.doubt.present[0] {
		high -= strangeBack
	}
	if t.doubt.present[1] {
		low += strangeBack
	}
	t.doubt.present = [3]bool{
		t.aimed && pH > high,
		pH < low,
		redox.given && redox.standing == standFit && redox.value > strangeRedox,
	}
	for i, present := range t.doubt.present {
		if !present && fit {
			t.doubt.accepted[i] = false
		}
		present = present && !t.doubt.accepted[i]
		strange = strange || present
		c, q, longer := &t.doubt.strange[i], dosing.QuantityPH, patience
		if i == 2 {
			q, longer = dosing.QuantityRedox, 0
		}
		if !wa.persists(c, t, q, present, up) || up-c.Since < longer {
			continue
		}
		switch i {
		case 0:
			t.doubt.suspect(fmt.Sprintf("pH %.2f is more than %.1f above the setpoint %.2f", pH, strangeAbove, float64(t.target.PH)))
		case 1:
			t.doubt.suspect(fmt.Sprintf("pH %.2f is below %.1f", pH, strangeBelow))
		default:
			t.doubt.suspect(fmt.Sprintf("redox %.0f mV is above %d mV", redox.value, strangeRedox))
		}
	}
	return strange
}

// strangest is the pH by which the water is doubted, and how long it must at least stay
// so; NaN when there is none. A cleaner that is poured in looks like a probe that
// jumped out of its range, and then no acid may follow when it has calmed down: a
// jump to what an open circuit or a broken wire does not show is believed here,
// after a longer while.
func (wa *waters) strangest(t *tankState, up time.Duration) (pH float64, patience time.Duration) {
	g := &t.group[dosing.QuantityPH]
	if g.standing == standFit {
		return g.value, 0
	}
	if !g.given || g.standing != standInvalid {
		return math.NaN(), 0
	}
	i := &wa.inputs[g.input]
	v := i.last.Value()
	if up-i.last.At().Up > i.limit || i.rejects > 0 || i.fault != faultJump && i.fault != faultRange || !(v > openBelow && v < openAbove) {
		return math.NaN(), 0
	}
	return v, strangeInvalidFor
}

// unconfirm latches that nobody knows what the tank holds.
func (t *tankState) unconfirm(now dosing.Instant, why string) {
	s := &t.cell[CauseSolutionUnconfirmed]
	if !t.active.has(CauseSolutionUnconfirmed) && !t.latched.has(CauseSolutionUnconfirmed) {
		s.since = now
	}
	t.latched.Add(CauseSolutionUnconfirmed)
	s.action, s.scope, s.detail = Stop, ScopeTank, why
}

// wait is the time that the water of a tank is given to mix.
type wait struct {
	until time.Duration
	why   string
}

// mix makes the tank wait for length from now.
func (t *tankState) mix(now dosing.Instant, length time.Duration, why string) {
	if until := now.Up + length; until > t.wait.until {
		t.wait = wait{until: until, why: why}
	}
}

// episode is one stretch of a fault that comes and goes, its mixing wait included:
// a switch that chatters is one episode, not ten.
type episode struct {
	on    bool
	times thrice
}

// begin notes that the fault is present and says whether it is the third episode
// in 24 h.
func (e *episode) begin(up time.Duration) (third bool) {
	if e.on {
		return false
	}
	e.on = true
	return e.times.add(up)
}

// thrice remembers the last three times of something.
type thrice struct {
	at [3]time.Duration
	n  int
}

// add notes one more and says whether it is the third in 24 h.
func (t *thrice) add(up time.Duration) bool {
	t.at = [3]time.Duration{t.at[1], t.at[2], up}
	t.n = min(t.n+1, 3)
	return t.n == 3 && up-t.at[0] <= 24*time.Hour
}

// drop forgets the newest.
func (t *thrice) drop() {
	t.at = [3]time.Duration{0, t.at[0], t.at[1]}
	t.n = max(t.n-1, 0)
}

// ahead is what the schedule of a zone says of a flood: in words, why no dose may go in, and
// whether its node says that water is out.
type ahead struct {
	words string
	out   bool
	told  int64 // how often that has changed
}
