package dosing

import (
	"math"
	"strconv"
	"strings"
	"time"
)

// Instant is a moment as the rim saw it. Wall is for records, schedules and
// people; Up is time since the process started, never steps, and is what every
// age and timer is computed from.
type Instant struct {
	Wall time.Time
	Up   time.Duration
}

// Since is the uptime that passed from then to now.
func (now Instant) Since(then Instant) time.Duration { return now.Up - then.Up }

// Add moves both clocks forward by d.
func (now Instant) Add(d time.Duration) Instant {
	return Instant{Wall: now.Wall.Add(d), Up: now.Up + d}
}

// Volume is a liquid volume in whole microlitres: exact sums, no NaN, the same
// bytes on every machine.
type Volume int64

// Units of Volume.
const (
	Microlitre Volume = 1
	Millilitre        = 1000 * Microlitre
	Litre             = 1000 * Millilitre
)

// LargestVolume bounds what FromMillilitres returns: 10 m³ is more than any
// stock tank this program doses from.
const LargestVolume = 10_000 * Litre

// FromMillilitres converts and rounds down. Rounding to nearest could pass a
// cap by half a microlitre; NaN and negative become zero, which doses nothing.
func FromMillilitres(ml float64) Volume {
	if !(ml > 0) {
		return 0
	}
	if ml >= float64(LargestVolume/Millilitre) {
		return LargestVolume
	}
	return Volume(math.Floor(ml * float64(Millilitre)))
}

// Millilitres is the volume in mL.
func (v Volume) Millilitres() float64 { return float64(v) / float64(Millilitre) }

// Litres is the volume in L.
func (v Volume) Litres() float64 { return float64(v) / float64(Litre) }

// String prints millilitres with as many digits as the volume has.
func (v Volume) String() string {
	return strconv.FormatFloat(v.Millilitres(), 'f', -1, 64) + " mL"
}

// RunTime is how long a pump of the given rate needs for v, rounded up to the
// next millisecond so that the node's own limit never cuts a dose short.
func (v Volume) RunTime(perSecond Volume) time.Duration {
	if v <= 0 || perSecond <= 0 {
		return 0
	}
	return time.Duration((int64(v)*1000+int64(perSecond)-1)/int64(perSecond)) * time.Millisecond
}

// PH is a measured or wanted pH.
type PH float64

// Conductivity is electrical conductivity at 25 °C in mS/cm.
type Conductivity float64

// Celsius is a temperature in °C.
type Celsius float64

// Litres is a water volume; doses are Volume.
type Litres float64

func (p PH) String() string           { return Figure(float64(p), 2) }
func (c Conductivity) String() string { return Figure(float64(c), 2) + " mS/cm" }
func (c Celsius) String() string      { return Figure(float64(c), 1) + " °C" }
func (l Litres) String() string       { return Figure(float64(l), 0) + " L" }

// Figure is a number with so many decimals as people read it: what rounds to nothing has no sign.
func Figure(v float64, decimals int) string {
	text := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.HasPrefix(text, "-") && strings.Trim(text, "-0.") == "" {
		return text[1:]
	}
	return text
}

// Signed is a Figure with its sign, of what lies beside something else.
func Signed(v float64, decimals int) string {
	text := Figure(v, decimals)
	if strings.HasPrefix(text, "-") {
		return text
	}
	return "+" + text
}
