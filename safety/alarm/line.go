package alarm

import (
	"time"

	"leat/dosing"
	"leat/safety"
)

// judgeLine raises what the watched line calls for. Several zones in the same trouble are
// one alarm.
func (t *tankAlarms) judgeLine(now dosing.Instant) {
	if !t.known {
		return
	}
	for i := range t.situation.Line {
		f := &t.situation.Line[i]
		t.see(now, f.Cause, safety.Run, false, t.detailOr(now, f.Cause, func() string {
			words := f.Words
			for _, other := range t.situation.Line[i+1:] {
				if other.Cause == f.Cause {
					words += "; " + other.Words
				}
			}
			return words
		}))
	}
}

// roots is how long the roots bear what a cause of the line is about, the shortest of all
// zones; negative = it is no matter of roots.
func (s *Situation) roots(c safety.Cause) time.Duration {
	least := time.Duration(-1)
	for i := range s.Line {
		if f := &s.Line[i]; f.Cause == c && f.Roots >= 0 && (least < 0 || f.Roots < least) {
			least = f.Roots
		}
	}
	return least
}
