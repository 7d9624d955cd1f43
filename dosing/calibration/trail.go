package calibration

import (
	"fmt"
	"math"
	"time"

	"leat/dosing"
)

// Trail is what a probe has read since it was put into a standard.
type Trail struct {
	at     []time.Duration
	values []float64
}

const (
	trailMost  = 240
	steadyFor  = time.Minute
	steadyLast = 6 // readings, where they come rarely
	// What a reading in a standard may move by within the time, and waver by: response
	// still under way, and noise.
	movesPH, waversPH = 0.02, 0.12
	movesEC, waversEC = 0.01, 0.05 // of the reading
)

// Add takes the next reading.
func (t *Trail) Add(up time.Duration, value float64) {
	if len(t.at) == trailMost {
		t.at, t.values = t.at[1:], t.values[1:]
	}
	t.at, t.values = append(t.at, up), append(t.values, value)
}

// NotYet says that a reading cannot be taken now, and may be in a moment.
type NotYet string

func (n NotYet) Error() string { return string(n) }

func notYet(format string, args ...any) error { return NotYet(fmt.Sprintf(format, args...)) }

// Steady is the mean of the last minute, or why it cannot be taken yet.
func (t *Trail) Steady(q dosing.Quantity, now time.Duration) (float64, error) {
	n := len(t.at)
	if n == 0 {
		return 0, notYet("no reading came since the probe was put in: wait, and see that pH or EC and temperature are sent")
	}
	from := n
	for from > 0 && (n-from < steadyLast || now-t.at[from-1] <= steadyFor) {
		from--
	}
	values := t.values[from:]
	if len(values) < steadyLast || t.at[n-1]-t.at[from] < steadyFor*4/5 {
		return 0, notYet("it reads %s; a minute of readings is needed: wait", reading(t.values[n-1]))
	}
	moves, wavers := movesPH, waversPH
	if q == dosing.QuantityEC {
		moves, wavers = movesEC*math.Abs(t.values[n-1]), waversEC*math.Abs(t.values[n-1])
	}
	early, late, least, most := 0.0, 0.0, math.Inf(1), math.Inf(-1)
	half := len(values) / 2
	for i, v := range values {
		least, most = min(least, v), max(most, v)
		if i < half {
			early += v / float64(half)
		}
		if i >= len(values)-half {
			late += v / float64(half)
		}
	}
	if gap := math.Abs(late - early); gap > moves || most-least > wavers {
		return 0, notYet("it reads %s and still moves, by %.2g within the last minute: wait", reading(t.values[n-1]), max(gap, most-least))
	}
	return late, nil
}
