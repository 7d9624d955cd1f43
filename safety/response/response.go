package response

import (
	"math"
	"time"

	"leat/dosing"
)

// The numbers of the dose response test.
const (
	poolPH = 0.05 // pH a pool of doses must be predicted to move before it is judged
	poolEC = 0.05 // mS/cm likewise

	silentEarly = 0.15 // ratio below which doses count as unanswered before three were answered
	silentLater = 0.30 // and afterwards
	silentZ     = 3.0  // a response this significant is some response
	wrongZ      = 4.0  // significance at which a sign is believed at once
	AnswersWant = 3    // answered pools before a pump is held to what it usually does

	// A ratio must also lie this many of its own standard deviations below what the
	// weakest healthy tank would show; otherwise the pool stays open and grows. With
	// a buffer three times the commissioned one a healthy pump answers with 0.28.
	shortfallZ = 3.0
	// sharp is how well a shortfall must be measured, as a share of that weakest ratio:
	// a blurred ratio far below zero is a disturbance, not a dead pump.
	sharp = 0.4
	// pumpSpread is the sd of ln(delivered ÷ ordered) of a healthy pump.
	pumpSpread = 0.15
	// leastScaleSpread is the sd of ln(buffer scale) that is never undercut here. The
	// loop's own spread is that of a filter which supposes one solution; stocks that
	// fill a tank, carbonate that leaves it and top-up change the solution faster than
	// that filter knows, and its scale was seen off by a factor of two at a spread of 0.1.
	leastScaleSpread = 0.35
	// wrongLeast is how strong a wrong answer must be, as a share of that weakest
	// ratio; it keeps a well measured drift from looking like a swap.
	wrongLeast = 0.5
	// wrongUsual is the same for a pump whose usual answer is known, as a share of that.
	wrongUsual = 0.6
	// strangeEC is how much more than predicted, mS/cm, a pool of acid or base must raise
	// EC before its liquid is doubted: less is the tail of the stocks.
	strangeEC = 0.10
	// strongRatio is what a stock may do ÷ what it should, tested by the first dose after a refill.
	// Small doses show it as soon as they are predicted to do strongPool, mS/cm, if what
	// they did beyond that is strongLeast: more than top-up and uptake do meanwhile.
	strongRatio = 2.0
	strongZ     = 5.0
	strongPool  = poolEC / 5
	strongLeast = 0.06
	// strongOthers is the share of what other stocks did at the same time that may have
	// been theirs: while a tank fills, nine stocks together do two fifths more than
	// predicted, and that is no fault of one.
	strongOthers = 0.5
	// Where part of the water answers late and its share is told to within unevenTold, a
	// strong stock shows beside the others, with unevenZ: by unevenTimes what they do.
	unevenTold  = 1.5
	unevenTimes = 1.5
	unevenZ     = 3.0
	unevenWater = 0.5 // sd of the other doses' ratio in such a tank
	// growth is how much larger an undecided pool must get before it is judged again.
	growth = 1.3
	// ample is how many times the pooling limit an undecided pool may reach before it
	// lets go of its older half, which may be from before a pump failed.
	ample = 10
	// restFrom is how many times the pooling limit an undecided pool of acid or base
	// reaches before no more is given until it is decided.
	restFrom = 2
	// restPH, or restNoise times the probe's noise, is how far pH moves in a rest that is
	// over early: it has moved.
	restPH, restNoise = 0.03, 1.5
	// usualShare is the weight of one answer in what a pump usually does.
	usualShare = 0.25
)

// Responses tests whether doses move the tank as they should. One belongs to one
// tank; it sees every dose whose fate is known and every reading that may dose.
//
// A pool is judged by a Kalman filter over the readings from before its first dose
// until it has settled, in coordinates in which doses add up (acid needed, EC). It
// fits level, drift, the pooled doses' predicted course, that of the same reagent's
// earlier doses, of all other doses, and of top-up. The drift wanders and the level
// is unsure by a share of all that arrives, because a real tank does what no model
// of its doses says: carbonate that acid has freed leaves for hours and lifts pH
// again, uptake follows the light, top-up enters where it likes. While a loop holds
// pH against such a drift, doses and drift cancel, and only the contrast counts of
// what happens within dead time and lag of a dose against the slope around it. Where
// doses come too evenly for that, the fit's sd says so and the pool stays undecided:
// it is never silence. A dead pump shows all the same, since pH then climbs while the
// loop asks for more and more.
//
// What is expected is never more than was commissioned, even if the loop has learned
// a weaker buffer: a pump that does what was commissioned is in order, and a scale
// learned too low must not accuse it. After a few answers a pump is held to what it
// usually does; the loop's own scale follows a failing pump too fast for that.
type Responses struct {
	evidence
	pumps []dosing.Pump
	water topUpWatch
	// pools are one for each class, then one for each stock pump where there are
	// several: a dry one hides among its neighbours.
	pools []pool
	own   []int // by pump: its own pool, or 0

	answered  int
	seen      [Classes]int // of them by class
	pending   bool         // a dose whose fate nobody knows yet
	pendKey   uint64
	pendUntil time.Duration
	next      time.Duration // nothing is due before this uptime
	flooded   bool          // water of a flood was away, or mixed, at the last judgement

	slowPH, slowEC slowness
	source         source
	balance        balance
}

// evidence is what is kept of one tank to judge pools by: the readings and the doses of the
// last hours, and what the tank was said to make of a dose.
type evidence struct {
	tank  dosing.Tank
	curve dosing.Titration

	ph, ec Track
	marks  marks

	lnBuffer, spread float64 // as last told
}

// New makes the tests of one tank. Curve is the titration curve of its
// expected solution; the commissioned scale is applied to it here.
func New(pumps []dosing.Pump, tank dosing.Tank, curve dosing.Titration) *Responses {
	r := &Responses{evidence: evidence{tank: tank, curve: curve}, pumps: pumps, own: make([]int, len(pumps)), balance: newBalance(pumps)}
	for class := Acid; class < Classes; class++ {
		r.pools = append(r.pools, pool{class: class})
	}
	stocks := 0
	for i := range pumps {
		if pumps[i].Role == dosing.RoleStock {
			stocks++
		}
	}
	r.pools[Stock].alone = stocks <= 1
	for i := range pumps {
		if pumps[i].Role == dosing.RoleStock && stocks > 1 {
			r.own[i] = len(r.pools)
			r.pools = append(r.pools, pool{class: Stock, pump: dosing.PumpID(i), single: true, alone: true})
		}
	}
	r.Reset()
	return r
}

// Reset forgets everything, as after service of a pump or probe, a refill or a
// changed filling: nothing has been answered yet.
func (r *Responses) Reset() {
	r.answered, r.lnBuffer, r.spread = 0, 0, dosing.UnmeasuredSpread
	for i := range r.pools {
		r.pools[i].forget()
	}
	width := max(r.tank.MixingTime()/BinsPerMixing, time.Second)
	r.ph = newTrack(width, max(r.tank.PHNoise, 0), 0.002)
	r.ec = newTrack(width, max(r.tank.ECNoise, 0), 0.002)
	r.marks.reset()
	r.water = newTopUpWatch(&r.tank)
	r.pending, r.flooded, r.next = false, false, dosing.Never
	r.slowPH, r.slowEC, r.source = slowness{}, slowness{}, source{}
	r.balance.forget()
}

// Disturbed makes pools and readings up to now useless as evidence: water was
// changed, or somebody added something nobody measured. What was answered before
// and the strikes stand.
func (r *Responses) Disturbed() {
	for i := range r.pools {
		r.pools[i].start(gathered{})
	}
	r.ph.clear()
	r.ec.clear()
	r.marks.reset()
	r.source.due, r.balance.begun = 0, false
	r.pending, r.next = false, dosing.Never
}

// Answered is how many pools of doses the tank has answered since the last reset.
func (r *Responses) Answered() int { return r.answered }

// Seen is how many pools of a class the tank has answered since the last reset.
func (r *Responses) Seen(class Class) int { return r.seen[class] }

// Usual is the logarithm of what the doses of a class usually did ÷ what was
// commissioned, and in how many pools that was seen.
func (r *Responses) Usual(class Class) (ln float64, answers int) {
	return r.pools[class].usual, r.pools[class].answers
}

// Resume takes over from the test of the same tank under earlier settings that it has
// been answered.
func (r *Responses) Resume(from *Responses) { r.answered, r.seen = from.answered, from.seen }

// Track is where the readings of a class's quantity are kept.
func (e *evidence) Track(class Class) *Track {
	if class == Stock {
		return &e.ec
	}
	return &e.ph
}

// AcidNeeded is the acid that brings the tank from a pH to that from which acid is counted
// here, meq/L at the commissioned capacity.
func (e *evidence) AcidNeeded(pH float64) float64 {
	return float64(e.capacity() * e.curve.AcidNeeded(pH, reference))
}

// Refilled forgets what was seen of one pump. The pool of all stocks together stands: the
// others are in it.
func (r *Responses) Refilled(pump dosing.PumpID, class Class) {
	for i := range r.pools {
		if p := &r.pools[i]; p.single && p.pump == pump || p.class == class && !p.single && (class != Stock || p.alone) {
			p.forget()
		}
	}
	r.balance.refilled(pump)
}

// Dosed tells of a dose. An open dose suspends judgement until the same key comes
// closed; if that does not happen within a mixing time (at least a minute, since a
// dose may run longer than a small tank mixes) the evidence is void, since
// nobody knows what was delivered. A closed dose of no volume never happened.
func (r *Responses) Dosed(d dosing.Dose) {
	if int(d.Pump) >= len(r.pumps) {
		return
	}
	if r.pumps[d.Pump].Role == dosing.RoleWater {
		r.water.ordered(d.Open, d.Up)
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
	pump := &r.pumps[d.Pump]
	class, doses := ClassOf(pump.Role)
	if d.Volume <= 0 || !doses {
		return
	}
	perLitre := d.Volume.Millilitres() / float64(r.tank.Quick())
	m := mark{up: d.Up, pump: d.Pump, class: class, acid: -float64(perLitre * pump.AcidPerML), ec: float64(perLitre * pump.ECPerML)}
	if !(math.Abs(m.acid) < 100) || !(math.Abs(m.ec) < 1000) {
		return // sizes without a number prove nothing
	}
	r.marks.add(m, r.ph.width)
	r.next = min(r.next, r.pools[class].extend(&r.evidence, &m))
	if own := r.own[d.Pump]; own > 0 {
		r.next = min(r.next, r.pools[own].extend(&r.evidence, &m))
	}
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
		r.balance.read(r, at.Up)
	case dosing.QuantityLevel, dosing.QuantityTopUp, dosing.QuantityFlood:
		if rise, began := r.water.read(at.Up, q, value); rise > 0 {
			r.toppedUp(at.Up, began, rise)
		}
	}
}

// toppedUp notes water that came in between began and up. It mixes in with the lag
// but has no dead time of its own, unlike a dose: the mark is set back by that.
func (r *Responses) toppedUp(up, began time.Duration, litres float64) {
	share := litres / float64(r.tank.Quick())
	middle := up - min(up-began, valveTail)/2 - r.water.level.lag
	m := mark{up: max(middle-r.tank.DeadTime, 0), began: began, class: topUpClass, share: share, acid: float64(share * r.tank.TopUp.Alkalinity)}
	if r.ec.has {
		m.ec = -float64(share * (r.ec.last - float64(r.tank.TopUp.EC)))
	}
	if math.Abs(m.acid) < 100 && math.Abs(m.ec) < 1000 {
		r.marks.add(m, r.ph.width)
		r.source.due = max(up, m.up+r.tank.DeadTime) + r.tank.MixingTime()
		r.next = min(r.next, r.source.due)
	}
}

// Judge returns what a pool that has now settled shows, one finding at a time.
// LnBuffer and spread are the learned mean and sd of ln(buffer scale).
func (r *Responses) Judge(now dosing.Instant, lnBuffer, spread float64) (Finding, bool) {
	if r.homecoming(now.Up) || now.Up < r.next {
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
	if !(math.Abs(lnBuffer) <= 2*math.Ln10) || !(spread >= 0) || !(spread < 3) {
		lnBuffer, spread = 0, dosing.UnmeasuredSpread
	}
	r.lnBuffer, r.spread = lnBuffer, max(spread, leastScaleSpread)
	if rise, began := r.water.soFar(now.Up); rise > 0 {
		r.toppedUp(now.Up, began, rise)
	}
	r.marks.forget(now.Up - r.ph.span())
	r.askWater(now.Up)
	for i := range r.pools {
		if finding, found := r.judge(now.Up, &r.pools[i]); found {
			r.schedule()
			return finding, true
		}
	}
	r.schedule()
	return Finding{}, false
}

// homecoming says that nothing may be judged for a flood, and lets go of what straddles
// it: the water that comes home has a pH and an EC of its own. The doses given before it
// go on counting as earlier ones.
func (r *Responses) homecoming(up time.Duration) bool {
	if r.water.flood.Within(r.tank.FloodWait(), up) {
		r.flooded = true
		return true
	}
	if r.flooded {
		r.flooded = false
		for i := range r.pools {
			r.pools[i].start(gathered{})
		}
		r.ph.clear()
		r.ec.clear()
	}
	return false
}

// schedule finds when the next pool is due.
func (r *Responses) schedule() {
	r.next = dosing.Never
	for i := range r.pools {
		p := &r.pools[i]
		if p.closed {
			r.next = min(r.next, p.judge)
		}
		if p.peek > 0 {
			r.next = min(r.next, p.peek)
		}
	}
	if r.pending {
		r.next = min(r.next, r.pendUntil)
	}
	if r.source.due > 0 {
		r.next = min(r.next, r.source.due)
	}
}

// buffer is the commissioned buffer capacity at the present pH, meq/L per pH.
func (e *evidence) buffer() float64 {
	at := 5.8
	if e.ph.has {
		at = e.ph.last
	}
	return e.curve.Buffer(at) * e.capacity()
}

// capacity is the commissioned buffer capacity ÷ the curve's.
func (e *evidence) capacity() float64 {
	if scale := e.tank.BufferScale; scale > 0 {
		return scale
	}
	return 1
}

// RichEC is how many times as much the stocks do where slow water looks like a weak buffer.
const RichEC = 1.3

// SlowWaterWords asks for what nobody stated.
const SlowWaterWords = "part of the water answers late: state its zones (ponds, rafts, long channels) with what they hold and exchange_time, or quick_share; less water than was stated looks like that, too"
