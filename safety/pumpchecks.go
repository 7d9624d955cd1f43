package safety

import (
	"fmt"
	"time"

	"leat/dosing"
)

var pumpChecks = [CauseCount]pumpCheck{
	CauseConfigurationUnsafe: func(_ *Watch, now dosing.Instant, _ dosing.PumpID, p *pumpState) {
		p.put(now, CauseConfigurationUnsafe, p.unsafe != "", p.unsafe)
		p.as(CauseConfigurationUnsafe, Lockout, ScopePump)
	},
	CauseNodeOffline: func(w *Watch, now dosing.Instant, _ dosing.PumpID, p *pumpState) {
		n := w.nodeOf(p)
		age, silent := n.silent(now.Up)
		if !silent {
			p.lower(CauseNodeOffline)
		} else if s := p.raise(now, CauseNodeOffline, int64(age/time.Minute)); s != nil {
			s.detail = "never heard"
			if n.seen {
				s.detail = "last heard " + words(age) + " ago"
			}
		}
	},
	CauseNodeRebooted: checkRebooted,
	CauseNodeClock: func(w *Watch, now dosing.Instant, _ dosing.PumpID, p *pumpState) {
		p.put(now, CauseNodeClock, w.nodeOf(p).off.within(clockOver, now.Up), "its tick and our clock differ by more than a tenth")
	},
	CauseNodeBusy: func(w *Watch, now dosing.Instant, _ dosing.PumpID, p *pumpState) {
		n := w.nodeOf(p)
		p.put(now, CauseNodeBusy, n.running(now.Up) && !w.openOn(p.node) && !n.closed.within(busyGrace, now.Up), "busy without a dose of ours")
	},
	CauseNoResponse: func(_ *Watch, _ dosing.Instant, _ dosing.PumpID, p *pumpState) {
		p.lower(CauseNoResponse) // only ever latched, by checkResponses
	},
	CauseReagentStrong: func(_ *Watch, _ dosing.Instant, _ dosing.PumpID, p *pumpState) {
		p.lower(CauseReagentStrong) // only ever latched, by checkResponses
	},
	CauseReportContradicts: func(_ *Watch, _ dosing.Instant, _ dosing.PumpID, p *pumpState) {
		p.lower(CauseReportContradicts) // only ever latched, by Contradicted
	},
	CauseNodeRefuses: func(_ *Watch, _ dosing.Instant, _ dosing.PumpID, p *pumpState) {
		p.lower(CauseNodeRefuses) // only ever latched, by RefusedForGood
	},
	CauseContainerEmpty:   checkStock,
	CauseContainerBalance: checkContainer,
	CauseTopUpHeld:        checkTopUp,
	CauseHourlyCap: func(w *Watch, now dosing.Instant, id dosing.PumpID, p *pumpState) {
		capCheck(w, now, id, p, CauseHourlyCap, w.totals.Hour(id, now.Up), w.HourlyCap(id), "the last hour")
	},
	CauseDailyCap: func(w *Watch, now dosing.Instant, id dosing.PumpID, p *pumpState) {
		capCheck(w, now, id, p, CauseDailyCap, w.totals.Day(id, now.Up), w.DailyCap(id), "the last 24 h")
	},
}

// noNode stands for a node that is not configured: never heard, so silent.
var noNode = nodeState{full: true}

func (hb *heartbeats) nodeOf(p *pumpState) *nodeState {
	if int(p.node) >= len(hb.nodes) {
		return &noNode
	}
	return &hb.nodes[p.node]
}

func checkRebooted(w *Watch, now dosing.Instant, id dosing.PumpID, p *pumpState) {
	n := w.nodeOf(p)
	if n.rebooted && now.Up-n.steady >= nodeSteadyFor && now.Up-n.at <= nodeGap && !n.loop {
		n.rebooted = false
	}
	if !n.rebooted {
		p.lower(CauseNodeRebooted)
		return
	}
	if s := p.raise(now, CauseNodeRebooted, 0); s != nil {
		s.detail = "waiting for " + words(nodeSteadyFor) + " of steady heartbeat"
	}
	if n.loop {
		w.latch(now, &p.cells, CauseNodeRebooted, w.firstTank(id), id, "more than three starts in 10 min")
	}
}

// firstTank is the first tank that a pump serves, for the record of its trips.
func (st *state) firstTank(p dosing.PumpID) dosing.TankID {
	for i := range st.tanks {
		if st.settings.Pumps[p].ServesTank(dosing.TankID(i)) {
			return dosing.TankID(i)
		}
	}
	return 0
}

// stockLeast is below what a pump would soon draw air: ten smallest doses, or 2 %
// of the container.
func stockLeast(p *dosing.Pump) dosing.Volume { return max(10*p.MinDose, p.Container/50) }

func checkStock(w *Watch, now dosing.Instant, id dosing.PumpID, p *pumpState) {
	pump := &w.settings.Pumps[id]
	for _, input := range p.stocks {
		i := &w.inputs[input]
		if _, standing := i.now(now.Up); standing != standFit {
			if s := p.raise(now, CauseContainerEmpty, -1); s != nil {
				s.detail = "the container's level sensor does not answer"
			}
			return
		}
		least := stockLeast(pump).Litres()
		if p.active.has(CauseContainerEmpty) && p.cell[CauseContainerEmpty].key >= 0 {
			least *= 1.5
		}
		if left := i.last.Value(); !(left >= least) {
			if s := p.raise(now, CauseContainerEmpty, 0); s != nil {
				s.detail = fmt.Sprintf("%s: %.2f L left", pump.Reagent, left)
			}
			return
		}
	}
	p.lower(CauseContainerEmpty)
}

// capCheck stands while not even one smallest dose is left under a rolling cap.
func capCheck(w *Watch, now dosing.Instant, id dosing.PumpID, p *pumpState, cause Cause, used, most dosing.Volume, window string) {
	if most-used >= w.settings.Pumps[id].MinDose {
		p.lower(cause)
		return
	}
	if s := p.raise(now, cause, int64(most)); s != nil {
		s.detail = fmt.Sprintf("%s of %s in %s", used, most, window)
	}
}
