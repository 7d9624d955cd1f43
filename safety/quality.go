package safety

import (
	"math"
	"time"

	"leat/dosing"
)

// Numbers of the table of readings in the safety specification.
const (
	freshLeast   = 15 * time.Second  // a reading this young is fresh, unless the plant is faster
	freshMost    = 120 * time.Second // one this old never is
	freshPeriods = 3                 // missed readings that make a probe stale

	jumpLimit  = 0.3              // pH or mS/cm within jumpWithin, with nothing in transit
	jumpWithin = 10 * time.Second // and in proportion beyond
	jumpsFail  = 3                // in a row
	// Water in a tank does not rise or fall by so much of the volume between two readings
	// of its gauge, nor in the time that leapt readings take to be believed.
	leapShare = 0.15
	// jumpDosed is the limit while a dose is on its way: the in-transit caps let no
	// more than 0.30 pH or 0.20 mS/cm be there.
	jumpDosed = 0.6
	// What EC may fall by where no water came in: plants take a hundredth of this. A
	// bubble in the cell, or dirt, takes a third of the reading.
	fallLeast = 0.1 // mS/cm
	fallShare = 0.1 // of the reading
	// A probe that jumped and stays at its new value is believed again after this
	// much steadiness: somebody poured something in. A jump of more than jumpDosed
	// is believed only when a person says so: broken glass reads a steady 7.
	steadyFor   = time.Minute
	steadyCount = 6

	flatFor    = 10 * time.Minute
	flatSpread = 0.2 // of the commissioned noise
	flatLeast  = 5   // readings: fewer in flatFor prove nothing

	roughTimes  = 3.5  // noise above this multiple of the commissioned is no measurement
	roughCalm   = 2.5  // and below this it is one again
	roughMemory = 20   // readings
	roughClip   = 20.0 // times the commissioned noise: less would cut off what five times the noise does

	rejectsFail = 3 // payloads in a row that were none

	disagreeFor = 5 * time.Minute

	smoothOver = 15 * time.Second // the gate's own smoothing against noise
)

// disagreement is how far two probes of a quantity may lie apart; 0 = not tested.
var disagreement = [dosing.QuantityCount]float64{dosing.QuantityPH: 0.15, dosing.QuantityEC: 0.15, dosing.QuantityTemperature: 2}

// plausible is the range in which a value is believed unless the configuration
// names another.
var plausible = [dosing.QuantityCount][2]float64{
	dosing.QuantityPH: {3.5, 9.5}, dosing.QuantityEC: {0.05, 10}, dosing.QuantityTemperature: {2, 45},
	dosing.QuantityLevel: {0, 1e6}, dosing.QuantityRedox: {-500, 1200}, dosing.QuantityStockLevel: {0, 1e6},
	dosing.QuantityOxygen: {0, 25}, dosing.QuantityZoneFlow: {0, 1e4}, dosing.QuantityZoneLevel: {0, 1e5}, dosing.QuantityFilterPressure: {0, 600},
	dosing.QuantityLineFlow: {0, 1e4}, dosing.QuantityUVIntensity: {0, 200}, dosing.QuantityLampHours: {0, 1e5}, dosing.QuantityUVTransmittance: {1, 100},
}

// Freshness is how old a reading of this input may be for a dose: three periods,
// at least 15 s, at most 2 min, and for pH and EC never more than half of dead time and
// mixing lag, since an older reading knows nothing of the last dose. What a dose does not
// move may be older: in a tank that mixes within seconds a switch that is sent every ten
// would be stale each time.
// A configuration should send each input at least three times as often.
func Freshness(in Input, tank dosing.Tank) time.Duration {
	limit := min(max(freshLeast, freshPeriods*in.Period), freshMost)
	if in.Tank != dosing.AllTanks && (in.Quantity == dosing.QuantityPH || in.Quantity == dosing.QuantityEC) {
		limit = min(limit, (tank.DeadTime+tank.TimeConstant)/2)
	}
	return limit
}

// ProbeHealth judges a pH probe by its last calibration: slope in % of the
// theoretical, offset in mV. A slope of 0 was never measured and is not judged.
func ProbeHealth(slope, offset float64) dosing.Quality {
	if slope == 0 && offset == 0 {
		return dosing.QualityGood
	}
	off := math.Abs(offset)
	switch {
	case slope != 0 && !(slope >= 90 && slope <= 105) || !(off <= 30):
		return dosing.QualityOutOfSpecification
	case slope != 0 && !(slope >= 95 && slope <= 102) || !(off <= 20):
		return dosing.QualityMaintenanceRequired
	}
	return dosing.QualityGood
}

// CellHealth judges a conductivity cell by the factor that its last calibration found.
// Common practice, from memory: a cell that reads more than a tenth off is dirty, one that
// reads a quarter off measures something else.
func CellHealth(factor float64) dosing.Quality {
	switch {
	case !(factor >= 0.75 && factor <= 1.33):
		return dosing.QualityOutOfSpecification
	case !(factor >= 0.9 && factor <= 1.1):
		return dosing.QualityMaintenanceRequired
	}
	return dosing.QualityGood
}

// fault says why a reading is not fit.
type fault uint8

const (
	faultNone fault = iota
	faultRange
	faultEdge
	faultJump
	faultLeap
	faultFlat
	faultRough
	faultSteps
	faultCount
)

var faultTexts = [faultCount]string{"", "outside the plausible range",
	"barely inside the plausible range, outside which it was a moment ago", "jumped further than any dose explains",
	"moved further than water does; it is believed if it stays for half a minute",
	"flat for ten minutes although the probe is noisy", "far noisier than when commissioned",
	"moves in steps, as a dead electrode does and water does not"}

// inputState is what the watch keeps of one input.
type inputState struct {
	fitted    bool
	probe     bool    // pH and EC: tested for jumps and flat lines
	leap      float64 // of a level, L: more than water moves between two readings; 0 = not tested
	quantity  dosing.Quantity
	tank      dosing.TankID
	limit     time.Duration // freshness
	low, high float64
	noise     float64 // commissioned sd with the resolution's share; 0 = not measured
	lively    bool    // noisy enough that a flat line means a fault
	health    dosing.Quality

	shown bool // last holds something to show
	seen  bool // last is live, not the broker's stored copy
	last  dosing.Reading
	// quality and fault are of the last reading when it came.
	quality dosing.Quality
	fault   fault
	came    dosing.Quality // of the newest that arrived, kept or not
	fits    uint32         // fit readings in a row since the link came up

	based   bool    // a believed value exists
	base    float64 // the median of recent: one wild reading that was believed moves it by nothing
	baseAt  time.Duration
	recent  [lastsCount]float64 // the latest believed readings, in order of arrival
	kept    int                 // how many of them there are
	founded time.Duration       // when the first of them came
	smooth  float64
	arrived [lastsCount]time.Duration // of the latest readings, believed or not; the oldest first

	sequence, restart uint64
	jump              jumpState
	steps             steps
	flat              flatState
	rise              float64 // from the reading before the last to the last
	hasRise           bool
	rough             float64 // variance from second differences
	isRough           bool
	load              load

	rejects    int
	rejectAt   time.Duration
	rejectText string
	blip       blip // of a switch
}

func newInputState(in *Input, tank dosing.Tank) inputState {
	i := inputState{quantity: in.Quantity, tank: in.Tank, low: in.Min, high: in.Max, fitted: in.NotFitted == ""}
	if in.Min == 0 && in.Max == 0 {
		i.low, i.high = plausible[min(in.Quantity, dosing.QuantityCount-1)][0], plausible[min(in.Quantity, dosing.QuantityCount-1)][1]
	}
	if in.Quantity.Switch() {
		i.low, i.high = 0, 1
	}
	i.limit = Freshness(*in, tank)
	if in.Quantity == dosing.QuantityLevel {
		i.leap = leapShare * float64(tank.Volume)
	}
	i.probe = in.Quantity == dosing.QuantityPH || in.Quantity == dosing.QuantityEC
	i.steps = newSteps(in.Quantity, tank)
	i.health = dosing.QualityGood
	if in.Quantity == dosing.QuantityPH {
		i.health = ProbeHealth(in.Slope, in.Offset)
	}
	if i.probe && in.Noise > 0 && in.Noise < 10 {
		i.lively = in.Noise > in.Step/2
		i.noise = math.Hypot(in.Noise, in.Step/math.Sqrt(12))
		i.rough = float64(i.noise * i.noise)
		i.flat.limit = flatSpread * in.Noise
	}
	return i
}

// reconfigure takes new limits and forgets what was judged by the old ones.
func (i *inputState) reconfigure(fresh inputState) {
	if fresh.quantity != i.quantity || fresh.tank != i.tank || fresh.fitted != i.fitted {
		*i = fresh
		return
	}
	i.limit, i.low, i.high, i.leap, i.health, i.steps.lag = fresh.limit, fresh.low, fresh.high, fresh.leap, fresh.health, fresh.steps.lag
	i.noise, i.lively, i.rough, i.isRough, i.flat = fresh.noise, fresh.lively, fresh.rough, false, fresh.flat
}

// take assesses a reading and keeps it if it is worth keeping. Moving says that
// something dosed is on its way, which explains a larger jump; watered that fresh water
// or a flood may be, which alone explains that EC falls.
func (i *inputState) take(r dosing.Reading, moving, watered bool) dosing.Quality {
	if r.Retained() {
		// The broker's stored copy may be of last week: shown, never used.
		if !i.seen {
			i.last, i.shown = r, true
		}
		return dosing.QualityFailure
	}
	at := r.At().Up
	if i.seen && at < i.last.At().Up || !i.advances(r.Sequence()) {
		return dosing.QualityFailure
	}
	i.rejects = 0
	i.arrived = [lastsCount]time.Duration{i.arrived[1], i.arrived[2], at}
	value := r.Value()
	if i.load.bad && i.load.on && i.quality.MayDose() {
		// It is alive, which is all that can be said while the pump runs.
		i.last, i.seen, i.shown = r, true, true
		return dosing.QualityOutOfSpecification
	}
	if i.probe && i.based {
		if keep, quality := i.jumps(r, value, at, moving, watered); !keep {
			return quality
		}
	}
	if i.leap > 0 && i.based && i.leaps(r, value, at) {
		return dosing.QualityOutOfSpecification
	}
	if i.quantity.Switch() {
		i.blip.note(stopsDoses(i.quantity, value), at)
	}
	i.steps.add(value, at, i.noise, moving && i.load.on || watered)
	i.keep(r, value, at)
	return min(i.quality, i.health)
}

// advances says whether the sender's counter moved on. A node that sends its
// cached reading again does not measure. A lower counter is believed when it
// rises in its turn: the sender restarted.
func (i *inputState) advances(sequence uint64) bool {
	if sequence == 0 {
		return true
	}
	if sequence > i.sequence || i.restart > 0 && sequence > i.restart {
		i.sequence, i.restart = sequence, 0
		return true
	}
	if sequence < i.sequence {
		i.restart = sequence
	}
	return false
}

// keep stores a reading with its quality.
func (i *inputState) keep(r dosing.Reading, value float64, at time.Duration) {
	if i.probe {
		i.roughness(value, at)
		i.flat.add(value, at)
	}
	was := i.fault
	i.quality, i.fault = dosing.QualityGood, faultNone
	switch {
	case !(value >= i.low && value <= i.high):
		i.quality, i.fault = dosing.QualityOutOfSpecification, faultRange
	case i.edges(was, value):
		i.quality, i.fault = dosing.QualityOutOfSpecification, faultEdge
	case i.lively && i.flat.is(at):
		i.quality, i.fault = dosing.QualityFailure, faultFlat
	case i.isRough:
		i.quality, i.fault = dosing.QualityOutOfSpecification, faultRough
	case i.steps.failed:
		i.quality, i.fault = dosing.QualityFailure, faultSteps
	}
	if i.quality.MayDose() {
		i.load.read(value, at)
		gap := float64(at - i.baseAt)
		i.believe(value, at)
		if i.kept == 1 || gap > float64(i.limit) {
			i.smooth = i.base
		} else {
			i.smooth += float64((value - i.smooth) * (gap / (gap + float64(smoothOver))))
		}
		i.fits++
	} else {
		i.fits = 0
	}
	i.last, i.seen, i.shown = r, true, true
}

// fitness is how an input or a group of inputs stands now.
type fitness uint8

const (
	standMissing fitness = iota // no live reading ever came
	standStale
	standInvalid
	standDisagree
	standFit
)

// now judges the last reading as of now, its age included.
func (i *inputState) now(up time.Duration) (dosing.Quality, fitness) {
	if !i.seen {
		return dosing.QualityFailure, standMissing
	}
	age := up - i.last.At().Up
	switch {
	case age < 0: // from the future
		return dosing.QualityFailure, standInvalid
	case i.rejects >= rejectsFail && up-i.rejectAt <= i.limit:
		// It sends, but nothing that could be used: not the network's fault.
		return dosing.QualityFailure, standInvalid
	case age > i.limit:
		return dosing.QualityFailure, standStale
	case i.rejects >= rejectsFail:
		return dosing.QualityFailure, standInvalid
	}
	quality := min(i.quality, i.health)
	if !quality.MayDose() {
		return quality, standInvalid
	}
	return quality, standFit
}

// doubt says why the newest reading was not valid for dosing when it came, and why the
// input is not now; "" = it is.
func (i *inputState) doubt(up time.Duration) (came, stands string) {
	if why := i.why(up); !i.came.MayDose() {
		if came = why; why == "" {
			came = faultTexts[faultJump] // thrown away, and the last one stands
		}
	}
	switch quality, standing := i.now(up); {
	case standing == standMissing, standing == standStale:
		stands = "no reading that is young enough"
	case !quality.MayDose():
		stands = i.why(up)
	}
	return came, stands
}

// why says in words why the last reading is not fit.
func (i *inputState) why(up time.Duration) string {
	switch {
	case !i.seen:
		return "no reading yet"
	case up < i.last.At().Up:
		return "the reading is from the future"
	case i.rejects >= rejectsFail:
		return i.rejectText
	case i.fault != faultNone:
		return faultTexts[i.fault]
	case !i.health.MayDose():
		return "the probe's slope or offset is beyond its limits"
	}
	return ""
}
