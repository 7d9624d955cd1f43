package safety

import (
	"math"
	"time"

	"leat/dosing"
)

// The level of a container tells what left it, whatever pH and EC say: reagent that siphons through a
// pump that stands, tank water that comes back into a stock, a pump that gives more than it counts.
// Each minute's mean, its highest and lowest reading left out, is compared with what was counted since a reference. A person who fills or
// changes the container moves its level at once; what nobody did is slow.
const (
	drainMean     = time.Minute
	drainLeast    = 5     // readings in a mean: one wild sample is no event
	drainUnsure   = 4.0   // scatters and steps of the gauge that say nothing
	drainFinest   = 0.001 // of the container likewise,
	drainDrop     = 0.01  // and L
	drainOff      = 0.35  // share by which a pump may be off that was never compared
	drainOffUsual = 0.2   // and one whose usual rate the container has shown
	drainLearned  = 20.0  // times what the gauge leaves unsure, from which a rate is known
	drainHand     = 0.02  // share of the container that only a person moves within a minute
)

// drain compares the level of a pump's container with what the pump was told to give.
type drain struct {
	begun     bool
	reference float64 // L
	given     float64 // L counted since
	rests     bool    // nothing was dosed
	rested    float64 // since the level was this

	sum, count float64 // of the present mean
	low, high  float64 // in it
	from       time.Duration
	last       float64 // the mean before
	drawn      dosing.Volume
	usual      float64 // what left ÷ what was counted; 0 = not known
}

// loss is what a container lost for which nothing accounts.
type loss uint8

const (
	lossNone   loss = iota
	lossFills       // it fills by itself
	lossDrains      // it empties without doses
	lossMore        // doses take more out of it than they count
)

// read takes a level and what was counted so far and says what is wrong.
func (d *drain) read(level float64, up time.Duration, drawn dosing.Volume, unsure, size float64) loss {
	if drawn != d.drawn {
		// A dose under way is counted already.
		d.given += (drawn - d.drawn).Litres()
		d.drawn, d.sum, d.count, d.from, d.rests = drawn, 0, 0, up+drainMean, false
	}
	if up < d.from {
		return lossNone
	}
	if d.count == 0 {
		d.low, d.high = level, level
	}
	d.sum, d.count, d.low, d.high = d.sum+level, d.count+1, min(d.low, level), max(d.high, level)
	if up-d.from < drainMean || d.count < drainLeast {
		return lossNone
	}
	mean := (d.sum - d.low - d.high) / (d.count - 2)
	d.sum, d.count, d.from = 0, 0, up
	was := d.last
	d.last = mean
	if !d.begun || math.Abs(mean-was) > max(drainHand*size, 2*unsure)+float64((1+drainOff)*d.given) {
		d.refer(mean)
		return lossNone
	}
	if !d.rests {
		d.rests, d.rested = true, mean
	}
	return d.judge(mean, unsure)
}

// refer compares with this level from here on.
func (d *drain) refer(level float64) {
	d.begun, d.reference, d.given, d.rests = true, level, 0, false
}

func (d *drain) judge(level, unsure float64) loss {
	lost, rate, off := d.reference-level, 1.0, drainOff
	if d.usual > 0 {
		rate, off = d.usual, drainOffUsual
	}
	expected := d.given * rate
	switch {
	case lost < -unsure:
		return lossFills
	case d.rests && d.rested-level > unsure, lost > float64(2*expected)+unsure:
		return lossDrains
	case lost > expected+float64(off*expected)+unsure:
		return lossMore
	}
	if d.given > drainLearned*unsure {
		if lost > 0 {
			d.usual = lost / d.given
		}
		d.refer(level)
	}
	return lossNone
}

// served says that somebody works on a pump or on all tanks that it serves.
func (st *state) served(pump *dosing.Pump) bool {
	for i := range st.tanks {
		if pump.ServesTank(dosing.TankID(i)) && (st.tanks[i].operator.Maintenance || st.tanks[i].operator.Cleaning) {
			return true
		}
	}
	return false
}
