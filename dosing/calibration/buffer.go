package calibration

import (
	"errors"
	"fmt"
	"math"
	"time"

	"leat/dosing"
)

// Buffer is what a titration found of a tank's water and of how it mixes.
type Buffer struct {
	LnScale      float64       // ln(true ÷ commissioned buffer capacity)
	Spread       float64       // its standard uncertainty, as a share of the capacity
	DeadTime     time.Duration // θ: dose to first response
	TimeConstant time.Duration // τ: mixing lag after it
	Doses        int
	Moved        float64 // pH, by all doses together
}

// Titrant gathers the readings and doses of one titration. Amounts are meq/L of acid in the
// water that answers within a mixing time, negative for base.
type Titrant struct {
	curve    dosing.Titration
	capacity float64 // commissioned buffer capacity ÷ the curve's
	plant    dosing.Tank
	width    time.Duration
	bins     []titrantBin
	doses    []titrantDose
	before   []titrantDose // on their way when it began
	other    bool          // of the next bin
	fits     bool          // best and fault are of what came so far
	best     Buffer
	fault    error
}

type titrantBin struct {
	other bool    // the level may be any other from here on
	sum   float64 // of acid needed to the reference, meq/L
	count float64
	at    float64 // h since the first reading, of its middle
}

type titrantDose struct {
	at   float64 // h since the first reading
	acid float64
}

// MostDoses is how many a titration takes at most.
const MostDoses = 6

// How finely readings are kept, and how much: a titration that takes longer is given up.
const (
	binsPerMixing = 24
	mostBins      = 1200
	leastDoses    = 3
	reference     = 5.8 // pH from which acid needed is counted; any would do
	// Times from a fifth to four times the told ones are tried, in steps of a quarter.
	timesFrom, timesTo, timesStep = 0.2, 4.0, 1.25
	// Above this the answer says no more than what was believed without it.
	unsureMost = 0.3
	// With so little doubt, or so far moved, no more doses are given.
	sureEnough = 0.12
	movedMost  = 0.25 // pH
	// What pumps repeat to, whatever the probe says.
	pumpShare = 0.03
	// Plants and air move pH by some such in an hour.
	driftPH = 0.3
	// By so much a probe wanders within an hour or two.
	wanderPH = 0.01
	// A dose is to move pH by a step. No dose is more than so many times the one before, whatever is thought of the buffer.
	// One that did not show is followed by a little more.
	stepPH    = 0.05
	growMost  = 3.0
	blindGrow = 1.5
)

// wanders are by how much the level may walk from bin to bin, in variances of one reading.
var wanders = [...]float64{0, 1e-4, 1e-3, 1e-2, 1e-1, 1}

// vague is the variance of what is not known at all, in variances of one reading.
const vague = 1e9

// NewTitrant begins a titration of a tank of the given curve.
func NewTitrant(plant dosing.Tank, curve dosing.Titration) *Titrant {
	capacity := plant.BufferScale
	if !(capacity > 0) {
		capacity = 1
	}
	return &Titrant{curve: curve, capacity: capacity, plant: plant, width: max(plant.MixingTime()/binsPerMixing, time.Second)}
}

// Read takes a reading of pH, in order of time since the titration began.
func (t *Titrant) Read(since time.Duration, pH float64) {
	if since < 0 || !(pH > 2 && pH < 12) {
		return
	}
	t.fits = false
	index := int(since / t.width)
	for len(t.bins) <= index && len(t.bins) < mostBins {
		t.bins = append(t.bins, titrantBin{at: (time.Duration(len(t.bins))*t.width + t.width/2).Hours()})
	}
	if index < len(t.bins) {
		t.bins[index].other = t.bins[index].other || t.other
		t.other = false
		t.bins[index].sum += t.capacity * t.curve.AcidNeeded(pH, reference)
		t.bins[index].count++
	}
}

// Break says that water came in or home before the next reading, which may have moved pH by any amount.
func (t *Titrant) Break() { t.other = true }

// Give takes a dose by the middle of its run.
func (t *Titrant) Give(since time.Duration, acid float64) {
	t.fits = false
	t.doses = append(t.doses, titrantDose{at: since.Hours(), acid: acid})
}

// Before takes a dose that was on its way when the titration began.
func (t *Titrant) Before(since time.Duration, acid float64) {
	t.fits = false
	t.before = append(t.before, titrantDose{at: since.Hours(), acid: acid})
}

// Doses is how many were given.
func (t *Titrant) Doses() int { return len(t.doses) }

// Next is the amount of the next dose at a pH, meq/L: a step of pH in the weakest buffer that is credible after the answers so far.
func (t *Titrant) Next(pH float64) float64 {
	commissioned := t.curve.Buffer(pH) * t.capacity
	if len(t.doses) == 0 {
		return stepPH * commissioned * math.Exp(-t.plant.StartSpread())
	}
	last := math.Abs(t.doses[len(t.doses)-1].acid)
	b, _ := t.fitted()
	if !(b.Spread > 0) {
		return blindGrow * last
	}
	return min(stepPH*commissioned*math.Exp(b.LnScale-b.Spread), growMost*last)
}

// Enough says that no more doses are wanted.
func (t *Titrant) Enough() bool {
	if len(t.doses) < leastDoses || len(t.doses) >= MostDoses {
		return len(t.doses) >= MostDoses
	}
	b, err := t.fitted()
	return err == nil && (b.Spread <= sureEnough || b.Moved >= movedMost)
}

// arrived is the share of a dose that a probe sees after hours: a dead time, an approach, and
// the slow leak of it into water that answers late.
func (t *Titrant) arrived(hours, deadTime, lag float64) float64 {
	after := hours - deadTime
	if after <= 0 {
		return 0
	}
	share := 1 - math.Exp(-after/lag)
	if slow, exchange := t.plant.Slow, t.plant.Exchange.Hours(); slow > 0 && exchange > 0 {
		share -= float64(slow * (1 - math.Exp(-after/(slow*exchange+lag))))
	}
	return share
}

// Result is what the answers say, and why they say nothing.
func (t *Titrant) Result() (Buffer, error) {
	b, err := t.fitted()
	switch {
	case err != nil:
		return b, err
	case len(t.doses) < leastDoses:
		return b, fmt.Errorf("%d doses were answered, and a titration needs %d", len(t.doses), leastDoses)
	case b.Spread > unsureMost:
		return b, fmt.Errorf("the buffer capacity is known to ±%.0f %% only, which is no better than what was believed without it", 100*b.Spread)
	}
	return b, nil
}

// fitted is the fit of what was read and given so far: it is asked for each second, and readings come more seldom.
func (t *Titrant) fitted() (Buffer, error) {
	if !t.fits {
		t.best, t.fault = t.fitAnew()
		t.fits = true
	}
	return t.best, t.fault
}

// fitAnew follows a level that wanders, a steady drift and one ratio of what the doses did to what was
// predicted, for dead times, lags and wanders each weighed by how likely they make the readings.
func (t *Titrant) fitAnew() (Buffer, error) {
	b := Buffer{Doses: len(t.doses)}
	var fits []fitOf
	most := math.Inf(-1)
	for d := timesFrom; d <= timesTo; d *= timesStep {
		for l := timesFrom; l <= timesTo; l *= timesStep {
			course := t.course(d, l)
			for _, wander := range wanders {
				if f, ok := t.fit(course, wander); ok {
					f.deadTime, f.lag = d, l
					f.likely -= square(math.Log(d)/math.Ln2)/2 + square(math.Log(l)/math.Ln2)/2 // as commissioned, within a factor of two
					fits, most = append(fits, f), max(most, f.likely)
				}
			}
		}
	}
	if len(fits) == 0 {
		return b, errors.New("too few readings came while it went on")
	}
	var weight, ratio, squares, deadTime, lag float64
	for _, f := range fits {
		w := math.Exp(f.likely - most)
		weight += w
		ratio += float64(w * f.ratio)
		squares += float64(w * (square(f.ratio) + f.variance))
		deadTime += float64(w * f.deadTime)
		lag += float64(w * f.lag)
	}
	ratio /= weight
	sd := math.Sqrt(max(squares/weight-square(ratio), 0))
	if !(ratio > 2*sd) {
		return b, errors.New("pH did not follow the doses beyond what it does by itself: look at the probe, its water and the pump before anything else")
	}
	b.LnScale = -math.Log(ratio)
	b.DeadTime = time.Duration(deadTime / weight * float64(t.plant.DeadTime)).Round(time.Second)
	b.TimeConstant = time.Duration(lag / weight * float64(t.lag())).Round(time.Second)
	b.Moved = t.moved(ratio)
	b.Spread = math.Hypot(math.Hypot(sd/ratio, pumpShare), wanderPH/max(b.Moved, wanderPH))
	return b, nil
}

// moved is by how much all doses changed pH from where the last readings stand.
func (t *Titrant) moved(ratio float64) float64 {
	sum := 0.0
	for _, d := range t.doses {
		sum += d.acid
	}
	for i := len(t.bins) - 1; i >= 0; i-- {
		if last := t.bins[i]; last.count > 0 {
			now := t.curve.PHAfter(reference, -last.sum/last.count/t.capacity)
			return math.Abs(t.curve.PHAfter(now, -sum*ratio/t.capacity) - now)
		}
	}
	return 0
}

// noise is what one reading is taken to scatter by, pH, where only its size beside other things counts.
func (t *Titrant) noise() float64 {
	if t.plant.PHNoise > 0 {
		return t.plant.PHNoise
	}
	return 0.02
}

func square(x float64) float64 { return float64(x * x) }

// lag is the commissioned mixing lag, of which multiples are tried.
func (t *Titrant) lag() time.Duration { return max(t.plant.TimeConstant, time.Second) }

// fitOf is the answer at one dead time, lag and wander.
type fitOf struct {
	deadTime, lag   float64 // times the commissioned
	ratio, variance float64
	likely          float64 // ln of the likelihood, beside a constant
}

// course is what the doses should have changed acid needed by in each bin, as predicted.
func (t *Titrant) course(deadTimes, lags float64) []float64 {
	deadTime, lag := deadTimes*t.plant.DeadTime.Hours(), lags*t.lag().Hours()
	course := make([]float64, len(t.bins))
	for i, bin := range t.bins {
		for _, doses := range [...][]titrantDose{t.before, t.doses} {
			for _, d := range doses {
				course[i] -= float64(d.acid * t.arrived(bin.at-d.at, deadTime, lag))
			}
		}
	}
	return course
}

// fit runs a Kalman filter of level, drift and ratio over the bins. The scatter of the readings is not
// known: everything is counted in it, and its size follows from the innovations.
func (t *Titrant) fit(course []float64, wander float64) (f fitOf, ok bool) {
	var x [3]float64
	p := [3][3]float64{{vague}, {0, square(driftPH / t.noise())}, {0, 0, vague}}
	seen, squares, last := 0, 0.0, 0.0
	for i, bin := range t.bins {
		if bin.count == 0 {
			continue
		}
		hours := bin.at - last
		last = bin.at
		x[0] += float64(hours * x[1])
		p[0][0] += float64(2*float64(hours*p[0][1])) + float64(float64(hours*hours)*p[1][1]) + float64(wander*hours/t.width.Hours())
		if bin.other {
			p[0][0] += vague
		}
		p[0][1] += float64(hours * p[1][1])
		p[0][2] += float64(hours * p[1][2])
		p[1][0], p[2][0] = p[0][1], p[0][2]
		h := [3]float64{1, 0, course[i]}
		var ph [3]float64
		for i := range 3 {
			ph[i] = p[i][0] + float64(p[i][2]*h[2])
		}
		s := ph[0] + float64(h[2]*ph[2]) + 1/bin.count
		off := bin.sum/bin.count - x[0] - float64(h[2]*x[2])
		for i := range 3 {
			x[i] += float64(ph[i] / s * off)
			for j := range 3 {
				p[i][j] -= float64(ph[i] / s * ph[j])
			}
		}
		if s < vague/2 { // the first of each unknown only sets it
			squares += square(off) / s
			f.likely -= math.Log(s) / 2
			seen++
		}
	}
	if seen < binsPerMixing || !(squares > 0) {
		return f, false
	}
	variance := squares / float64(seen)
	f.ratio, f.variance = x[2], float64(p[2][2]*variance)
	f.likely -= float64(float64(seen) / 2 * math.Log(variance))
	return f, true
}
