package response

import (
	"math"
	"time"

	"leat/dosing"
)

// question says which doses to test over which readings, and what else moves the
// tank meanwhile.
type question struct {
	pool        *pool
	ec          bool          // whether EC is looked at; else pH
	from, until time.Duration // first dose of the pool; newest reading
	back        time.Duration // how long before the first dose
	settled     time.Duration // from here on the pool has mostly arrived
	deadTime    time.Duration
	lag         time.Duration
	slow        float64       // share of the water into which what has arrived leaks
	fade        time.Duration // and how fast: to 37 % of the leak
	scale       float64       // learned ÷ commissioned effect of acid and base on pH
	otherSpread float64       // sd of the other doses' ratio
	drift       float64       // sd of the drift before anything is known, unit/h
	wander      float64       // sd by which the drift changes in an hour, unit/h
	onset       float64       // sd by which the drift may have changed when dosing began, unit/h
	creep       float64       // sd by which the level changes in an hour beside the drift, unit
	curve       dosing.Titration
	capacity    float64 // commissioned ÷ the curve's
	weakest     float64 // ratio that the pool is tested against
	grain       float64 // variance of a mean of readings that no averaging removes
	unit        bool    // the pool's course is scaled to a whole of 1
	water       *told   // what top-up brings is asked, and not what doses do; else nil
}

// fitted is the answer: the ratio of observed to predicted with its sd.
type fitted struct {
	ok        bool
	ratio, sd float64
	predicted float64 // signed settled effect of the pool as predicted
	// beside is the ratio less unevenTimes that of the other doses, with its sd.
	beside, besideSD float64
	others           float64 // ratio of the other doses
	likely           float64 // ln of how likely the readings are by this course, beside a constant
	water, waterSD   float64 // what top-up brings per litre of it, where that was asked
}

// The states of the filter.
const (
	stateLevel = iota
	stateDrift
	statePool   // ratio of the pool
	stateBefore // ratio of the same reagent's doses before the pool
	stateOther  // ratio of all other doses
	stateTopUp  // ratio of top-up
	states
)

// askEC turns the question to EC.
func (q *question) askEC() {
	q.ec, q.otherSpread = true, ecSpread
	q.drift, q.wander, q.creep = driftEC, wanderEC, creepEC
}

// measure turns a reading into the quantity in which doses add up, and tells by how
// much one unit of the reading changes that.
func (q *question) measure(value float64) (y, slope float64) {
	if q.ec {
		return value, 1
	}
	return float64(q.capacity * q.curve.AcidNeeded(value, reference)), float64(q.capacity * q.curve.Buffer(value))
}

// reference is the pH from which acid needed is counted; any would do.
const reference = 5.8

// course follows the share of marks that has arrived: each is a dead time and an
// exponential approach, so one decaying sum serves them all. Where part of the water is
// slow, that part of each fades again, which is a second such sum.
type course struct{ arrived, lagging, fading float64 }

func (c *course) value(q *question) float64 {
	if !(q.slow > 0) {
		return c.arrived - c.lagging
	}
	// Of two equal times the formula has no value, and a hundredth more changes nothing.
	ahead := q.fade.Seconds()/max(q.lag.Seconds(), 1e-3) - 1
	if math.Abs(ahead) < 0.01 {
		ahead = 0.01
	}
	return float64((1-q.slow)*(c.arrived-c.lagging)) + float64(q.slow*(1+1/ahead)*(c.fading-c.lagging))
}

// courses walks through the marks in order of time.
type courses struct {
	q     *question
	all   []mark
	next  int
	clock float64 // s
	share float64 // 1 ÷ sum of the pool where its course is scaled to 1
	by    [states]course
}

// at moves on to a time in seconds and returns the observation row.
func (c *courses) at(seconds float64) [states]float64 {
	for c.next < len(c.all) {
		arrives := (c.all[c.next].up + c.q.deadTime).Seconds()
		if arrives > seconds {
			break
		}
		c.decay(arrives)
		state, effect := c.q.of(&c.all[c.next], c.share)
		c.by[state].arrived += effect
		c.by[state].lagging += effect
		c.by[state].fading += effect
		c.next++
	}
	c.decay(seconds)
	row := [states]float64{stateLevel: 1}
	for i := statePool; i < states; i++ {
		row[i] = c.by[i].value(c.q)
	}
	return row
}

func (c *courses) decay(to float64) {
	for i := range c.by {
		c.by[i].decay(to-c.clock, c.q.lag.Seconds(), c.q.fade.Seconds())
	}
	c.clock = max(c.clock, to)
}

// decay lets seconds pass.
func (c *course) decay(seconds, lag, fade float64) {
	left, faded := 0.0, 0.0
	if lag > 0 {
		left = math.Exp(-max(seconds, 0) / lag)
	}
	if fade > 0 {
		faded = math.Exp(-max(seconds, 0) / fade)
	}
	c.lagging = float64(c.lagging * left)
	c.fading = float64(c.fading * faded)
}

// of says as what a mark counts and with which settled effect.
func (q *question) of(m *mark, share float64) (state int, effect float64) {
	effect = float64(m.acid * q.scale)
	if q.ec {
		effect = m.ec
	}
	switch {
	case m.class == topUpClass && q.water != nil:
		if q.ec {
			return stateTopUp, m.share
		}
		return stateTopUp, float64(m.share * q.scale)
	case m.class == topUpClass:
		return stateTopUp, effect
	case q.pool.has(m) && m.up >= q.from:
		if q.unit {
			effect = float64(math.Abs(m.acid) * share)
		}
		return statePool, effect
	}
	if q.pool.has(m) {
		return stateBefore, effect
	}
	return stateOther, effect
}

// onset is the bin in which dosing began, if it began within the bins from first on:
// what the drift was before says little of what it is since. Something set the loop to
// work: pumps that started, lights, water that was made up.
func (t *Track) onset(all []mark, q *question, first int64) int64 {
	for i := range all {
		m := &all[i]
		if m.class == topUpClass {
			continue
		}
		if index := int64(m.up / t.width); index >= first {
			return index
		}
		return math.MinInt64
	}
	return math.MinInt64
}

// stirred is the variance by which water that came in may have moved the level
// between two times beyond its predicted course: neither its alkalinity nor how it
// mixes is known well, and a loop answers it with acid at the same time. Without
// this the filter would read a response out of two courses that nearly cancel.
func (q *question) stirred(all []mark, from, to time.Duration) float64 {
	variance := 0.0
	for i := range all {
		m := &all[i]
		if m.class != topUpClass {
			continue
		}
		end := m.up + q.deadTime + 4*q.lag
		if shared := min(to, end) - max(from, m.began); shared > 0 && end > m.began {
			_, effect := q.of(m, 0)
			if q.water != nil {
				effect *= q.water.blur
			}
			variance += float64(effect*effect) * (float64(shared) / float64(end-m.began))
		}
	}
	return variance
}

// answer runs a Kalman filter over the bins from before the pool's first dose until
// now.
func (t *Track) answer(all []mark, q *question) fitted {
	first, end := int64((q.from-q.back)/t.width), int64(q.until/t.width)
	first = max(first, end-binCount+1, 0)
	var out fitted
	walk := courses{q: q, all: all}
	for i := range all {
		if state, _ := q.of(&all[i], 0); state == statePool && q.unit {
			walk.share += math.Abs(all[i].acid)
		}
	}
	if walk.share > 0 {
		walk.share = 1 / walk.share
	}
	for i := range all {
		if state, effect := q.of(&all[i], walk.share); state == statePool {
			out.predicted += effect
		}
	}
	k := newKalman(q)
	settled, after, seen := int64(q.settled/t.width), 0, 0
	misfit := 0.0
	last := first
	onset := t.onset(all, q, first)
	var before [states]float64
	for index := first; index <= end; index++ {
		row := walk.at(float64((float64(index) + 0.5) * t.width.Seconds()))
		b := &t.bins[uint64(index)%binCount]
		if b.index != index || b.count == 0 {
			continue
		}
		y, slope := q.measure(b.sum / b.count)
		if seen == 0 {
			k.x[stateLevel], before = y, row
		}
		k.wait(float64(index-last) * t.width.Hours())
		if last < onset && index >= onset {
			k.p[stateDrift][stateDrift] += float64(q.onset * q.onset)
		}
		k.unsettle(q, &row, &before)
		k.p[stateLevel][stateLevel] += q.stirred(all, time.Duration(last)*t.width, time.Duration(index)*t.width)
		last, before = index, row
		off, s := k.see(&row, y, slope, float64((t.noise/b.count+q.grain)*slope)*slope)
		misfit += off
		out.likely -= (math.Log(s) + min(off, surprise)) / 2
		if seen++; index >= settled {
			after++
		}
	}
	if after < 3 || seen < 8 {
		return out
	}
	k.conclude(&out, misfit/float64(seen))
	return out
}

// conclude reads the answer from the filter. Misfit is the mean square of its innovations by
// what it expected.
func (k *kalman) conclude(out *fitted, misfit float64) {
	// Innovations larger than the filter expects say that its model is too sure.
	inflate := max(1, misfit-0.5)
	out.ratio, out.sd = k.x[statePool], math.Sqrt(float64(k.p[statePool][statePool]*inflate))
	const x = unevenTimes
	out.others = k.x[stateOther]
	out.likely /= inflate
	out.water, out.waterSD = k.x[stateTopUp], math.Sqrt(float64(k.p[stateTopUp][stateTopUp]*inflate))
	out.beside = out.ratio - float64(x*k.x[stateOther])
	out.besideSD = math.Sqrt(float64((k.p[statePool][statePool] - float64(2*x*k.p[statePool][stateOther]) + float64(x*x*k.p[stateOther][stateOther])) * inflate))
	out.ok = out.sd > 0 && !math.IsInf(out.sd, 0) && !math.IsNaN(out.ratio)
}

// kalman is the filter's mean and covariance.
type kalman struct {
	x      [states]float64
	p      [states][states]float64
	wander float64 // variance of the drift gained in an hour
	forget float64 // rate at which the drift is forgotten, 1/h: it stays within its sd for ever
	creep  float64 // variance of the level gained in an hour
}

func newKalman(q *question) kalman {
	k := kalman{wander: float64(q.wander * q.wander), creep: float64(q.creep * q.creep)}
	k.forget = k.wander / (2 * float64(q.drift*q.drift))
	k.x[stateBefore], k.x[stateOther], k.x[stateTopUp] = 1, 1, 1
	k.p[stateLevel][stateLevel] = 1
	k.p[stateDrift][stateDrift] = float64(q.drift * q.drift)
	k.p[statePool][statePool] = 25
	k.p[stateBefore][stateBefore] = float64(q.otherSpread * q.otherSpread)
	k.p[stateOther][stateOther] = float64(q.otherSpread * q.otherSpread)
	k.p[stateTopUp][stateTopUp] = 1
	if q.water != nil {
		k.x[stateTopUp], k.p[stateTopUp][stateTopUp] = q.water.brings, float64(q.water.spread*q.water.spread)
	}
	return k
}

// wait lets hours pass: the level drifts, and the drift wanders but does not grow
// without bound.
func (k *kalman) wait(h float64) {
	if !(h > 0) {
		return
	}
	k.x[stateLevel] += float64(h * k.x[stateDrift])
	for i := range k.p {
		k.p[stateLevel][i] += float64(h * k.p[stateDrift][i])
	}
	for i := range k.p {
		k.p[i][stateLevel] += float64(h * k.p[i][stateDrift])
	}
	left := math.Exp(-float64(k.forget * h))
	k.x[stateDrift] = float64(k.x[stateDrift] * left)
	for i := range k.p {
		k.p[stateDrift][i] = float64(k.p[stateDrift][i] * left)
	}
	for i := range k.p {
		k.p[i][stateDrift] = float64(k.p[i][stateDrift] * left)
	}
	k.p[stateLevel][stateLevel] += float64(k.wander*h*h*h)/3 + float64(k.creep*h)
	k.p[stateLevel][stateDrift] += float64(k.wander*h*h) / 2
	k.p[stateDrift][stateLevel] += float64(k.wander*h*h) / 2
	k.p[stateDrift][stateDrift] += float64(k.wander * h)
}

// unsettle makes the level less sure by what arrived since the last observation, of
// water that came in apart.
func (k *kalman) unsettle(q *question, row, before *[states]float64) {
	for i := statePool; i < stateTopUp; i++ {
		share := timingDose
		switch {
		case i == statePool:
			share *= q.weakest
		case q.ec && i == stateOther:
			share = timingStock
		}
		came := float64(share * (row[i] - before[i]))
		k.p[stateLevel][stateLevel] += float64(came * came)
	}
}

// expect returns covariance times row, and the innovation with its variance.
func (k *kalman) expect(row *[states]float64, y, variance float64) (pr [states]float64, e, s float64) {
	expected, s := 0.0, variance
	for i := range pr {
		for j := range row {
			pr[i] += float64(k.p[i][j] * row[j])
		}
		expected += float64(row[i] * k.x[i])
	}
	for i := range row {
		s += float64(row[i] * pr[i])
	}
	return pr, y - expected, s
}

// A step of its own, such as a glass that broke or a probe that was moved, lies this
// far beyond everything expected and is larger than what mixing does within a bin,
// in pH or mS/cm.
const (
	stepZ     = 6.0
	stepLeast = 0.2
)

// surprise is the most that one squared innovation counts for, in units of what was
// expected: one reading that is far off makes no course unlikely.
const surprise = 9.0

// see takes one observation, whose slope measure told, and returns its squared
// innovation in units of what was expected, and that variance. A step that neither doses nor drift
// explain starts the level anew, so that neither of them is blamed for it.
func (k *kalman) see(row *[states]float64, y, slope, variance float64) (off, s float64) {
	pr, e, s := k.expect(row, y, variance)
	if math.Abs(e) > float64(stepLeast*slope) && e*e > float64(stepZ*stepZ*s) {
		k.p[stateLevel][stateLevel] += float64(e * e)
		pr, e, s = k.expect(row, y, variance)
	}
	for i := range pr {
		gain := pr[i] / s
		k.x[i] += float64(gain * e)
		for j := range pr {
			k.p[i][j] -= float64(gain * pr[j])
		}
	}
	return float64(e*e) / s, s
}
