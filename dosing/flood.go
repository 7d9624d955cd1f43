package dosing

import (
	"math"
	"time"
)

// Flood follows water of a tank that is out on a bench and comes home. The switch
// tells when water is out; many a switch goes back when the bench begins to drain, and
// the return then takes minutes more. So the water is home only when the level has
// come to rest. The zero value knows of no flood.
type Flood struct {
	ever, rests bool
	seen        time.Duration // when water was last known to be out
	home        time.Duration // when the level came to rest after that
	least       float64       // L, the lowest level since the water went out
	levels      [floodReadings]float64
	times       [floodReadings]time.Duration
	kept        int
	scatter     float64 // variance of a level in calm water, L²
}

const (
	// floodReadings within the gauge's scatter are a level at rest. They are taken this
	// far apart at least: what a slow drain brings in between must show.
	floodReadings = 3
	floodApart    = 10 * time.Second
	// floodStill is the share of the volume within which a level rests however quiet its
	// gauge is, and floodRange how many deviations of a gauge three readings may span.
	floodStill = 0.002
	floodRange = 2
	// floodRough is the largest difference, as a share of the volume, that is taken for
	// the gauge's scatter: top-up and floods move the level, too.
	floodRough = 0.02
	// floodLeast is the shortest wait after a flood.
	floodLeast = 2 * time.Minute
)

// FloodWait is how long after a flood the water is given to mix, counted from the
// moment at which the level came to rest: θ + τ, at least two minutes.
func (t Tank) FloodWait() time.Duration { return max(t.DeadTime+t.TimeConstant, floodLeast) }

// Out tells that a switch said at up that water is out.
func (f *Flood) Out(up time.Duration) {
	if !f.Away() {
		f.least = math.Inf(1)
	}
	f.ever, f.rests, f.seen, f.kept = true, false, max(f.seen, up), 0
}

// Level takes a level of a tank of that volume.
func (f *Flood) Level(litres float64, volume Litres, up time.Duration) {
	newest := max(f.kept-1, 0)
	if f.kept > 0 && up-f.times[newest] < floodApart {
		return
	}
	if f.kept > 0 && !f.Away() {
		off := min(math.Abs(litres-f.levels[newest]), floodRough*float64(volume))
		f.scatter += float64((float64(off*off)/2 - f.scatter) / 16)
	}
	if f.kept == floodReadings {
		copy(f.levels[:], f.levels[1:])
		copy(f.times[:], f.times[1:])
		f.kept--
	}
	f.levels[f.kept], f.times[f.kept] = litres, up
	f.kept++
	if !f.Away() {
		return
	}
	f.least = min(f.least, litres)
	least, most := litres, litres
	for _, level := range f.levels[:f.kept] {
		least, most = min(least, level), max(most, level)
	}
	still := max(floodStill*float64(volume), floodRange*math.Sqrt(f.scatter))
	if f.kept == floodReadings && most-least <= still {
		f.rests, f.home = true, up
	}
}

// Away says that water is out or still comes home.
func (f *Flood) Away() bool { return f.ever && !f.rests }

// Within says that water is away, or came home less than wait ago.
func (f *Flood) Within(wait, up time.Duration) bool {
	return f.ever && (!f.rests || up-f.home < wait)
}

// Returned is how much has come home so far of a flood that is away, in litres.
func (f *Flood) Returned() float64 {
	if !f.Away() || f.kept == 0 {
		return 0
	}
	return max(f.levels[f.kept-1]-f.least, 0)
}
