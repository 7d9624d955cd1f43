package safety

import (
	"fmt"
	"math"
	"time"

	"leat/dosing"
)

// The dose response test. Numbers of the design's table of readings, and where the
// table leaves one open, why it is what it is.
const (
	poolPH = 0.05 // pH a pool of doses must be predicted to move before it is judged
	poolEC = 0.05 // mS/cm likewise

	silentEarly = 0.15 // ratio below which doses count as unanswered before three were answered
	silentLater = 0.30 // and afterwards, against the learned scale
	silentZ     = 3.0  // a response this significant is a response, however weak
	wrongZ      = 4.0  // significance at which a wrong sign is believed at once
	answersWant = 3    // answered pools before the learned scale is trusted

	// A ratio must also lie this many of its own standard deviations below what the
	// weakest healthy tank would show; otherwise the pool stays open and grows. With
	// a buffer three times the commissioned one a healthy pump answers with 0.28.
	shortfallZ = 3.5
	// sharp is how well a shortfall must be measured, as a share of that weakest ratio:
	// a blurred ratio far below zero is a disturbance, not a dead pump.
	sharp = 0.4
	// pumpSpread is the sd of ln(delivered ÷ ordered) of a healthy pump.
	pumpSpread = 0.15
	// wrongLeast is how strong a wrong answer must be, as a share of that weakest
	// ratio; it keeps a well measured drift from looking like a swap.
	wrongLeast = 0.5
	// strangeEC is how much more than predicted, mS/cm, a pool of acid or base must raise
	// EC before its liquid is doubted: less is the tail of the stocks.
	strangeEC = 0.10
	// growth is how much larger an undecided pool must get before it is judged again.
	growth = 1.3
	// hopeless is how many times the pooling limit an undecided pool may reach; its
	// oldest doses then tell nothing any more and it starts anew.
	hopeless = 10
)

// doseClass sorts what moves a tank. Doses are pooled by class.
type doseClass uint8

const (
	classAcid doseClass = iota
	classBase
	classStock
	pooledClasses
	classTopUp = pooledClasses // not a dose and never judged, but it moves pH and EC
)

var classNames = [pooledClasses]string{"acid", "base", "stock"}

// Finding is what the doses of a pool showed. Only CauseNoResponse and
// CauseWrongDirection occur.
type Finding struct {
	Cause  Cause
	Scope  Scope
	Pump   dosing.PumpID // the pump that gave most of the pool
	Ratio  float64       // observed ÷ predicted effect against the learned scale
	Detail string        // the figures, in words
}

// pool is the doses of one class that wait for judgement. It closes when it is
// large enough; what is dosed while it settles already belongs to the next.
type pool struct {
	gathered
	closed  bool
	want    float64       // predicted effect at which it closes
	judge   time.Duration // when a closed pool may be judged
	after   gathered      // dosed since it closed
	strikes int           // unanswered pools in a row
}

// gathered is some doses: when the first and the last were given and what they are
// predicted to do, absolute, at the commissioned scale.
type gathered struct {
	first, last time.Duration
	effect      float64
}

func (g *gathered) add(up time.Duration, effect float64) {
	if g.effect == 0 {
		g.first = up
	}
	g.last = max(up, g.last)
	g.effect += effect
}

// Responses tests whether doses move the tank as they should. One belongs to one
// tank; it sees every dose whose fate is known and every reading that may dose.
//
// A pool is judged by a regression over the readings from before its first dose
// until it has settled: level, drift, the pooled doses' predicted course, the
// course of all other doses, and that of top-up. So drift and what other reagents
// do is not mistaken for a response, and a fit that cannot tell them apart is
// undecided rather than wrong.
type Responses struct {
	pumps []dosing.Pump
	tank  dosing.Tank
	curve dosing.Titration

	ph, ec track
	marks  marks
	water  topUpWatch
	pools  [pooledClasses]pool

	answered  int
	scale     float64 // learned ÷ commissioned effect of acid and base, as last told
	pending   bool    // a dose whose fate nobody knows yet
	pendKey   uint64
	pendUntil time.Duration
	next      time.Duration // nothing is due before this uptime
}

// never is an uptime that does not come.
const never = time.Duration(math.MaxInt64)

// NewResponses makes the tests of one tank. Curve is the titration curve of its
// expected solution; the commissioned scale is applied to it here.
func NewResponses(pumps []dosing.Pump, tank dosing.Tank, curve dosing.Titration) *Responses {
	r := &Responses{pumps: pumps, tank: tank, curve: curve}
	r.Reset()
	return r
}

// Reset forgets everything, as after service of a pump or probe, a refill or a
// changed filling: nothing has been answered yet.
func (r *Responses) Reset() {
	r.answered, r.scale = 0, 1
	for c := range r.pools {
		r.pools[c] = pool{}
	}
	width := max(r.tank.MixingTime()/binsPerMixing, time.Second)
	r.ph = newTrack(width, max(r.tank.PHNoise, 0), 0.002)
	r.ec = newTrack(width, max(r.tank.ECNoise, 0), 0.002)
	r.marks.reset()
	r.water = topUpWatch{volume: float64(r.tank.Volume)}
	r.pending, r.next = false, never
}

// Disturbed makes pools and readings up to now useless as evidence: water was
// changed, or somebody added something nobody measured. What was answered before
// and the strikes stand.
func (r *Responses) Disturbed() {
	for c := range r.pools {
		r.pools[c] = pool{strikes: r.pools[c].strikes}
	}
	r.ph.clear()
	r.ec.clear()
	r.marks.reset()
	r.pending, r.next = false, never
}

// Answered is how many pools of doses the tank has answered since the last reset,
// at most a few; three make the learned scale worth trusting.
func (r *Responses) Answered() int { return r.answered }

// Dosed tells of a dose. An open dose suspends judgement until the same key comes
// closed; if that does not happen within a mixing time (at least a minute, since a
// dose may run longer than a small tank mixes) the evidence is void, since
// nobody knows what was delivered. A closed dose of no volume never happened.
func (r *Responses) Dosed(d dosing.Dose) {
	if int(d.Pump) >= len(r.pumps) {
		return
	}
	if d.Open {
		r.pending, r.pendKey, r.pendUntil = true, d.Key, d.Up+max(r.tank.MixingTime(), time.Minute)
		r.next = min(r.next, r.pendUntil)
		return
	}
	if r.pending && r.pendKey == d.Key {
		r.pending = false
		r.schedule()
	}
	if d.Volume <= 0 {
		return
	}
	pump := &r.pumps[d.Pump]
	var class doseClass
	switch pump.Role {
	case dosing.RoleAcid:
		class = classAcid
	case dosing.RoleBase:
		class = classBase
	case dosing.RoleStock:
		class = classStock
	default:
		return
	}
	perLitre := d.Volume.Millilitres() / float64(r.tank.Volume)
	m := mark{up: d.Up, pump: d.Pump, class: class,
		ph: -float64(perLitre*pump.AcidPerML) / r.buffer(), ec: float64(perLitre * pump.ECPerML)}
	if !(math.Abs(m.ph) < 100) || !(math.Abs(m.ec) < 1000) {
		return // sizes without a number prove nothing
	}
	r.marks.add(m, r.ph.width)
	r.extend(class, m)
}

// buffer is the commissioned buffer capacity at the present pH, meq/L per pH.
func (r *Responses) buffer() float64 {
	at := 5.8
	if r.ph.has {
		at = r.ph.last
	}
	scale := r.tank.BufferScale
	if !(scale > 0) {
		scale = 1
	}
	return r.curve.Buffer(at) * scale
}

func (r *Responses) extend(class doseClass, m mark) {
	effect := math.Abs(m.ph)
	if class == classStock {
		effect = math.Abs(m.ec)
	}
	p := &r.pools[class]
	if p.closed {
		p.after.add(m.up, effect)
		return
	}
	if p.effect > 0 && r.ph.tooOld(p.first, m.up) {
		// Doses so small and rare that their readings are forgotten before there are
		// enough of them say nothing that drift could not say as well.
		*p = pool{strikes: p.strikes}
	}
	p.add(m.up, effect)
	r.close(class)
}

// close closes a pool that is large enough and sets when it is judged.
func (r *Responses) close(class doseClass) {
	p := &r.pools[class]
	p.want = max(p.want, limitOf(class))
	if p.effect*r.scaleOf(class) < p.want {
		return
	}
	p.closed, p.judge = true, p.last+r.tank.MixingTime()
	r.next = min(r.next, p.judge)
}

// renew starts the next pool with what was dosed while the last one settled.
func (r *Responses) renew(class doseClass) {
	p := &r.pools[class]
	*p = pool{gathered: p.after, strikes: p.strikes}
	r.close(class)
}

// grow keeps an undecided pool open for more doses.
func (r *Responses) grow(class doseClass) {
	p := &r.pools[class]
	p.want = max(p.want, p.effect*r.scaleOf(class)) * growth
	p.closed = false
	if p.after.effect > 0 {
		p.last = p.after.last
		p.effect += p.after.effect
		p.after = gathered{}
	}
	r.close(class)
}

func (r *Responses) scaleOf(class doseClass) float64 {
	if class == classStock {
		return 1
	}
	return r.scale
}

func limitOf(class doseClass) float64 {
	if class == classStock {
		return poolEC
	}
	return poolPH
}

// Read takes a reading that may dose. pH and EC are the evidence; level, top-up
// and flood switches tell how much of a change is the water's. It allocates
// nothing.
func (r *Responses) Read(at dosing.Instant, q dosing.Quantity, value float64) {
	switch q {
	case dosing.QuantityPH:
		r.ph.add(at.Up, value)
	case dosing.QuantityEC:
		r.ec.add(at.Up, value)
	case dosing.QuantityLevel, dosing.QuantityTopUp, dosing.QuantityFlood:
		if rise, began := r.water.read(at.Up, q, value); rise > 0 {
			r.toppedUp(at.Up, began, rise)
		}
	}
}

func (r *Responses) toppedUp(up, began time.Duration, litres float64) {
	share := litres / float64(r.tank.Volume)
	m := mark{up: up, began: began, class: classTopUp, ph: float64(share*r.tank.TopUp.Alkalinity) / r.buffer()}
	if r.ec.has {
		m.ec = -float64(share * (r.ec.last - float64(r.tank.TopUp.EC)))
	}
	if math.Abs(m.ph) < 100 && math.Abs(m.ec) < 1000 {
		r.marks.add(m, r.ph.width)
	}
}

// Judge returns what a pool that has now settled shows, one finding at a time.
// LnBuffer and spread are the learned mean and sd of ln(buffer scale).
func (r *Responses) Judge(now dosing.Instant, lnBuffer, spread float64) (Finding, bool) {
	if now.Up < r.next {
		return Finding{}, false
	}
	if r.pending {
		if now.Up < r.pendUntil {
			r.next = r.pendUntil
			return Finding{}, false
		}
		r.Disturbed()
		return Finding{}, false
	}
	if !(math.Abs(lnBuffer) <= math.Ln10) || !(spread >= 0) || !(spread < 3) {
		lnBuffer, spread = 0, startSpread
	}
	r.marks.forget(now.Up - r.ph.span())
	r.scale = math.Exp(-lnBuffer)
	for class := classAcid; class < pooledClasses; class++ {
		if finding, found := r.judge(now.Up, class, spread); found {
			r.schedule()
			return finding, true
		}
	}
	r.schedule()
	return Finding{}, false
}

// startSpread is the sd of ln(buffer scale) of a tank nobody has learned yet.
const startSpread = 0.55

// schedule finds when the next pool is due.
func (r *Responses) schedule() {
	r.next = never
	for c := range r.pools {
		if p := &r.pools[c]; p.closed {
			r.next = min(r.next, p.judge)
		}
	}
	if r.pending {
		r.next = min(r.next, r.pendUntil)
	}
}

func (r *Responses) judge(up time.Duration, class doseClass, spread float64) (Finding, bool) {
	p := &r.pools[class]
	if !p.closed || up < p.judge {
		return Finding{}, false
	}
	t := &r.ph
	if class == classStock {
		t, spread = &r.ec, min(spread, ecSpread)
	}
	q := r.question(class, up, spread)
	f := t.answer(r.marks.kept(), &q)
	if !f.ok {
		// Too few readings after the doses: wait for more, but not for ever.
		mixing := r.tank.MixingTime()
		if p.judge = up + mixing/4; up > p.last+3*mixing {
			r.renew(class)
		}
		return Finding{}, false
	}
	return r.conclude(class, f, spread)
}

// What a tank may do by itself. Uptake and gas exchange of a crop reach some
// 0.2 meq/L and 0.05 mS/cm an hour (the control specification's sets) and change by
// part of that within an hour.
const (
	driftAcid  = 0.2  // meq/L/h
	wanderAcid = 0.04 // meq/L/h in an hour
	driftEC    = 0.2  // mS/cm/h, top-up by an unseen valve included
	wanderEC   = 0.02 // mS/cm/h in an hour
)

// question is what is asked of the readings about a pool.
func (r *Responses) question(class doseClass, up time.Duration, spread float64) question {
	p := &r.pools[class]
	q := question{class: class, from: p.first, until: up, back: 2 * r.tank.MixingTime(), deadTime: r.tank.DeadTime, lag: r.tank.Lag,
		scale: r.scale, otherSpread: 0.3 + spread, settled: p.last + r.tank.DeadTime + 2*r.tank.Lag}
	if class == classStock {
		q.ec, q.drift, q.wander = true, driftEC, wanderEC
		return q
	}
	// The buffer may be weaker than learned; drift then moves pH faster.
	perPH := r.scale * math.Exp(spread/2) / r.buffer()
	q.drift, q.wander = driftAcid*perPH, wanderAcid*perPH
	return q
}

// ecSpread is the sd of ln(EC gain): the stock's strength and the volume are far
// better known than the buffer capacity.
const ecSpread = 0.3

// conclude turns a fit into a finding, a strike, an answer, or a pool that grows.
func (r *Responses) conclude(class doseClass, f fitted, spread float64) (Finding, bool) {
	p := &r.pools[class]
	z := f.ratio / f.sd
	weakest := math.Exp(-2 * math.Hypot(spread, pumpSpread/2))
	silent := silentEarly
	if r.answered >= answersWant {
		silent = silentLater
	}
	cause := CauseNone
	switch {
	case z < -wrongZ && f.ratio < -float64(wrongLeast*weakest):
		cause = CauseWrongDirection
	case f.ratio < silent && z < silentZ && f.ratio+float64(shortfallZ*f.sd) < weakest && f.sd < float64(sharp*weakest):
		p.strikes++
		if p.strikes >= strikesNeeded(class) {
			cause = CauseNoResponse
		}
	case z > silentZ && f.ratio >= silentLater:
		r.answered = min(r.answered+1, math.MaxInt32)
		p.strikes = 0
	case z > silentZ && f.sd < silentLater/2:
		// Weak, but a response: neither an answer nor silence.
	default:
		if p.effect*r.scaleOf(class) < hopeless*limitOf(class) && !r.ph.tooOld(p.first, p.last) {
			r.grow(class)
			return Finding{}, false
		}
	}
	if cause == CauseNone {
		r.renew(class)
		return Finding{}, false
	}
	finding := r.finding(class, cause, f)
	p.strikes = 0
	r.renew(class)
	return finding, true
}

// strikesNeeded is how many unanswered pools in a row trip. One of acid is enough:
// a burst line looks like silence.
func strikesNeeded(class doseClass) int {
	if class == classAcid {
		return 1
	}
	return 2
}

// finding puts the result in words and finds how far it reaches.
func (r *Responses) finding(class doseClass, cause Cause, f fitted) Finding {
	p := &r.pools[class]
	pump, only := r.marks.most(class, p.first)
	out := Finding{Cause: cause, Pump: pump, Ratio: f.ratio, Scope: ScopePump}
	quantity, unit := "pH", ""
	switch {
	case class == classStock:
		quantity, unit = "EC", " mS/cm"
		if !only || cause == CauseWrongDirection {
			out.Scope = ScopeNutrients
		}
	case cause == CauseWrongDirection:
		out.Scope = ScopeReagents
	}
	predicted := f.predicted
	out.Detail = fmt.Sprintf("%s worth %+.2f%s %s moved it by %+.3f, give or take %.3f",
		classNames[class], predicted, unit, quantity, float64(predicted*f.ratio), math.Abs(float64(predicted*f.sd)))
	if class != classStock && cause == CauseNoResponse {
		if rise, ok := r.movedEC(class, p); ok {
			out.Scope = ScopeReagents
			out.Detail += fmt.Sprintf("; EC rose by %.2f mS/cm instead: doubt the pH probe, or what stands in the container", rise)
		}
	}
	return out
}

// movedEC says whether doses that did not move pH moved EC far more than they
// should, as fertiliser in the acid line does.
func (r *Responses) movedEC(class doseClass, p *pool) (rise float64, moved bool) {
	q := r.question(class, p.judge, 0)
	q.ec, q.unit, q.drift, q.wander = true, true, driftEC, wanderEC
	f := r.ec.answer(r.marks.kept(), &q)
	if !f.ok {
		return 0, false
	}
	expected := r.marks.sumEC(class, p.first)
	extra := f.ratio - expected
	return f.ratio, extra > strangeEC && extra > float64(2*math.Abs(expected)) && extra > float64(wrongZ*f.sd)
}
