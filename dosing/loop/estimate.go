package loop

import (
	"math"
	"time"

	"leat/dosing"
)

// straight is the titration curve of a quantity that simply adds up. EC is
// steered on it with the sign of acid: a dose of stock is a negative amount, so
// that one law serves both quantities.
type straight struct{}

func (straight) AcidNeeded(from, to float64) float64 { return from - to }
func (straight) PHAfter(from, acid float64) float64  { return from - acid }
func (straight) Buffer(float64) float64              { return 1 }

// Estimate is what is known about one tank and where it will come to rest.
// The zero value knows nothing and doses nothing.
type Estimate struct {
	Known   bool // pH and EC are both known and fresh
	PHKnown bool // an EC hold never blocks pH, so each is told apart
	ECKnown bool

	PH         dosing.PH           // settled: with what is in transit, entering top-up and drift over θ+τ
	EC         dosing.Conductivity // settled, likewise
	MeasuredPH dosing.PH           // filtered
	MeasuredEC dosing.Conductivity // filtered

	DriftAcid float64 // meq/L of acid needed per hour; positive = pH rises
	DriftEC   float64 // mS/cm per hour
	ApartAcid float64 // meq/L of acid needed by which the quick water stands above the slow; 0 = one water
	ApartEC   float64 // mS/cm likewise

	Away bool // water is out on a bench, or has not come to rest since

	LnBuffer       float64 // ln(true ÷ commissioned buffer capacity), as learned
	LnBufferSpread float64 // its standard deviation
	ECGain         float64 // true ÷ predicted effect of stock on EC, as learned
	Answered       int     // pooled doses whose response was learned from

	AcidInTransit float64 // meq/L, positive lowers pH
	BaseInTransit float64 // meq/L, a positive amount
	ECInTransit   float64 // mS/cm
}

// Bounds and starting spreads of what is learned. Water whose carbonate nobody told
// us of buffers up to five times what was commissioned; the gate believes three.
const (
	ln3             = 1.0986122886681098
	ln5             = 1.6094379124341003
	startSpreadEC   = 0.15            // sd of ln(EC gain): pumps are within about ±15 %
	leastSpread     = 0.08            // below this the model's own faults are larger
	answerPH        = 0.05            // pooled effect that counts as one answer, pH
	answerEC        = 0.05            // the same, mS/cm
	blockTime       = 5 * time.Second // readings are averaged over this before the filter runs
	shortestStale   = 15 * time.Second
	longestStale    = 120 * time.Second
	blocksBeforeUse = 3
)

// tuning is what differs between the pH and the EC observer.
type tuning struct {
	startGain  float64 // sd of ln(scale) before any answer, and at most
	startDrift float64 // sd of the drift, amount per hour
	driftBound float64 // largest drift believed, amount per hour
	driftWalk  float64 // variance per hour of the drift
	valueWalk  float64 // variance per hour of the value
	gainWalk   float64 // variance per hour of ln(scale)
	gainMost   float64 // bound of ln(scale) upward; downward it is ln 3, or what a strong answer showed
	timing     float64 // share of an arrival that may come early or late
	resolution float64 // variance that averaging does not remove
	answer     float64 // effect that counts as one answer
	fraction   float64 // of the settled need that is dosed at a time
}

// The drift bound for acid is the biology shock of the fault list, 0.5 meq/L/h;
// what is more is an alarm, not an integral.
var (
	tuningPH = tuning{startGain: dosing.UnmeasuredSpread, startDrift: 0.05, driftBound: 0.5, driftWalk: 0.01, valueWalk: 4e-4,
		gainWalk: 2e-2, gainMost: ln5, timing: 0.5, resolution: 9e-6, answer: answerPH, fraction: 0.8}
	tuningEC = tuning{startGain: startSpreadEC, startDrift: 0.02, driftBound: 0.2, driftWalk: 4e-4, valueWalk: 1e-5,
		gainWalk: 4e-4, gainMost: ln3, timing: 0.3, resolution: 9e-6, answer: answerEC, fraction: 0.8}
)

// observer estimates one quantity of one tank: its value, its steady drift and
// the logarithm of its buffer scale, by an extended Kalman filter. The model is
// an integrator with known gain: value' = curve(value, (drift·dt − arrived) ÷
// (scale·e^gain)). Known doses enter as known, so the drift is what is left over
// and cannot wind up while doses are withheld.
type observer struct {
	curve  dosing.Titration
	scale  float64 // commissioned buffer capacity ÷ the curve's
	noise  float64 // variance of one reading
	tuning tuning

	value, drift, gain float64
	// Variances and covariances of (value, drift, gain).
	vv, vd, vg, dd, dg, gg float64

	at       time.Duration // uptime of the state
	blocks   int           // updates since the state was last lost
	sum      float64       // readings of the block being gathered
	count    int
	strikes  int     // blocks in a row far off on the same side
	side     float64 // that side
	pooled   float64 // effect of doses since the last answer
	answered int

	least          float64 // bound of ln(scale) downward
	untaught, bold bool    // see Without

	entering float64 // amount that top-up still brings in; positive = value rises
	waters   waters
}

func newObserver(curve dosing.Titration, scale, noise float64, t tuning) observer {
	o := observer{curve: curve, scale: scale, noise: float64(noise * noise), tuning: t, least: -ln3}
	o.resetDrift()
	o.resetGain()
	return o
}

func (o *observer) resetGain() {
	o.gain, o.gg, o.dg, o.vg = 0, float64(o.tuning.startGain*o.tuning.startGain), 0, 0
	o.answered, o.pooled, o.least = 0, 0, -ln3
}

// measured takes the buffer capacity for as sure as it was measured.
func (o *observer) measured(spread float64) {
	o.tuning.startGain = spread
	o.gg = min(o.gg, float64(spread*spread))
}

func (o *observer) resetDrift() {
	o.dd, o.dg, o.vd = float64(o.tuning.startDrift*o.tuning.startDrift), 0, 0
}

// capacity is the present scale between the curve's amounts and true ones.
func (o *observer) capacity() float64 { return float64(o.scale * dosing.Exponential(o.gain)) }

// spread is the standard deviation of ln(scale).
func (o *observer) spread() float64 { return min(math.Sqrt(o.gg), o.tuning.startGain) }

// caution is how much lower than the learned one the buffer may well be.
func (o *observer) caution() float64 {
	if o.bold {
		return 1
	}
	return dosing.Exponential(-o.spread())
}

// gather adds a reading and says whether a block is full.
func (o *observer) gather(value float64, up time.Duration) bool {
	if o.blocks > 0 && up <= o.at {
		return false
	}
	o.sum += value
	o.count++
	return o.blocks == 0 || up-o.at >= blockTime
}

// forgetBlock drops the block being gathered: an invalid reading stood in it.
func (o *observer) forgetBlock() { o.sum, o.count = 0, 0 }

// begin starts from a first value, or anew after a gap in which nothing was
// measured. What was learned of drift and buffer stays.
func (o *observer) begin(value float64, variance float64, up time.Duration) {
	o.value, o.vv, o.vd, o.vg = value, variance, 0, 0
	o.at, o.blocks, o.strikes = up, 1, 0
	o.forgetBlock()
}

// update ends a block at up. arrived is the net amount that doses brought to the
// probes since the last block, gross the same without signs, entered what top-up
// brought. While learning is false only the value is corrected. It reports false
// when the readings moved as no dose explains and the state started anew.
func (o *observer) update(up time.Duration, arrived, gross, entered float64, learning bool) (explained bool) {
	measured := o.sum / float64(o.count)
	variance := o.noise/float64(o.count) + o.tuning.resolution
	o.forgetBlock()
	elapsed := up - o.at
	hours := elapsed.Hours()
	o.at = up

	capacity := o.capacity()
	slope := o.curve.Buffer(o.value) * capacity
	leaked := o.waters.pass(elapsed, entered-arrived)
	net := float64(o.drift*hours) + entered - arrived - leaked
	o.value = o.curve.PHAfter(o.value, -net/capacity)
	effect := gross / slope
	o.doubtLeak()
	o.predict(hours, hours/slope, -net/slope, effect, learning)

	innovation, trusted := o.weigh(measured-o.value, o.vv+variance)
	if !trusted {
		o.begin(measured, variance, up)
		o.blocks = blocksBeforeUse
		return false
	}
	o.correct(innovation, variance, learning && o.strikes == 0)
	if learning && o.strikes == 0 {
		// By the commissioned capacity, as it was predicted before any answer.
		o.pooled += float64(effect * dosing.Exponential(o.gain))
		if o.pooled >= o.tuning.answer {
			o.pooled = 0
			o.answered++
		}
	}
	if o.blocks < blocksBeforeUse {
		o.blocks++
	}
	return true
}

// doubtLeak counts half of what leaks as unsure drift: share and exchange time are told to
// within a factor of one and a half at best.
func (o *observer) doubtLeak() {
	if rate := o.waters.perHour(); rate != 0 {
		doubt := min(math.Abs(rate)/2, o.tuning.driftBound)
		o.dd = max(o.dd, float64(doubt*doubt))
	}
}

// predict carries the covariances over one block; a and c are the value's
// derivatives by drift and gain.
func (o *observer) predict(hours, a, c, effect float64, learning bool) {
	t := &o.tuning
	early := float64(t.timing * effect)
	o.vv += float64(t.valueWalk*hours) + float64(early*early)
	o.dd = min(o.dd+float64(t.driftWalk*hours), float64(t.driftBound*t.driftBound))
	o.gg = min(o.gg+float64(t.gainWalk*hours), float64(t.startGain*t.startGain))
	if !learning {
		// What happens while frozen must teach nothing afterwards either.
		o.vd, o.vg, o.dg = 0, 0, 0
		return
	}
	o.vv += float64(2*float64(a*o.vd)) + float64(2*float64(c*o.vg)) + float64(float64(a*a)*o.dd) +
		float64(float64(2*float64(a*c))*o.dg) + float64(float64(c*c)*o.gg)
	o.vd += float64(a*o.dd) + float64(c*o.dg)
	o.vg += float64(a*o.dg) + float64(c*o.gg)
}

// weigh bounds an innovation. One block far off is held back; the fourth in a row
// on one side is a fact that no dose explains, and the state starts anew from it
// rather than calling it drift or a weak buffer.
func (o *observer) weigh(innovation, variance float64) (bounded float64, trusted bool) {
	far := 5 * math.Sqrt(variance)
	if math.Abs(innovation) <= far {
		o.strikes = 0
		return innovation, true
	}
	side := math.Copysign(1, innovation)
	if side != o.side {
		o.strikes = 0
	}
	o.side = side
	o.strikes++
	if o.strikes >= 4 || innovation != innovation {
		return 0, false
	}
	return float64(0.6 * float64(side*far)), true
}

// correct applies one innovation.
func (o *observer) correct(innovation, variance float64, learning bool) {
	total := o.vv + variance
	kv, kd, kg := o.vv/total, o.vd/total, o.vg/total
	if o.untaught {
		kg = 0
	}
	o.value += float64(kv * innovation)
	if !learning {
		o.vv -= float64(kv * o.vv)
		o.vd -= float64(kv * o.vd)
		o.vg -= float64(kv * o.vg)
		return
	}
	bound := o.tuning.driftBound
	o.drift = max(-bound, min(bound, o.drift+float64(kd*innovation)))
	o.gain = max(o.least, min(o.tuning.gainMost, o.gain+float64(kg*innovation)))
	o.dd -= float64(kd * o.vd)
	o.dg -= float64(kd * o.vg)
	o.gg = max(o.gg-float64(kg*o.vg), leastSpread*leastSpread)
	o.vd -= float64(kv * o.vd)
	o.vg -= float64(kv * o.vg)
	o.vv -= float64(kv * o.vv)
}

// enter releases what part of the entering top-up was mixed in over elapsed.
func (o *observer) enter(elapsed, lag time.Duration) float64 {
	if o.entering == 0 {
		return 0
	}
	left := 0.0
	if lag > 0 {
		left = float64(o.entering * dosing.Exponential(-float64(elapsed)/float64(lag)))
	}
	released := o.entering - left
	o.entering = left
	return released
}
