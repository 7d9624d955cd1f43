package loop

import (
	"time"

	"leat/dosing"
)

// topUp tells how much plain water came in: the level's rise while the valve is
// open. A level that rises on its own is a flood coming home and brings nothing.
type topUp struct {
	open     bool          // by its contact, or by an order of ours
	contact  bool          // it reads open
	ordered  bool          // an order of ours runs, or may
	closed   time.Duration // when the valve last closed
	ever     bool          // the valve was ever seen
	flood    dosing.Flood
	returned float64 // litres of the present flood that are known to be home
	level    float64 // litres already accounted for
	levelled bool
	away     bool // water was away at the last level, and level is of before that
	came     bool // the valve was open meanwhile
}

// afterClosing is how long a rise still counts as top-up once the valve is shut:
// the level comes after the switch and the water needs time to spread.
const afterClosing = 30 * time.Second

func (t *topUp) valve(open bool, up time.Duration) {
	t.contact = open
	t.turn(up)
}

// order takes the begin and the end of an order to our own valve.
func (t *topUp) order(runs bool, up time.Duration) {
	t.ordered = runs
	t.turn(up)
}

func (t *topUp) turn(up time.Duration) {
	open := t.contact || t.ordered
	if t.open && !open {
		t.closed = up
	}
	t.open = open
	t.ever = t.ever || open
}

// homecoming returns the litres of a flood that are newly home, and how many were
// home before.
func (t *topUp) homecoming() (before, more float64) {
	before, t.returned = t.returned, t.flood.Returned()
	return before, max(t.returned-before, 0)
}

// litres takes a level and returns the top-up since the last one. While water is away the level tells nothing
// of it; once that is home, what stands above the level of before is what the valve let in.
func (t *topUp) litres(level float64, up time.Duration) float64 {
	if !t.levelled {
		t.level, t.levelled = level, true
	}
	if t.flood.Away() {
		t.away, t.came = true, t.came || t.open
		return 0
	}
	if t.away {
		rise := level - t.level
		if !t.came {
			rise = 0
		}
		t.level, t.away, t.came = level, false, false
		return max(rise, 0)
	}
	if !t.open && !(t.ever && up-t.closed <= afterClosing) {
		// Averaging: one low reading before the valve opens would be counted as water.
		t.level += float64(0.3 * (level - t.level))
		return 0
	}
	if level <= t.level {
		return 0
	}
	rise := level - t.level
	t.level = level
	return rise
}
