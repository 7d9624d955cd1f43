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
func (w *trail) covers() {
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
func (w *trail) neverLowered() {
	counted := map[ledger.OrderID]dosing.Volume{}
	for i := range w.Settled {
		s := &w.Settled[i]
		if before, ok := counted[s.ID]; ok && s.Volume < before {
			w.violate(s.At, "order %v counted %s and counts %s now", s.ID, before, s.Volume)
		}
		counted[s.ID] = s.Volume
	}
}
