package safety

import "time"

// turns counts how often acid has followed base, or base acid, in short order. Once may be top-up,
// a person or a plant that turned; again and again it is a tank that answers later than it was
// told to, half-blocked circulation above all: each dose is judged before it has arrived, its
// opposite is larger, and pH swings wider each time. So while they go on less may be unseen.
type turns struct {
	last  when
	count int
}

const (
	turnsWithin = 2 * time.Hour // after which a turn begins a new count
	turnsEase   = 1             // turns that mean nothing
	turnsShare  = 1.0 / 3       // of what else may be unseen
)

// turn counts one.
func (t *turns) turn(up time.Duration) {
	if !t.last.within(turnsWithin, up) {
		t.count = 0
	}
	t.count++
	t.last.set(up)
}

// swings says that the reagents have taken turns more often than a tank that is understood
// needs.
func (t *turns) swings(up time.Duration) bool {
	return t.count > turnsEase && t.last.within(turnsWithin, up)
}
