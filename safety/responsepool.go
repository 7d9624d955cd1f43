package safety

import (
	"fmt"
	"math"
	"time"

	"leat/dosing"
)

// pool is the doses of one class, or of one pump, that wait for judgement. It
// closes when it is large enough; what is dosed while it settles already belongs to
// the next.
type pool struct {
	class  doseClass
	pump   dosing.PumpID // whose pool it is, if single
	single bool

	gathered
	closed  bool
	want    float64       // predicted effect at which it closes
	judge   time.Duration // when a closed pool may be judged
	peek    time.Duration // when to look whether it goes the wrong way
	after   gathered      // dosed since it closed
	seen    bool          // to answer, before it has settled
	strikes int           // unanswered pools in a row

	rest   time.Duration // until when no more of it is given, so that its answer can be told from drift
	rested float64       // size of the pool when it last rested
	stood  float64       // pH when that rest began

	answers int     // pools answered
	usual   float64 // ln(observed ÷ commissioned effect) of those, the last ones foremost
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

// start begins a pool with these doses.
func (p *pool) start(with gathered) {
	p.gathered, p.after, p.closed, p.want, p.peek, p.seen = with, gathered{}, false, 0, 0, false
	p.rest, p.rested = 0, 0
}

// forget drops what was learned of the pump, too.
func (p *pool) forget() { *p = pool{class: p.class, pump: p.pump, single: p.single} }

// has says whether a mark is of this pool's reagent, or of its pump.
func (p *pool) has(m *mark) bool { return m.class == p.class && (!p.single || m.pump == p.pump) }

// limit is the predicted effect that is worth judging.
func (p *pool) limit() float64 {
	if p.class == classStock {
		return poolEC
	}
	return poolPH
}

// expected is what doses of this pool are expected to do ÷ what was commissioned,
// and the sd of its logarithm.
func (r *Responses) expected(p *pool) (scale, spread float64) {
	switch {
	case p.class == classStock:
		return 1, ecSpread
	case p.answers >= AnswersWant:
		return min(1, math.Exp(p.usual)), leastScaleSpread
	}
	return min(1, math.Exp(-r.lnBuffer)), r.spread
}

// ecSpread is the sd of ln(EC gain): the stock's strength and the volume are far
// better known than the buffer capacity.
const ecSpread = 0.3

// effect is the size of a mark's settled effect at the commissioned scale, pH or
// mS/cm.
func (r *Responses) effect(p *pool, m *mark) float64 {
	if p.class == classStock {
		return math.Abs(m.ec)
	}
	return math.Abs(m.acid) / r.buffer()
}

// size is how much a pool is expected to move its quantity.
func (r *Responses) size(p *pool) float64 {
	scale, _ := r.expected(p)
	return float64(p.gathered.effect * scale)
}

// extend adds a dose to a pool.
func (r *Responses) extend(p *pool, m *mark) {
	effect := r.effect(p, m)
	if p.closed {
		p.after.add(m.up, effect)
		return
	}
	if p.gathered.effect > 0 && r.ph.tooOld(p.first, m.up) {
		// Doses so small and rare that their readings are forgotten before there are
		// enough of them say nothing that drift could not say as well.
		p.start(gathered{})
	}
	p.add(m.up, effect)
	r.close(p)
	if p.class != classStock && p.peek == 0 && r.size(p) >= p.limit() {
		p.peek = m.up + r.tank.DeadTime + r.tank.TimeConstant
		r.next = min(r.next, p.peek)
	}
	if r.alone(p) && p.peek == 0 && p.gathered.effect >= strongPool {
		p.peek = m.up + r.tank.MixingTime()
		r.next = min(r.next, p.peek)
	}
}

// close closes a pool that is large enough and sets when it is judged.
func (r *Responses) close(p *pool) {
	p.want = max(p.want, p.limit())
	if r.size(p) < p.want {
		return
	}
	p.closed, p.judge = true, max(p.last+r.tank.MixingTime(), p.rest)
	r.next = min(r.next, p.judge)
}

// renew starts the next pool with what was dosed while the last one settled.
func (r *Responses) renew(p *pool) {
	p.start(p.after)
	r.close(p)
}

// grow keeps an undecided pool open for more doses.
func (r *Responses) grow(p *pool) {
	p.closed = false
	p.want = max(p.want, r.size(p)) * growth
	if p.after.effect > 0 {
		p.last = p.after.last
		p.gathered.effect += p.after.effect
		p.after = gathered{}
	}
	if r.size(p) > float64(ample*p.limit()) || r.ph.tooOld(p.first, p.last) {
		r.halve(p)
	}
	r.calm(p)
	r.close(p)
}

// calm lets an undecided pool of acid or base rest. Doses that come evenly and the drift
// that they hold against look alike for as long as they come; when they end, only a drift
// that is there goes on.
func (r *Responses) calm(p *pool) {
	size := r.size(p)
	if p.class == classStock || size < float64(restFrom*p.limit()) || size < float64(2*p.rested) {
		return
	}
	p.rested, p.want = size, size
	p.rest, p.stood = p.last+r.tank.MixingTime(), r.ph.lately(p.last)
}

// Rests is until when a reagent is given rest, so that its answer shows; not while the
// reading moves meanwhile: that is an answer.
func (r *Responses) Rests(role dosing.Role, reading float64) time.Duration {
	class, ok := classOf(role)
	if !ok || r == nil {
		return 0
	}
	p := &r.pools[class]
	if math.Abs(reading-p.stood) > max(restPH, float64(restNoise*math.Sqrt(r.ph.noise))) {
		return 0
	}
	return p.rest
}

// halve lets go of the older half of a pool. Its doses go on counting as earlier
// ones of the same reagent, with a ratio of their own.
func (r *Responses) halve(p *pool) {
	left := gathered{}
	for i := r.marks.count - 1; i >= 0; i-- {
		m := &r.marks.list[i]
		if !p.has(m) || m.up < p.first {
			continue
		}
		if left.effect > float64(p.gathered.effect/2) {
			break
		}
		left.first, left.last = m.up, max(left.last, m.up)
		left.effect += r.effect(p, m)
	}
	p.start(left)
	p.want = float64(growth * r.size(p))
}

func (r *Responses) judge(up time.Duration, p *pool) (Finding, bool) {
	switch {
	case p.closed && up >= p.judge:
	case p.peek > 0 && up >= p.peek:
		return r.glance(up, p)
	default:
		return Finding{}, false
	}
	f := r.fit(up, p, p.last+r.tank.DeadTime+2*r.tank.TimeConstant)
	if !f.ok {
		// Too few readings after the doses: wait for more, but not for ever.
		mixing := r.tank.MixingTime()
		if p.judge = up + mixing/4; up > p.last+3*mixing {
			r.renew(p)
		}
		return Finding{}, false
	}
	r.timed(up, p, f)
	return r.conclude(p, f)
}

// fit asks the readings about a pool that has mostly arrived by settled.
func (r *Responses) fit(up time.Duration, p *pool, settled time.Duration) fitted {
	t := &r.ph
	if p.class == classStock {
		t = &r.ec
	}
	q := r.question(p, up)
	q.settled = settled
	return t.answer(r.marks.kept(), &q)
}

// glance looks at a pool before it has settled: whether it goes the wrong way, since
// every further dose of swapped reagents makes it worse and the loop gives larger ones,
// or answers beyond doubt. Only silence takes its time.
func (r *Responses) glance(up time.Duration, p *pool) (Finding, bool) {
	if p.class == classStock {
		p.peek = 0
		f := r.fit(up, p, p.first+r.tank.DeadTime+2*r.tank.TimeConstant)
		return r.strong(p, f)
	}
	if p.peek = up + r.tank.MixingTime()/8; up < r.water.valveUntil {
		return Finding{}, false // the last of the top-up is not counted yet
	}
	if r.ph.tooOld(p.first, up) {
		p.peek = 0
		return Finding{}, false
	}
	f := r.fit(up, p, p.first+r.tank.DeadTime+r.tank.TimeConstant)
	if finding, found := r.undiluted(p, f); found {
		return finding, true
	}
	if f.ok && f.ratio >= silentLater && f.ratio > float64(wrongZ*f.sd) {
		r.see(p)
	}
	if !f.ok || !r.wrongWay(p, f) {
		return Finding{}, false
	}
	finding := r.finding(p, CauseWrongDirection, f)
	p.strikes = 0
	r.renew(p)
	return finding, true
}

// alone says that a pool is of one stock only.
func (r *Responses) alone(p *pool) bool {
	return p.class == classStock && (p.single || len(r.pools) == int(pooledClasses))
}

// strong says that one stock did far more than it should: made up or refilled too
// strong, or a pump that gives more than it counts. Small doses are enough to see it,
// and no further one may follow. Stocks that are dosed one after the other cannot
// always be told apart, so all of them stop.
//
// Slow water of an unsure share makes all stocks look strong alike. So in such a tank one
// must stand out beside the others, or do more than any share within its doubt explains.
func (r *Responses) strong(p *pool, f fitted) (Finding, bool) {
	if !f.ok || !r.alone(p) {
		return Finding{}, false
	}
	size, most := math.Abs(f.predicted), strongLeast+float64(strongOthers*r.marks.neighbours(p, p.first-r.tank.MixingTime()))
	beside := r.tank.Slow > 0 && f.beside > float64(unevenZ*f.besideSD) && f.beside*size > most
	if !beside && (!(f.ratio-float64(strongZ*f.sd) > r.strongest()) || !((f.ratio-1)*size > most)) {
		return Finding{}, false
	}
	finding := r.finding(p, CauseTooStrong, f)
	finding.Scope = ScopeNutrients
	if f.others > RichEC {
		finding.Detail += fmt.Sprintf("; the other stocks do %.1f times as much as they should, too: if ", f.others) + SlowWaterWords
	}
	p.strikes = 0
	r.renew(p)
	return finding, true
}

// strongest is what a stock may do ÷ what it should.
func (r *Responses) strongest() float64 {
	if !(r.tank.Slow > 0) {
		return strongRatio
	}
	return max(strongRatio, unevenTold/(1-r.tank.Slow))
}

// wrongWay says that a pool was answered with the wrong sign, beyond doubt. One stock
// among others cannot lower EC; where its pool seems to, its neighbours did less than
// they should, and it is as good as silent.
//
// A dead pump can look a little backward: pH climbs and the loop asks for more because
// it climbs. So of a pump whose usual answer is known, most of that must be missing
// on the other side.
func (r *Responses) wrongWay(p *pool, f fitted) bool {
	if p.single {
		return false
	}
	_, spread := r.expected(p)
	least := float64(wrongLeast * weakestOf(spread))
	if p.class != classStock && p.answers >= AnswersWant {
		least = wrongUsual
	}
	return f.ratio < -float64(wrongZ*f.sd) && f.ratio < -least
}

// What a tank may do by itself. Uptake and gas exchange of a crop reach some
// 0.2 meq/L and 0.05 mS/cm an hour (the control specification's sets) and change by
// part of that within an hour.
const (
	driftAcid  = 0.2   // meq/L/h
	wanderAcid = 0.03  // meq/L/h in an hour
	onsetAcid  = 0.1   // meq/L/h that may set in just as dosing begins
	creepPH    = 0.01  // pH in an hour beside the drift
	driftEC    = 0.2   // mS/cm/h, top-up by an unseen valve included
	wanderEC   = 0.02  // mS/cm/h in an hour
	creepEC    = 0.002 // mS/cm in an hour beside the drift
)

// How well the course of what arrives is known: dead time and lag are never exactly
// the commissioned ones. Of stocks it is not known how each one's strength is off: one
// ratio serves all the others.
const (
	timingDose  = 0.3 // share of what arrives in a bin that may come in another, or be wrong
	timingStock = 0.6
)

// question is what is asked of the readings about a pool.
func (r *Responses) question(p *pool, up time.Duration) question {
	scale, spread := r.expected(p)
	q := question{pool: p, from: p.first, until: up, back: 2 * r.tank.MixingTime(), deadTime: r.tank.DeadTime, lag: r.tank.TimeConstant,
		slow: r.tank.Slow, fade: time.Duration((1 - r.tank.Slow) * float64(r.tank.Exchange)),
		scale: scale, curve: r.curve, capacity: r.capacity(), weakest: weakestOf(spread)}
	if p.class == classStock {
		q.askEC()
		if r.tank.Slow > 0 {
			q.otherSpread = unevenWater
		}
		return q
	}
	// The buffer may be weaker than expected; drift then moves pH faster.
	widest := scale * math.Exp(spread/2)
	q.otherSpread = 0.3 + spread
	q.drift, q.wander, q.creep = driftAcid*widest, wanderAcid*widest, creepPH*r.buffer()
	q.onset = onsetAcid * widest
	return q
}

// weakestOf is what the weakest healthy pump in the strongest credible buffer shows.
func weakestOf(spread float64) float64 { return math.Exp(-2 * math.Hypot(spread, pumpSpread/2)) }

// conclude turns a fit into a finding, a strike, an answer, or a pool that grows.
func (r *Responses) conclude(p *pool, f fitted) (Finding, bool) {
	if finding, found := r.strong(p, f); found {
		return finding, true
	}
	if finding, found := r.undiluted(p, f); found {
		return finding, true
	}
	_, spread := r.expected(p)
	z := f.ratio / f.sd
	weakest := weakestOf(spread)
	silent := silentEarly
	if r.answered >= AnswersWant {
		silent = silentLater
	}
	short := f.ratio < silent && f.ratio+float64(shortfallZ*f.sd) < weakest && f.sd < float64(sharp*weakest)
	cause := CauseNone
	switch {
	case r.wrongWay(p, f):
		cause = CauseWrongDirection
	case short && (z < silentZ || p.answers >= AnswersWant):
		// A tenth of what the pump used to do is no answer, however well it is measured;
		// one that never did more may stand in a strong buffer.
		p.strikes++
		if p.strikes >= p.strikesNeeded(z) {
			cause = CauseNoResponse
		}
	case z > silentZ && f.ratio >= silentLater:
		r.answer(p, f)
	case z > silentZ && f.sd < silentLater/2:
		// Weak, but a response: neither an answer nor silence.
	default:
		r.grow(p)
		return Finding{}, false
	}
	if cause == CauseNone {
		r.renew(p)
		return Finding{}, false
	}
	finding := r.finding(p, cause, f)
	p.strikes = 0
	r.renew(p)
	return finding, true
}

// answer notes a pool that was answered.
func (r *Responses) answer(p *pool, f fitted) {
	r.see(p)
	p.strikes = 0
	scale, _ := r.expected(p)
	p.answers = min(p.answers+1, math.MaxInt32)
	p.usual += float64((math.Log(scale*f.ratio) - p.usual) * max(usualShare, 1/float64(p.answers)))
}

// see counts a pool as answered, once.
func (r *Responses) see(p *pool) {
	if !p.seen {
		p.seen = true
		r.answered = min(r.answered+1, math.MaxInt32)
		r.seen[p.class]++
	}
}

// strikesNeeded is how many unanswered pools in a row trip. One of acid is enough:
// a burst line looks like silence.
func (p *pool) strikesNeeded(z float64) int {
	if p.class == classAcid && z < silentZ {
		return 1
	}
	return 2
}

// finding puts the result in words and finds how far it reaches.
func (r *Responses) finding(p *pool, cause Cause, f fitted) Finding {
	pump, only := r.marks.most(p)
	out := Finding{Cause: cause, Pump: pump, Ratio: f.ratio, Scope: ScopePump}
	quantity, unit, predicted := "pH", "", f.predicted/r.buffer()
	switch {
	case p.class == classStock:
		quantity, unit, predicted = "EC", " mS/cm", f.predicted
		if !only || cause == CauseWrongDirection {
			out.Scope = ScopeNutrients
		}
	case cause == CauseWrongDirection || f.ratio < -float64(wrongZ*f.sd):
		// Beyond doubt the wrong way, though too weakly for a swap: keep the opposite
		// reagent away too. A dead pump looks a little backward and stops alone.
		out.Scope = ScopeReagents
	}
	out.Detail = fmt.Sprintf("%s worth %+.2f%s %s moved it by %+.3f, give or take %.3f",
		classNames[p.class], predicted, unit, quantity, float64(predicted*f.ratio), math.Abs(float64(predicted*f.sd)))
	if p.class != classStock && cause == CauseNoResponse {
		if rise, ok := r.movedEC(p); ok {
			out.Scope = ScopeReagents
			out.Detail += fmt.Sprintf("; EC rose by %.2f mS/cm instead: doubt the pH probe, or what stands in the container", rise)
		}
	}
	return out
}

// movedEC says whether doses that did not move pH moved EC far more than they
// should, as fertiliser in the acid line does.
func (r *Responses) movedEC(p *pool) (rise float64, moved bool) {
	q := r.question(p, p.judge)
	q.askEC()
	q.unit = true
	f := r.ec.answer(r.marks.kept(), &q)
	if !f.ok {
		return 0, false
	}
	expected := r.marks.sumEC(p)
	extra := f.ratio - expected
	return f.ratio, extra > strangeEC && extra > float64(2*math.Abs(expected)) && extra > float64(wrongZ*f.sd)
}
