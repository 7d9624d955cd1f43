package campaign

import (
	"time"

	"leat/dosing"
	"leat/safety/ledger"
)

// Slack of a count against what a pump truly ran: nodes count whole milliseconds.
const runSlack = 2 * time.Millisecond

// covers: whatever nodes and others say, the ledger never counts less of a dose than
// its pump ran for. An order without a settlement counts in full.
func covers(w *trail) {
	counted := map[ledger.OrderID][]*Settled{}
	for i := range w.Settled {
		counted[w.Settled[i].ID] = append(counted[w.Settled[i].ID], &w.Settled[i])
	}
	for i := range w.Runs {
		run := &w.Runs[i]
		if !run.Ended {
			continue
		}
		rate := w.Settings.Safety.Pumps[run.Pump].PerSecond
		ran := dosing.Volume(float64(rate) * max(run.At-run.Started-runSlack, 0).Seconds())
		for _, s := range counted[run.Order] {
			if s.Volume < ran {
				w.violate(s.At, "order %v ran for %v, which is %s; %s of it count", run.Order, run.At-run.Started, ran, s.Volume)
			}
		}
	}
}

// neverLowered: once a dose is settled, no later word takes anything off it.
func neverLowered(w *trail) {
	counted := map[ledger.OrderID]dosing.Volume{}
	for i := range w.Settled {
		s := &w.Settled[i]
		if before, ok := counted[s.ID]; ok && s.Volume < before {
			w.violate(s.At, "order %v counted %s and counts %s now", s.ID, before, s.Volume)
		}
		counted[s.ID] = s.Volume
	}
}

// uncertain: no order goes out while another dose of its tank is open.
func uncertain(w *trail) {
	for i := range w.doses {
		o := w.doses[i].order
		for k := i - 1; k >= 0; k-- {
			if d := &w.doses[k]; d.order.Tank == o.Tank {
				if !d.closed || d.end > o.At {
					w.violate(o.At, "order %v went out while %v was open", o.ID, d.order.ID)
				}
				break
			}
		}
	}
}

// forgiven: what the daemon counts as on its way is never less than the record and
// the mixing law say. It forgets what is mixed to a thousandth.
func forgiven(w *trail) {
	from := 0
	for i := range w.Samples {
		s := &w.Samples[i]
		for from < len(w.doses) && w.doses[from].order.At < s.At {
			from++
		}
		if !s.Known {
			continue
		}
		sum := w.onWay(s.Tank, s.At, -1, from)
		if s.Acid < sum.acid-sum.forgotten || s.Base < sum.base-sum.forgotten {
			w.violate(s.At, "the daemon counts %.5f meq/L of acid and %.5f of base on their way; the record says %.5f and %.5f", s.Acid, s.Base, sum.acid, sum.base)
			return
		}
	}
}
