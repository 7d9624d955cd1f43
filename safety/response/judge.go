package response

import (
	"fmt"
	"math"
	"time"
)

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
			p.renew(&r.evidence)
		}
		return Finding{}, false
	}
	r.timed(up, p, f)
	return r.conclude(p, f)
}

// fit asks the readings about a pool that has mostly arrived by settled.
func (e *evidence) fit(up time.Duration, p *pool, settled time.Duration) fitted {
	t := &e.ph
	if p.class == Stock {
		t = &e.ec
	}
	q := e.question(p, up)
	q.settled = settled
	return t.answer(e.marks.kept(), &q)
}

// glance looks at a pool before it has settled: whether it goes the wrong way, since
// every further dose of swapped reagents makes it worse and the loop gives larger ones,
// or answers beyond doubt. Only silence takes its time.
func (r *Responses) glance(up time.Duration, p *pool) (Finding, bool) {
	if p.class == Stock {
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
	finding := r.finding(p, WrongWay, f)
	p.strikes = 0
	p.renew(&r.evidence)
	return finding, true
}

// strong says that one stock did far more than it should: made up or refilled too
// strong, or a pump that gives more than it counts. Small doses are enough to see it,
// and no further one may follow. Stocks that are dosed one after the other cannot
// always be told apart, so all of them stop.
//
// Slow water of an unsure share makes all stocks look strong alike. So in such a tank one
// must stand out beside the others, or do more than any share within its doubt explains.
func (e *evidence) strong(p *pool, f fitted) (Finding, bool) {
	if !f.ok || !p.alone {
		return Finding{}, false
	}
	size, most := math.Abs(f.predicted), strongLeast+float64(strongOthers*e.marks.neighbours(p, p.first-e.tank.MixingTime()))
	beside := e.tank.Slow > 0 && f.beside > float64(unevenZ*f.besideSD) && f.beside*size > most
	if !beside && (!(f.ratio-float64(strongZ*f.sd) > e.strongest()) || !((f.ratio-1)*size > most)) {
		return Finding{}, false
	}
	finding := e.finding(p, TooStrong, f)
	finding.Reach = Nutrients
	if f.others > RichEC {
		finding.Detail += fmt.Sprintf("; the other stocks do %.1f times as much as they should, too: if ", f.others) + SlowWaterWords
	}
	p.strikes = 0
	p.renew(e)
	return finding, true
}

// strongest is what a stock may do ÷ what it should.
func (e *evidence) strongest() float64 {
	if !(e.tank.Slow > 0) {
		return strongRatio
	}
	return max(strongRatio, unevenTold/(1-e.tank.Slow))
}

// wrongWay says that a pool was answered with the wrong sign, beyond doubt. One stock
// among others cannot lower EC; where its pool seems to, its neighbours did less than
// they should, and it is as good as silent.
//
// A dead pump can look a little backward: pH climbs and the loop asks for more because
// it climbs. So of a pump whose usual answer is known, most of that must be missing
// on the other side.
func (e *evidence) wrongWay(p *pool, f fitted) bool {
	if p.single {
		return false
	}
	_, spread := e.expected(p)
	least := float64(wrongLeast * weakestOf(spread))
	if p.class != Stock && p.answers >= AnswersWant {
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
func (e *evidence) question(p *pool, up time.Duration) question {
	scale, spread := e.expected(p)
	q := question{pool: p, from: p.first, until: up, back: 2 * e.tank.MixingTime(), deadTime: e.tank.DeadTime, lag: e.tank.TimeConstant,
		slow: e.tank.Slow, fade: slowFade(&e.tank),
		scale: scale, curve: e.curve, capacity: e.capacity(), weakest: weakestOf(spread)}
	if p.class == Stock {
		q.askEC()
		if e.tank.Slow > 0 {
			q.otherSpread = unevenWater
		}
		return q
	}
	// The buffer may be weaker than expected; drift then moves pH faster.
	widest := scale * math.Exp(spread/2)
	q.otherSpread = 0.3 + spread
	q.drift, q.wander, q.creep = driftAcid*widest, wanderAcid*widest, creepPH*e.buffer()
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
	fault := Sound
	switch {
	case r.wrongWay(p, f):
		fault = WrongWay
	case short && (z < silentZ || p.answers >= AnswersWant):
		// A tenth of what the pump used to do is no answer, however well it is measured;
		// one that never did more may stand in a strong buffer.
		p.strikes++
		if p.strikes >= p.strikesNeeded(z) {
			fault = Silent
		}
	case z > silentZ && f.ratio >= silentLater:
		r.answer(p, f)
	case z > silentZ && f.sd < silentLater/2:
		// Weak, but a response: neither an answer nor silence.
	default:
		p.grow(&r.evidence)
		return Finding{}, false
	}
	if fault == Sound {
		p.renew(&r.evidence)
		return Finding{}, false
	}
	finding := r.finding(p, fault, f)
	p.strikes = 0
	p.renew(&r.evidence)
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
	if p.class == Acid && z < silentZ {
		return 1
	}
	return 2
}

// finding puts the result in words and finds how far it reaches.
func (e *evidence) finding(p *pool, fault Fault, f fitted) Finding {
	pump, only := e.marks.most(p)
	out := Finding{Fault: fault, Pump: pump, Ratio: f.ratio, Reach: OnePump}
	quantity, unit, predicted := "pH", "", f.predicted/e.buffer()
	switch {
	case p.class == Stock:
		quantity, unit, predicted = "EC", " mS/cm", f.predicted
		if !only || fault == WrongWay {
			out.Reach = Nutrients
		}
	case fault == WrongWay || f.ratio < -float64(wrongZ*f.sd):
		// Beyond doubt the wrong way, though too weakly for a swap: keep the opposite
		// reagent away too. A dead pump looks a little backward and stops alone.
		out.Reach = Reagents
	}
	out.Detail = fmt.Sprintf("%s worth %+.2f%s %s moved it by %+.3f, give or take %.3f",
		p.class.String(), predicted, unit, quantity, float64(predicted*f.ratio), math.Abs(float64(predicted*f.sd)))
	if p.class != Stock && fault == Silent {
		if rise, ok := e.movedEC(p); ok {
			out.Reach = Reagents
			out.Detail += fmt.Sprintf("; EC rose by %.2f mS/cm instead: doubt the pH probe, or what stands in the container", rise)
		}
	}
	return out
}

// movedEC says whether doses that did not move pH moved EC far more than they
// should, as fertiliser in the acid line does.
func (e *evidence) movedEC(p *pool) (rise float64, moved bool) {
	q := e.question(p, p.judge)
	q.askEC()
	q.unit = true
	f := e.ec.answer(e.marks.kept(), &q)
	if !f.ok {
		return 0, false
	}
	expected := e.marks.sumEC(p)
	extra := f.ratio - expected
	return f.ratio, extra > strangeEC && extra > float64(2*math.Abs(expected)) && extra > float64(wrongZ*f.sd)
}
