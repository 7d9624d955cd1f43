package response

import (
	"math"
	"time"

	"leat/dosing"
)

// pool is the doses of one class, or of one pump, that wait for judgement. It
// closes when it is large enough; what is dosed while it settles already belongs to
// the next.
type pool struct {
	class  Class
	pump   dosing.PumpID // whose pool it is, if single
	single bool
	alone  bool // it is of one stock only

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
func (p *pool) forget() { *p = pool{class: p.class, pump: p.pump, single: p.single, alone: p.alone} }

// has says whether a mark is of this pool's reagent, or of its pump.
func (p *pool) has(m *mark) bool { return m.class == p.class && (!p.single || m.pump == p.pump) }

// limit is the predicted effect that is worth judging.
func (p *pool) limit() float64 {
	if p.class == Stock {
		return poolEC
	}
	return poolPH
}

// expected is what doses of this pool are expected to do ÷ what was commissioned,
// and the sd of its logarithm.
func (e *evidence) expected(p *pool) (scale, spread float64) {
	switch {
	case p.class == Stock:
		return 1, ecSpread
	case p.answers >= AnswersWant:
		return min(1, math.Exp(p.usual)), leastScaleSpread
	}
	return min(1, math.Exp(-e.lnBuffer)), e.spread
}

// ecSpread is the sd of ln(EC gain): the stock's strength and the volume are far
// better known than the buffer capacity.
const ecSpread = 0.3

// effect is the size of a mark's settled effect at the commissioned scale, pH or
// mS/cm.
func (e *evidence) effect(p *pool, m *mark) float64 {
	if p.class == Stock {
		return math.Abs(m.ec)
	}
	return math.Abs(m.acid) / e.buffer()
}

// size is how much a pool is expected to move its quantity.
func (e *evidence) size(p *pool) float64 {
	scale, _ := e.expected(p)
	return float64(p.gathered.effect * scale)
}

// extend adds a dose to a pool and says when it is to be looked at for that; Never, if not.
func (p *pool) extend(e *evidence, m *mark) (due time.Duration) {
	due = dosing.Never
	effect := e.effect(p, m)
	if p.closed {
		p.after.add(m.up, effect)
		return due
	}
	if p.gathered.effect > 0 && e.ph.tooOld(p.first, m.up) {
		// Doses so small and rare that their readings are forgotten before there are
		// enough of them say nothing that drift could not say as well.
		p.start(gathered{})
	}
	p.add(m.up, effect)
	if p.close(e); p.closed {
		due = p.judge
	}
	if p.class != Stock && p.peek == 0 && e.size(p) >= p.limit() {
		p.peek = m.up + e.tank.DeadTime + e.tank.TimeConstant
		due = min(due, p.peek)
	}
	if p.alone && p.peek == 0 && p.gathered.effect >= strongPool {
		p.peek = m.up + e.tank.MixingTime()
		due = min(due, p.peek)
	}
	return due
}

// close closes a pool that is large enough and sets when it is judged.
func (p *pool) close(e *evidence) {
	p.want = max(p.want, p.limit())
	if e.size(p) < p.want {
		return
	}
	p.closed, p.judge = true, max(p.last+e.tank.MixingTime(), p.rest)
}

// renew starts the next pool with what was dosed while the last one settled.
func (p *pool) renew(e *evidence) {
	p.start(p.after)
	p.close(e)
}

// grow keeps an undecided pool open for more doses.
func (p *pool) grow(e *evidence) {
	p.closed = false
	p.want = max(p.want, e.size(p)) * growth
	if p.after.effect > 0 {
		p.last = p.after.last
		p.gathered.effect += p.after.effect
		p.after = gathered{}
	}
	if e.size(p) > float64(ample*p.limit()) || e.ph.tooOld(p.first, p.last) {
		p.halve(e)
	}
	p.calm(e)
	p.close(e)
}

// calm lets an undecided pool of acid or base rest. Doses that come evenly and the drift
// that they hold against look alike for as long as they come; when they end, only a drift
// that is there goes on.
func (p *pool) calm(e *evidence) {
	size := e.size(p)
	if p.class == Stock || size < float64(restFrom*p.limit()) || size < float64(2*p.rested) {
		return
	}
	p.rested, p.want = size, size
	p.rest, p.stood = p.last+e.tank.MixingTime(), e.ph.lately(p.last)
}

// Rests is until when a reagent is given rest, so that its answer shows; not while the
// reading moves meanwhile: that is an answer.
func (r *Responses) Rests(role dosing.Role, reading float64) time.Duration {
	class, ok := ClassOf(role)
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
func (p *pool) halve(e *evidence) {
	left := gathered{}
	for i := e.marks.count - 1; i >= 0; i-- {
		m := &e.marks.list[i]
		if !p.has(m) || m.up < p.first {
			continue
		}
		if left.effect > float64(p.gathered.effect/2) {
			break
		}
		left.first, left.last = m.up, max(left.last, m.up)
		left.effect += e.effect(p, m)
	}
	p.start(left)
	p.want = float64(growth * e.size(p))
}
