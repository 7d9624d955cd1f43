package controller

import (
	"time"

	"leat/dosing"
	"leat/safety"
	"leat/safety/ledger"
)

// The life of one dose. Every arrow to the right needs the event written on it;
// whatever is in doubt goes down and counts in full.
//
//	plan ─gate─ intended ─durable, gate again─ ordered ─report─ settled ─later word─ raised
//	                │                             │
//	                │ gate refuses, or            │ no word in time, or the
//	                │ the link is closed          │ node rebooted
//	                ▼                             ▼
//	            withdrawn (0 mL)              uncertain ─one mixing time─ settled in full
//
// How far a report is believed stands in word.go.
type doseState uint8

const (
	doseNone doseState = iota
	doseIntended
	doseOrdered
	doseUncertain
)

// openDose is the one dose of the station whose fate is not settled.
type openDose struct {
	state    doseState
	intent   ledger.Intent
	node     safety.NodeID
	boot     string
	sent     time.Duration // uptime at which the order went out
	run      time.Duration // as ordered
	deadline time.Duration // uptime by which its report is due
	settleBy time.Duration // uptime at which an uncertain dose settles in full
	stopped  bool          // a stop order was sent for it

	began       bool          // the node said that it runs
	busy        span          // heartbeats that say so
	saying      *saying       // a word that waits for heartbeats
	most        dosing.Volume // the most that any word made of it
	word        *Report       // by which it is settled
	forGood     bool          // refused, and a repeat would be refused as well
	contradicts string        // how the node contradicts itself; empty = it does not
}

// span is from when to when something was seen.
type span struct {
	from, to time.Duration
	ever     bool
}

// startWindow is how long after the decision a node may still start a dose, and
// reportGrace what its report may take beyond the run.
const (
	startWindow = 10 * time.Second
	reportGrace = 6 * time.Second
)

// intend turns a clearance into an intent on its way to the disk. From here on the
// dose counts in full, and nothing else is dosed until it is settled.
func (c *Core) intend(now dosing.Instant, plan dosing.Plan, clearance *safety.Clearance) bool {
	order := ledger.OrderID{Epoch: c.epoch, Number: c.number + 1}
	intent, err := ledger.Intend(clearance, order, c.basis(plan))
	if err != nil {
		return false
	}
	c.number++
	c.dose = openDose{state: doseIntended, intent: intent, node: c.settings.Safety.PumpNode[plan.Pump]}
	d := dosing.Dose{Key: order.Key(), Tank: plan.Tank, Pump: plan.Pump, Volume: plan.Volume, Up: now.Up, Open: true}
	c.watch.Opened(d)
	c.tanks[plan.Tank].loops.Opened(d)
	// The blend's debt goes first: a crash between the two rows then leaves a part
	// undosed, never dosed twice.
	c.recordOwed(now, plan.Tank)
	c.out.Append = append(c.out.Append, intent)
	c.out.Changed = true
	return true
}

func (c *Core) basis(plan dosing.Plan) ledger.Basis {
	b := ledger.Basis{Configuration: c.settings.Version, TankName: c.tankName(plan.Tank), PumpName: c.settings.Safety.Pumps[plan.Pump].Name}
	for i := range c.settings.Safety.Inputs {
		in := &c.settings.Safety.Inputs[i]
		if in.Tank != plan.Tank {
			continue
		}
		reading, _, ok := c.watch.Input(dosing.InputID(i))
		if !ok {
			continue
		}
		switch in.Quantity {
		case dosing.QuantityPH:
			b.PH = reading.Value()
		case dosing.QuantityEC:
			b.EC = reading.Value()
		case dosing.QuantityTemperature:
			b.Temperature = reading.Value()
		}
	}
	return b
}

// durable is told that the intent is on disk. The gate judges again with the
// state of now: the append may have taken long, and a switch may have changed.
func (c *Core) durable(now dosing.Instant, receipt ledger.Receipt) {
	intent, ok := receipt.Intent()
	if !ok || c.dose.state != doseIntended || intent.Order() != c.dose.intent.Order() {
		return
	}
	plan := intent.Plan()
	verdict := c.gate.Recheck(now, plan, intent.Order().Key())
	if !verdict.Allowed {
		c.refused(now, plan, verdict)
		c.settle(now, ledger.OutcomeWithdrawn, 0, "refused before it was sent: "+verdict.Cause.String())
		return
	}
	boot, tick, _, seen := c.watch.Node(now, c.dose.node)
	waited := now.Since(intent.At())
	if !seen || !c.linkUp || waited >= startWindow {
		c.settle(now, ledger.OutcomeWithdrawn, 0, "not sent: link, node or start window gone")
		return
	}
	run := plan.Volume.RunTime(c.settings.Safety.Pumps[plan.Pump].PerSecond)
	c.dose.state, c.dose.boot, c.dose.sent, c.dose.run = doseOrdered, boot, now.Up, run
	c.dose.deadline = now.Up + startWindow - waited + run + reportGrace
	c.out.Orders = append(c.out.Orders, Order{
		id: intent.Order(), tank: plan.Tank, pump: plan.Pump, volume: plan.Volume, run: run,
		boot: boot, before: tick + startWindow - waited, expires: now.Wall.Add(startWindow - waited),
	})
	c.notice(Notice{Kind: NoticeDose, Tank: plan.Tank, Order: intent.Order(), Pump: plan.Pump, Volume: plan.Volume, Active: true,
		Text: plan.Reason.String()})
	c.out.Changed = true
}

// withdrawn is told that the link was closed before the order was written to it:
// the only doubt-free way for a sent order not to exist.
func (c *Core) withdrawn(now dosing.Instant, order ledger.OrderID) {
	if c.dose.state == doseOrdered && c.dose.intent.Order() == order {
		c.settle(now, ledger.OutcomeWithdrawn, 0, "the link was closed before the order left")
	}
}

// watchDose looks after the open dose as time passes.
func (c *Core) watchDose(now dosing.Instant) {
	switch c.dose.state {
	case doseOrdered:
		waits := c.dose.saying != nil && now.Up < c.dose.saying.at+agreeWithin
		if now.Up >= c.dose.deadline && !waits {
			c.doubt(now, "no report in time")
		}
	case doseUncertain:
		if now.Up >= c.dose.settleBy {
			c.settle(now, ledger.OutcomeUncertain, c.dose.most, "no word for one mixing time; counted in full")
		}
	}
}

// doubt leaves the dose open and counted in full until a word comes or one mixing
// time has passed.
func (c *Core) doubt(now dosing.Instant, why string) {
	plan := c.dose.intent.Plan()
	c.dose.state = doseUncertain
	c.dose.settleBy = now.Up + c.tanks[plan.Tank].plant.MixingTime()
	c.watch.Doubted(now, plan.Tank, plan.Pump)
	c.notice(Notice{Kind: NoticeDose, Tank: plan.Tank, Order: c.dose.intent.Order(), Pump: plan.Pump, Volume: plan.Volume,
		Outcome: ledger.OutcomeUncertain, Active: true, Text: why})
	c.out.Changed = true
}

// settle closes the open dose with what counts of it. The settlement may reach the
// disk later than the counts change: until it does, a crash counts the dose in full.
func (c *Core) settle(now dosing.Instant, outcome ledger.Outcome, counted dosing.Volume, cause string) {
	d := c.dose
	if d.contradicts != "" {
		cause = "contradiction: " + d.contradicts
	}
	s := ledger.Settle(d.intent, outcome, counted, now, cause)
	plan := s.Plan()
	delivered := outcome != ledger.OutcomeWithdrawn && outcome != ledger.OutcomeRefused
	c.watch.Closed(now, plan.Tank, plan.Pump, s.Order().Key(), d.fate(outcome), s.Volume())
	c.tanks[plan.Tank].loops.Closed(dosing.Dose{Key: s.Order().Key(), Tank: plan.Tank, Pump: plan.Pump, Volume: plan.Volume, Up: now.Up}, s.Volume(), delivered)
	if delivered {
		c.tanks[plan.Tank].dosedIons(&c.settings.Safety, plan.Pump, s.Volume())
	}
	c.pumps[plan.Pump].doses[outcome]++
	c.pumps[plan.Pump].volume[outcome] += s.Volume()
	c.out.Append = append(c.out.Append, s)
	c.recordOwed(now, plan.Tank)
	c.notice(Notice{Kind: NoticeDose, Tank: plan.Tank, Order: s.Order(), Pump: plan.Pump, Volume: s.Volume(), Outcome: outcome, Text: cause})
	c.dose = openDose{}
	c.out.Changed = true
	kept := spoken{intent: d.intent, run: d.run, counted: s.Volume(), outcome: outcome, word: d.word}
	c.keepWord(kept)
	if d.contradicts != "" {
		c.contradicted(now, &kept, d.contradicts)
	}
}

// fate is what the watch must know of an outcome.
func (d *openDose) fate(outcome ledger.Outcome) safety.Fate {
	switch {
	case outcome == ledger.OutcomeConfirmed || outcome == ledger.OutcomeWithdrawn:
		return safety.FateKnown
	case outcome == ledger.OutcomeRefused && d.forGood:
		return safety.FateRefused
	}
	return safety.FateUnknown
}

// stopRunning stops the open dose when something trips that it must not outlive.
func (c *Core) stopRunning(now dosing.Instant) {
	if c.dose.state < doseOrdered || c.dose.stopped {
		return
	}
	plan := c.dose.intent.Plan()
	trip, blocked := c.watch.Blocks(plan.Tank, plan.Pump)
	if !blocked || trip.Cause == safety.CauseDoseOpen || trip.Cause == safety.CauseDoseUncertain || trip.Cause == safety.CauseNodeBusy {
		return
	}
	c.dose.stopped = true
	c.out.Stops = append(c.out.Stops, StopOrder{Tank: plan.Tank, Pump: plan.Pump})
}
