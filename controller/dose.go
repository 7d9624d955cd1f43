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

// doses leads the open dose through its life, and hears what nodes say of it and of
// those before it.
type doses struct {
	*station
	waits      *waits
	interlocks *interlocks
	accounts   *accounts
	stocks     *stocks
	epochs     *epochs
	spoken     []spoken          // settled doses, the newest last
	owed       [][]dosing.Volume // the blend's remainder as last recorded, by tank and pump
	abandoned  []ledger.Intent   // open at the end of an earlier run; begin settles them
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
func (ds *doses) intend(now dosing.Instant, plan dosing.Plan, clearance *safety.Clearance) bool {
	order := ledger.OrderID{Epoch: ds.epochs.epoch, Number: ds.epochs.number + 1}
	intent, err := ledger.Intend(clearance, order, ds.basis(plan))
	if err != nil {
		return false
	}
	ds.epochs.number++
	ds.dose = openDose{state: doseIntended, intent: intent, node: ds.settings.Safety.PumpNode[plan.Pump]}
	d := dosing.Dose{Key: order.Key(), Tank: plan.Tank, Pump: plan.Pump, Volume: plan.Volume, Up: now.Up, Open: true}
	ds.watch.Opened(d)
	ds.tanks[plan.Tank].loops.Opened(d)
	// The blend's debt goes first: a crash between the two rows then leaves a part
	// undosed, never dosed twice.
	ds.recordOwed(now, plan.Tank)
	ds.out.Append = append(ds.out.Append, intent)
	ds.out.Changed = true
	return true
}

func (ds *doses) basis(plan dosing.Plan) ledger.Basis {
	b := ledger.Basis{Configuration: ds.settings.Version, TankName: ds.tankName(plan.Tank), PumpName: ds.settings.Safety.Pumps[plan.Pump].Name}
	for i := range ds.settings.Safety.Inputs {
		in := &ds.settings.Safety.Inputs[i]
		if in.Tank != plan.Tank {
			continue
		}
		reading, _, ok := ds.watch.Input(dosing.InputID(i))
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
func (ds *doses) durable(now dosing.Instant, receipt ledger.Receipt) {
	intent, ok := receipt.Intent()
	if !ok || ds.dose.state != doseIntended || intent.Order() != ds.dose.intent.Order() {
		return
	}
	plan := intent.Plan()
	verdict := ds.gate.Recheck(now, plan, intent.Order().Key())
	if !verdict.Allowed {
		ds.waits.refused(now, plan, verdict)
		ds.settle(now, ledger.OutcomeWithdrawn, 0, "refused before it was sent: "+verdict.Cause.String())
		return
	}
	boot, tick, _, seen := ds.watch.Node(now, ds.dose.node)
	waited := now.Since(intent.At())
	if !seen || !ds.linkUp || waited >= startWindow {
		ds.settle(now, ledger.OutcomeWithdrawn, 0, "not sent: link, node or start window gone")
		return
	}
	run := plan.Volume.RunTime(ds.settings.Safety.Pumps[plan.Pump].PerSecond)
	ds.dose.state, ds.dose.boot, ds.dose.sent, ds.dose.run = doseOrdered, boot, now.Up, run
	ds.dose.deadline = now.Up + startWindow - waited + run + reportGrace
	ds.out.Orders = append(ds.out.Orders, Order{
		id: intent.Order(), tank: plan.Tank, pump: plan.Pump, volume: plan.Volume, run: run,
		boot: boot, before: tick + startWindow - waited, expires: now.Wall.Add(startWindow - waited),
	})
	ds.notice(Notice{Kind: NoticeDose, Tank: plan.Tank, Order: intent.Order(), Pump: plan.Pump, Volume: plan.Volume, Active: true,
		Text: plan.Reason.String()})
	ds.out.Changed = true
}

// withdrawn is told that the link was closed before the order was written to it:
// the only doubt-free way for a sent order not to exist.
func (ds *doses) withdrawn(now dosing.Instant, order ledger.OrderID) {
	if ds.dose.state == doseOrdered && ds.dose.intent.Order() == order {
		ds.settle(now, ledger.OutcomeWithdrawn, 0, "the link was closed before the order left")
	}
}

// watchOpen looks after the open dose as time passes.
func (ds *doses) watchOpen(now dosing.Instant) {
	switch ds.dose.state {
	case doseOrdered:
		waits := ds.dose.saying != nil && now.Up < ds.dose.saying.at+agreeWithin
		if now.Up >= ds.dose.deadline && !waits {
			ds.doubt(now, "no report in time")
		}
	case doseUncertain:
		if now.Up >= ds.dose.settleBy {
			ds.settle(now, ledger.OutcomeUncertain, ds.dose.most, "no word for one mixing time; counted in full")
		}
	}
}

// doubt leaves the dose open and counted in full until a word comes or one mixing
// time has passed.
func (ds *doses) doubt(now dosing.Instant, why string) {
	plan := ds.dose.intent.Plan()
	ds.dose.state = doseUncertain
	ds.dose.settleBy = now.Up + ds.tanks[plan.Tank].plant.MixingTime()
	ds.watch.Doubted(now, plan.Tank, plan.Pump)
	ds.notice(Notice{Kind: NoticeDose, Tank: plan.Tank, Order: ds.dose.intent.Order(), Pump: plan.Pump, Volume: plan.Volume,
		Outcome: ledger.OutcomeUncertain, Active: true, Text: why})
	ds.out.Changed = true
}

// settle closes the open dose with what counts of it. The settlement may reach the
// disk later than the counts change: until it does, a crash counts the dose in full.
func (ds *doses) settle(now dosing.Instant, outcome ledger.Outcome, counted dosing.Volume, cause string) {
	d := ds.dose
	if d.contradicts != "" {
		cause = "contradiction: " + d.contradicts
	}
	s := ledger.Settle(d.intent, outcome, counted, now, cause)
	plan := s.Plan()
	delivered := outcome != ledger.OutcomeWithdrawn && outcome != ledger.OutcomeRefused
	ds.watch.Closed(now, plan.Tank, plan.Pump, s.Order().Key(), d.fate(outcome), s.Volume())
	ds.tanks[plan.Tank].loops.Closed(dosing.Dose{Key: s.Order().Key(), Tank: plan.Tank, Pump: plan.Pump, Volume: plan.Volume, Up: now.Up}, s.Volume(), delivered)
	if run := ds.tanks[plan.Tank].titration; run != nil {
		run.gave(now, &ds.tanks[plan.Tank], &ds.settings.Safety.Pumps[plan.Pump], plan, outcome, s.Volume())
	}
	if f := ds.tanks[plan.Tank].fillUp; f != nil && outcome != ledger.OutcomeWithdrawn {
		f.gave(plan.Pump, s.Volume())
	}
	if delivered {
		ds.tanks[plan.Tank].dosedIons(&ds.settings.Safety, plan.Pump, s.Volume())
	}
	ds.stocks.counts[plan.Pump].doses[outcome]++
	ds.stocks.counts[plan.Pump].volume[outcome] += s.Volume()
	ds.out.Append = append(ds.out.Append, s)
	ds.recordOwed(now, plan.Tank)
	ds.notice(Notice{Kind: NoticeDose, Tank: plan.Tank, Order: s.Order(), Pump: plan.Pump, Volume: s.Volume(), Outcome: outcome, Text: cause})
	ds.dose = openDose{}
	ds.out.Changed = true
	kept := spoken{intent: d.intent, run: d.run, counted: s.Volume(), outcome: outcome, word: d.word}
	ds.keepWord(kept)
	if d.contradicts != "" {
		ds.contradicted(now, &kept, d.contradicts)
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
func (il *interlocks) stopRunning(now dosing.Instant) {
	if il.dose.state < doseOrdered || il.dose.stopped {
		return
	}
	plan := il.dose.intent.Plan()
	trip, blocked := il.watch.Blocks(plan.Tank, plan.Pump)
	if !blocked || trip.Cause == safety.CauseDoseOpen || trip.Cause == safety.CauseDoseUncertain || trip.Cause == safety.CauseNodeBusy {
		return
	}
	il.dose.stopped = true
	il.out.Stops = append(il.out.Stops, StopOrder{Tank: plan.Tank, Pump: plan.Pump})
}

// recordOwed writes down what a begun blend still owes, so that a restart finishes
// it rather than leaving the ratio bent.
func (ds *doses) recordOwed(now dosing.Instant, id dosing.TankID) {
	t := &ds.tanks[id]
	for p, volume := range t.loops.Owed() {
		if ds.owed[id][p] == volume {
			continue
		}
		ds.owed[id][p] = volume
		ds.change(ledger.Change{Kind: ledger.ChangeOwed, At: now, Tank: t.plant.Name, Pump: ds.settings.Safety.Pumps[p].Name, Volume: volume})
	}
}
