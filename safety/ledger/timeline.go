package ledger

import (
	"time"

	"leat/dosing"
)

// longestGap is how much time at most is believed to have passed between two
// runs when the wall clock is not known to be right. Believing more would let
// the caps forget doses that were given minutes ago.
const longestGap = time.Hour

// timeline turns the uptimes of one run after another into one time that never
// goes back. Within a run uptime counts and the wall clock does not; across a
// restart the wall difference counts, never below zero, never below the uptime
// of the new run, and at most longestGap unless the clock was synchronised at
// both ends.
type timeline struct {
	begun   bool
	at      time.Duration // of the newest row
	run     uint32
	up      time.Duration // highest uptime seen in the run
	wall    time.Time     // wall time of the newest row
	trusted bool          // the clock is known to be right in this run
}

// follow moves to a row and returns its time.
func (t *timeline) follow(e Entry) time.Duration {
	tells := e.Kind == EntryChange && (e.Change == ChangeStart || e.Change == ChangeClock)
	if e.Kind == EntryChange && e.Change == ChangeEpoch && t.begun {
		t.run = e.Epoch // the same run goes on under another number
	}
	switch {
	case !t.begun:
		t.begun, t.run, t.trusted = true, e.Epoch, tells && e.Trusted
		t.up = max(e.At.Up, 0)
	case e.Epoch != t.run || tells && e.Change == ChangeStart:
		trusted := tells && e.Trusted
		t.at += t.gap(e.At, trusted)
		t.run, t.trusted = e.Epoch, trusted
		t.up = max(e.At.Up, 0)
	default:
		// A late report is of an earlier uptime than its neighbours. It counts as
		// of now, which keeps it in the windows longer, never shorter.
		if e.At.Up > t.up {
			t.at += e.At.Up - t.up
			t.up = e.At.Up
		}
		if tells {
			t.trusted = e.Trusted
		}
	}
	t.wall = e.At.Wall
	return t.at
}

// gap is the time from the newest row to a moment of the next run.
func (t *timeline) gap(then dosing.Instant, trusted bool) time.Duration {
	passed := then.Wall.Sub(t.wall) // saturates, never wraps
	if !t.trusted || !trusted {
		passed = min(passed, longestGap)
	}
	return max(passed, then.Up, 0)
}
