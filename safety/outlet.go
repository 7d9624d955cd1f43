package safety

import (
	"time"

	"leat/dosing"
)

const (
	// outletOpens is how long a valve may take: a node that has not begun by then lets the
	// order lapse.
	outletOpens = 10 * time.Second
	// outletShuts is how long before the report the valve of a run that is over may be seen
	// to close.
	outletShuts = 3 * time.Second
)

// outlet follows the valve into a tank. It is judged by the orders of its own tank alone:
// one that others are dosed past is shut with good reason, and so may be one at rest.
type outlet struct {
	ordered  time.Duration // when the last order went out
	opened   when          // when it was last proved open
	shut     dosing.Timer  // since when it is not, during an order
	unproved bool
	until    time.Duration // then the next order tells
}

// checkOutlet holds once an order runs against a valve that is not proved open, until it
// is, or for a mixing time: a valve that rests shut shows only with the next order.
func checkOutlet(w *Watch, now dosing.Instant, t *tankState) {
	g, o := &t.group[dosing.QuantityOutlet], &t.outlet
	during := false
	for i := range w.open {
		during = during || w.open[i].Tank == t.id
	}
	late := during && g.adverse && now.Up-o.ordered >= outletOpens
	if o.shut.Run(late, now.Up) >= outletShuts && late {
		o.mistrust(now.Up, t.plant.MixingTime())
	}
	if o.unproved = o.unproved && g.given && now.Up < o.until && (g.adverse || g.standing != standFit); o.unproved {
		t.put(now, CauseOutletUnproved, true, "it read shut during an order")
		return
	}
	if g.given && g.standing != standFit {
		switchCheck(now, t, CauseOutletUnproved, dosing.QuantityOutlet)
		return
	}
	t.lower(CauseOutletUnproved)
}

func (o *outlet) mistrust(up, wait time.Duration) { o.unproved, o.until = true, up+wait }

// endOrder judges the outlet of an order that did not end well: a node refuses one whose
// valve does not answer.
func (t *tankState) endOrder(st *state, up time.Duration) {
	o := &t.outlet
	for _, id := range t.inputs[dosing.QuantityOutlet] {
		i := &st.inputs[id]
		if _, standing := i.now(up); standing == standFit && i.last.Value() < 0.5 && !(o.opened.ever && o.opened.up >= o.ordered) {
			o.mistrust(up, t.plant.MixingTime())
		}
	}
}
