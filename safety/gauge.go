package safety

import (
	"fmt"
	"math"
	"time"

	"leat/dosing"
)

// A gauge that is stuck says that the tank is full while the plants drink it empty. Its
// readings scatter and stand well; only the water tells. What is let in raises the level,
// and by about as much in a second as the last times: when the valve has run for long
// enough to show and the level has moved neither way, the gauge is stuck or no water came.
const (
	gaugeShare = 0.005 // of the volume: what must have come in, by the usual rate
	gaugeClear = 3.0   // and how many times what the gauge leaves unsure
	gaugeSteps = 3.0   // scatters and steps of the gauge within which the level has not moved
)

// gauge compares the level with the water that was let in.
type gauge struct {
	usual [2]float64    // L/s by which the level rose in the last fillings
	ran   time.Duration // how long the valve stood open in the present filling
	still float64       // L at which it is stuck; 0 = it is not
	words string

	// Where a valve of ours goes by it alone, a gauge that is stuck above the band would let the plants
	// drink the tank dry: that it never falls speaks against it, too.
	low, high float64
	rested    time.Duration // since when it has stood between these
	rests     bool
	numb      int // floods in a row that did not move it
}

const (
	gaugeRests  = 12 * time.Hour // in which plants drink and water dries away, more than a gauge leaves unsure
	gaugeFloods = 2              // in a row that it does not see
)

// stands takes a level of a tank that a valve of ours fills.
func (g *gauge) stands(level, unsure float64, up time.Duration) {
	g.low, g.high = min(g.low, level), max(g.high, level)
	if !g.rests || g.high-g.low > unsure {
		g.low, g.high, g.rested, g.rests = level, level, up, true
	} else if up-g.rested >= gaugeRests && g.still == 0 {
		g.stick(level, fmt.Sprintf("the level stood at %.0f L for %s", level, words(up-g.rested)))
	}
}

// flooded takes what a flood took out of the tank by the gauge.
func (g *gauge) flooded(out, level, unsure float64) {
	if g.numb++; out > unsure {
		g.numb = 0
	} else if g.numb >= gaugeFloods && g.still == 0 {
		g.stick(level, fmt.Sprintf("%d floods ran and the level stood at %.0f L", g.numb, level))
	}
}

func (g *gauge) stick(level float64, words string) { g.still, g.words = level, words }

// runs adds to the time for which the valve stands open.
func (g *gauge) runs(on bool, gap time.Duration) {
	if on {
		g.ran += gap
	}
}

// filled judges a filling that is over: by how much the level rose, and how much of that
// the gauge leaves unsure.
func (g *gauge) filled(level, rise, unsure, volume float64) {
	seconds := g.ran.Seconds()
	g.ran = 0
	least := max(gaugeShare*volume, float64(gaugeClear*unsure))
	if rise >= least && seconds > 0 {
		g.usual = [2]float64{g.usual[1], rise / seconds}
		return
	}
	usual := g.usual[1]
	if g.usual[0] > 0 {
		usual = min(usual, g.usual[0])
	}
	if came := float64(usual * seconds); came >= least && math.Abs(rise) <= unsure {
		g.stick(level, fmt.Sprintf("about %.0f L were let in and the level stood at %.0f L", came, level))
	}
}

// reads takes a level: a gauge that moves is stuck no longer.
func (g *gauge) reads(level, unsure float64) {
	if g.still > 0 && math.Abs(level-g.still) > gaugeClear*unsure {
		g.still, g.words = 0, ""
	}
}

// unsure is how far apart two readings of a tank's level may lie while the water stands.
func (wa *waters) unsure(t *tankState) float64 {
	in := &wa.settings.Inputs[t.inputs[dosing.QuantityLevel][0]]
	return max(float64(gaugeSteps*math.Hypot(in.Noise, in.Step)), float64(gaugeShare/gaugeClear*float64(t.plant.Volume)))
}

// StuckLevel says why the level of a tank is not believed to move with its water; ""
// while it does.
func (wa *waters) StuckLevel(id dosing.TankID) string {
	if int(id) >= len(wa.tanks) {
		return ""
	}
	return wa.tanks[id].water.gauge.words
}
