package safety

import (
	"fmt"
	"math"
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

// checkContainer latches what a container's level says against the count of its pump.
func checkContainer(w *Watch, now dosing.Instant, id dosing.PumpID, p *pumpState) {
	p.lower(CauseContainerBalance) // only ever latched
	if len(p.stocks) != 1 || p.latched.has(CauseContainerBalance) {
		return
	}
	in := &w.inputs[p.stocks[0]]
	set, pump := &w.settings.Inputs[p.stocks[0]], &w.settings.Pumps[id]
	if _, standing := in.now(now.Up); standing != standFit || w.served(pump) {
		p.drain = drain{usual: p.drain.usual, drawn: p.use.drawn}
		return
	}
	if in.last.At().Up <= p.drainRead {
		return
	}
	p.drainRead = in.last.At().Up
	unsure := max(float64(drainUnsure*math.Hypot(set.Noise, set.Step)), float64(drainFinest*pump.Container.Litres()), drainDrop)
	before, given := p.drain.reference, p.drain.given
	found := p.drain.read(in.last.Value(), p.drainRead, p.use.drawn, unsure, pump.Container.Litres())
	if found == lossNone {
		return
	}
	level := p.drain.last
	p.drain.refer(level)
	switch moved := before - level; found {
	case lossFills:
		w.latch(now, &p.cells, CauseContainerBalance, w.firstTank(id), id,
			fmt.Sprintf("the container of %s filled by %.2f L by itself: water may siphon back into it, and its strength is in doubt", pump.Name, -moved))
	case lossMore:
		w.latch(now, &p.cells, CauseContainerBalance, w.firstTank(id), id,
			fmt.Sprintf("%.2f L left the container of %s where %.2f L were counted", moved, pump.Name, given))
	default:
		w.runsAway(now, &w.tanks[w.firstTank(id)],
			fmt.Sprintf("%.2f L left the container of %s where %.2f L were counted", moved, pump.Name, given))
	}
}

// checkTopUp holds a valve of ours while a flood has kept water that may still come home and make
// the tank run over. stopPulses latches the same.
func checkTopUp(w *Watch, now dosing.Instant, id dosing.PumpID, p *pumpState) {
	short := 0.0
	if pump := &w.settings.Pumps[id]; pump.Role == dosing.RoleWater {
		short = w.tanks[w.firstTank(id)].water.bench.short
	}
	if !(short > 0) {
		p.lower(CauseTopUpHeld)
	} else if s := p.raise(now, CauseTopUpHeld, int64(short)); s != nil {
		s.detail = fmt.Sprintf("the last flood brought %.0f L less home than it took", short)
	}
}
