package safety

import (
	"fmt"
	"time"

	"leat/dosing"
)

// readingCheck trips while the probes of a quantity stand in one of the ways in
// which they cannot be dosed by.
func readingCheck(cause Cause, q dosing.Quantity, which fitness) tankCheck {
	return func(w *Watch, now dosing.Instant, t *tankState) {
		g := &t.group[q]
		if g.standing != which {
			t.lower(cause)
			return
		}
		if s := t.raise(now, cause, w.invalidKey(g)); s != nil {
			s.detail = w.invalidWords(g)
		}
	}
}

// notFitCheck trips while a quantity is not fit in any way.
func notFitCheck(cause Cause, q dosing.Quantity) tankCheck {
	return func(w *Watch, now dosing.Instant, t *tankState) {
		g := &t.group[q]
		if g.standing == standFit {
			t.lower(cause)
			return
		}
		if s := t.raise(now, cause, w.invalidKey(g)); s != nil {
			s.detail = w.invalidWords(g)
		}
	}
}

// invalidKey changes when invalidWords has other words to say: another fault, a minute
// more, or a reading that moved by half a unit.
func (gs *groups) invalidKey(g *group) int64 {
	key := int64(g.standing)<<56 | int64(g.age/time.Minute)
	if g.given {
		i := &gs.inputs[g.input]
		key |= int64(i.fault)<<48 | int64(uint16(int64(2*i.last.Value())))<<32
	}
	return key
}

// invalidWords says why the inputs of a quantity cannot be dosed by.
func (gs *groups) invalidWords(g *group) string {
	if !g.given {
		return "no input"
	}
	name, i := gs.settings.Inputs[g.input].Name, &gs.inputs[g.input]
	switch g.standing {
	case standMissing:
		return name + " never sent a live reading"
	case standStale:
		return fmt.Sprintf("%s is %s old; at most %s", name, words(g.age), words(i.limit))
	case standDisagree:
		return name + " and its neighbour disagree"
	}
	return fmt.Sprintf("%s reads %.2f: %s", name, i.last.Value(), i.why(gs.last))
}

// switchCheck trips while a switch of the tank stands the way that stops doses, or
// does not answer.
func switchCheck(now dosing.Instant, t *tankState, cause Cause, q dosing.Quantity) {
	g := &t.group[q]
	switch {
	case !g.given:
		t.lower(cause)
	case g.adverse && !g.lasting && blipHolds[q]:
		if s := t.raise(now, cause, 2); s != nil {
			s.detail = "a moment so far"
		}
	case g.adverse:
		t.put(now, cause, true, "")
	case g.standing != standFit:
		if s := t.raise(now, cause, 1); s != nil {
			s.detail = "the sensor does not answer"
		}
	default:
		t.lower(cause)
	}
}

// latchingSwitch is switchCheck for a switch that latches when what it says lasts, and
// only holds before that and while it does not answer.
func latchingSwitch(w *Watch, now dosing.Instant, t *tankState, cause Cause, q dosing.Quantity) {
	switchCheck(now, t, cause, q)
	if g := &t.group[q]; g.lasting {
		w.latch(now, &t.cells, cause, t.id, 0, "")
	} else if t.active.has(cause) {
		t.as(cause, Hold, Of(cause).Scope)
	}
}
