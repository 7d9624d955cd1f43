package dosing

import "time"

// topUp tells how much plain water came in: the level's rise while the valve is
// open. A level that rises on its own is a flood coming home and brings nothing.
type topUp struct {
	open     bool
	closed   time.Duration // when the valve last closed
	ever     bool          // the valve was ever seen
	flood    bool
	drained  time.Duration // when the last flood ended
	flooded  bool          // there ever was one
	level    float64       // litres already accounted for
	levelled bool
}

// afterClosing is how long a rise still counts as top-up once the valve is shut:
// the level comes after the switch and the water needs time to spread.
const afterClosing = 30 * time.Second

// afterFlood is how long a rise after a flood still counts as its water.
const afterFlood = 2 * time.Minute

func (t *topUp) flooding(on bool, up time.Duration) {
	if t.flood && !on {
		t.drained, t.flooded = up, true
	}
	t.flood = on
}

func (t *topUp) valve(open bool, up time.Duration) {
	if t.open && !open {
		t.closed = up
	}
	t.open = open
	t.ever = t.ever || open
}

// litres takes a level and returns the top-up since the last one.
func (t *topUp) litres(level float64, up time.Duration) float64 {
	if !t.levelled || t.flood || t.flooded && up-t.drained <= afterFlood {
		t.level, t.levelled = level, true
		return 0
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
