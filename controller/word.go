package controller

import (
	"fmt"
	"time"

	"leat/dosing"
	"leat/safety/ledger"
)

// What nodes say is believed against the order. A word may raise what counts at
// once; it lowers it only when the node's own word, its run time and its heartbeat
// agree. Whoever can publish a report could otherwise take millilitres out of the
// ledger that are in the tank, and the caps would let them be given again.

const (
	agreeing     = 2               // heartbeats that must agree with a word before it may lower a count
	agreeApart   = time.Second     // by the node's own tick, so that a copy is no second witness
	agreeAfter   = time.Second / 2 // a heartbeat this close to the word may have been sent before it
	agreeWithin  = 6 * time.Second // three heartbeats: beyond the deadline a word waits no longer
	offBy        = 5               // a fifth of the order: what lies farther from it contradicts it
	heartbeatGap = 2 * time.Second // how far apart heartbeats are, and so how well they tell a run time
	keptWords    = 64              // orders on which a later word is still compared
)

// saying is a word on the open dose that would count less than the order, or that
// came before its pump can have ended. It waits for heartbeats.
type saying struct {
	word  Report
	at    time.Duration // uptime
	beats int           // heartbeats that agree
	tick  time.Duration // of the first of them
}

// spoken is a settled dose, for the words that still come on it.
type spoken struct {
	intent  ledger.Intent
	run     time.Duration // as ordered
	counted dosing.Volume
	outcome ledger.Outcome
	word    *Report // by which it was settled; nil = by nobody's word
}

// worth is what a word means at most: its volume, or what its run time gives.
func worth(word *Report, ordered dosing.Volume, run time.Duration) dosing.Volume {
	return max(word.Volume, ranFor(word.Run, ordered, run))
}

// ranFor is what a run time gives, by the order's own ratio of volume and run.
func ranFor(ran time.Duration, ordered dosing.Volume, run time.Duration) dosing.Volume {
	if run <= 0 || (ran-run).Abs() <= run/50+2*time.Millisecond { // a node counts whole milliseconds
		return ordered
	}
	return dosing.Volume(float64(ordered) * (float64(ran) / float64(run)))
}

func far(a, from, ordered dosing.Volume) bool {
	return a-from > ordered/offBy || from-a > ordered/offBy
}

func sameWord(a, b *Report) bool {
	return a.Order == b.Order && a.Phase == b.Phase && a.Volume == b.Volume && a.Run == b.Run
}

// report takes a node's word on an order.
func (ds *doses) report(now dosing.Instant, r *Report) {
	final := r.Phase == PhaseDone || r.Phase == PhaseStopped || r.Phase == PhaseRefused
	if ds.dose.state < doseOrdered || r.Order != ds.dose.intent.Order() {
		if final {
			ds.laterWord(now, r)
		}
		return
	}
	d := &ds.dose
	switch {
	case r.Phase == PhaseRunning:
		d.began = true
	case !final || d.saying != nil && sameWord(&d.saying.word, r):
	case ds.plain(now, r):
		ds.settleBy(now, r)
	default:
		if d.saying != nil {
			d.contradict("said " + told(&d.saying.word) + " and then " + told(r))
		}
		d.saying = &saying{word: *r, at: now.Up}
		if r.Phase != PhaseRefused {
			d.most = max(d.most, worth(r, d.intent.Plan().Volume, d.run))
		}
	}
}

// plain says that a word counts at least the order and may be true by our own
// clock: it needs no other witness.
func (ds *doses) plain(now dosing.Instant, r *Report) bool {
	return r.Phase == PhaseDone && now.Up-ds.dose.sent >= ds.dose.run-ds.dose.run/offBy-agreeAfter
}

// settleBy settles the open dose by a word that is believed. What it lacks of the
// order counts all the same, unless it is a stop.
func (ds *doses) settleBy(now dosing.Instant, r *Report) {
	d := &ds.dose
	ordered := d.intent.Plan().Volume
	switch {
	case r.Phase == PhaseRefused:
		ds.refusedByNode(now, r)
		return
	case far(r.Volume, ordered, ordered) && r.Phase == PhaseDone, far(ranFor(r.Run, ordered, d.run), ordered, ordered) && r.Phase == PhaseDone:
		d.contradict(fmt.Sprintf("%s of %s ordered in %s", told(r), ordered, d.run))
	case d.saying != nil && !sameWord(&d.saying.word, r):
		d.contradict("said " + told(&d.saying.word) + " and then " + told(r))
	}
	counted := max(worth(r, ordered, d.run), d.most)
	if r.Phase == PhaseDone || d.contradicts != "" {
		counted = max(counted, ordered)
	}
	d.word = r
	ds.settle(now, ledger.OutcomeConfirmed, counted, r.Cause)
}

// contradict keeps the first contradiction: what followed came of it.
func (d *openDose) contradict(how string) {
	if d.contradicts == "" {
		d.contradicts = how
	}
}

func told(r *Report) string {
	if r.Phase == PhaseRefused {
		return "refused (" + r.Cause + ")"
	}
	return fmt.Sprintf("%s, %s in %s", r.Phase, r.Volume, r.Run)
}

// heartbeat passes a node's word on. Its last order settles a dose whose report
// was lost; another boot leaves a dose that was under way in doubt.
func (c *Core) heartbeat(now dosing.Instant, h *Heartbeat) {
	c.watch.Heartbeat(now, h.Node, h.Boot, h.Tick, h.Idle)
	c.epochs.compare(now, h)
	if c.dose.state >= doseOrdered && h.Node == c.dose.node && h.Boot == c.dose.boot {
		c.doses.witness(now, h)
	}
	if h.Last != nil {
		c.doses.report(now, h.Last)
	}
	if c.dose.state == doseOrdered && h.Node == c.dose.node && h.Boot != c.dose.boot {
		c.doses.doubt(now, "the node rebooted during the dose")
	}
}

// witness compares a heartbeat with what was said of the open dose.
func (ds *doses) witness(now dosing.Instant, h *Heartbeat) {
	d, s := &ds.dose, ds.dose.saying
	if !h.Idle {
		if !d.busy.ever {
			d.busy.from, d.busy.ever = now.Up, true
		}
		d.busy.to = now.Up
	}
	if s == nil || now.Up-s.at < agreeAfter {
		return
	}
	names := h.Last != nil && h.Last.Order == s.word.Order
	switch {
	case !h.Idle:
		d.contradict("said " + told(&s.word) + ", but its heartbeat says that it is at work")
		d.saying = nil
	case s.word.Phase == PhaseRefused && (names || d.began || d.busy.ever):
		d.contradict("said " + told(&s.word) + ", but began the order")
		d.saying = nil
	case s.word.Phase != PhaseRefused && (!names || !sameWord(h.Last, &s.word)):
		// Its last order is another one, or it has another word on it, which report
		// hears next.
	case s.beats == 0:
		s.beats, s.tick = 1, h.Tick
	case (h.Tick - s.tick).Abs() >= agreeApart:
		if s.beats++; s.beats >= agreeing {
			ds.believe(now, s.word)
		}
	}
}

// believe settles the open dose by a word with which the heartbeats agree, and
// says so where run time and clock do not.
func (ds *doses) believe(now dosing.Instant, word Report) {
	d := &ds.dose
	ordered := d.intent.Plan().Volume
	passed := now.Up - d.sent
	switch {
	case word.Phase == PhaseRefused:
	case word.Run <= 0 && d.began:
		d.contradict("said " + told(&word) + ", but began the order")
	case !ds.settings.Safety.Nodes[d.node].FullContract:
		d.contradict("said " + told(&word) + ", but a node that takes timed pulses counts nothing")
	case far(word.Volume, ranFor(word.Run, ordered, d.run), ordered):
		d.contradict(fmt.Sprintf("%s: volume and run time do not fit the order of %s in %s", told(&word), ordered, d.run))
	case d.busy.ever && (word.Run <= 0 || word.Run < d.busy.to-d.busy.from-heartbeatGap):
		d.contradict(fmt.Sprintf("said %s, but was at work for %s", told(&word), d.busy.to-d.busy.from))
	case word.Run > passed+heartbeatGap, word.Phase == PhaseDone:
		d.contradict(fmt.Sprintf("said %s only %s after the order went out", told(&word), passed.Round(time.Second)))
	}
	d.saying = nil
	ds.settleBy(now, &word)
}

// laterWord hears a word on a settled order: it may raise the count, never lower it.
func (ds *doses) laterWord(now dosing.Instant, r *Report) {
	s := ds.spokenOf(r.Order)
	if s == nil || s.word != nil && sameWord(s.word, r) {
		return
	}
	plan := s.intent.Plan()
	if r.Phase == PhaseRefused {
		if s.outcome == ledger.OutcomeConfirmed && s.word != nil {
			ds.contradicted(now, s, "said "+told(s.word)+" and then "+told(r))
		}
		return
	}
	most := worth(r, plan.Volume, s.run)
	differs := far(most, s.counted, plan.Volume) && (s.word != nil || most > s.counted) || s.outcome == ledger.OutcomeRefused || s.outcome == ledger.OutcomeWithdrawn
	how := fmt.Sprintf("said %s of an order that counts %s", told(r), s.counted)
	if most > s.counted || s.outcome == ledger.OutcomeRefused {
		ds.raise(now, s, max(most, s.counted), how)
	}
	word := *r
	s.word = &word
	if differs {
		ds.contradicted(now, s, how)
	}
}

// raise counts more of a settled dose.
func (ds *doses) raise(now dosing.Instant, s *spoken, volume dosing.Volume, why string) {
	plan := s.intent.Plan()
	outcome, ions := s.outcome, volume-s.counted
	if outcome == ledger.OutcomeWithdrawn || outcome == ledger.OutcomeRefused {
		outcome, ions = ledger.OutcomeConfirmed, volume
	}
	row := ledger.Settle(s.intent, outcome, volume, now, why)
	volume = row.Volume()
	count := &ds.stocks.counts[plan.Pump]
	count.doses[s.outcome]--
	count.volume[s.outcome] -= s.counted
	count.doses[outcome]++
	count.volume[outcome] += volume
	ds.watch.Raised(now, plan.Tank, plan.Pump, s.intent.Order().Key(), volume, s.counted)
	ds.tanks[plan.Tank].dosedIons(&ds.settings.Safety, plan.Pump, ions)
	s.counted, s.outcome = volume, outcome
	ds.out.Append = append(ds.out.Append, row)
	// Behind the row, so that a replay does not add the dose to the account again.
	ds.accounts.recordOf(now, plan.Tank)
	ds.notice(Notice{Kind: NoticeDose, Tank: plan.Tank, Order: s.intent.Order(), Pump: plan.Pump, Volume: volume, Outcome: outcome, Text: why})
	ds.out.Changed = true
}

// contradicted holds the pump whose node contradicts itself, and calls a person.
func (ds *doses) contradicted(now dosing.Instant, s *spoken, how string) {
	plan := s.intent.Plan()
	ds.watch.Contradicted(now, plan.Tank, plan.Pump, "order "+s.intent.Order().String()+": "+how)
	ds.interlocks.evaluate(now)
	ds.out.Changed = true
}

// keepWord remembers a settled dose for the words that still come on it.
func (ds *doses) keepWord(s spoken) {
	if len(ds.spoken) == keptWords {
		copy(ds.spoken, ds.spoken[1:])
		ds.spoken = ds.spoken[:keptWords-1]
	}
	ds.spoken = append(ds.spoken, s)
}

func (ds *doses) spokenOf(order ledger.OrderID) *spoken {
	for i := len(ds.spoken) - 1; i >= 0; i-- {
		if ds.spoken[i].intent.Order() == order {
			return &ds.spoken[i]
		}
	}
	return nil
}

// The words with which a node refuses what no repeat can cure, and those by which it
// knows of later orders than the ledger; deploy/node.md names them. Other words are
// for people, and the order counts as any other in doubt.
const (
	RefusedTooLong     = "longer than this node allows"
	RefusedUnknownPump = "unknown pump"
	RefusedEpochAhead  = "epoch too far ahead"
	RefusedOldEpoch    = "older epoch than one already seen"
	RefusedOldOrder    = "older than the last order"
)

// refusedByNode settles a refused dose: in full for the caps, since the word may be
// wrong, and not at all for what the tank holds. What no repeat can cure is not
// ordered again.
func (ds *doses) refusedByNode(now dosing.Instant, r *Report) {
	plan, node := ds.dose.intent.Plan(), ds.dose.node
	order := ds.dose.intent.Order()
	forGood := r.Cause == RefusedTooLong || r.Cause == RefusedUnknownPump || r.Cause == RefusedEpochAhead || r.Cause == RefusedOldEpoch || r.Cause == RefusedOldOrder
	ds.dose.word, ds.dose.forGood = r, forGood
	ds.settle(now, ledger.OutcomeRefused, 0, r.Cause)
	if r.Cause == RefusedOldEpoch || r.Cause == RefusedOldOrder {
		ds.epochs.behind(now, fmt.Sprintf("node %q refused order %s: %q", ds.settings.Safety.Nodes[node].Name, order, r.Cause), r.Cause == RefusedOldOrder)
	}
	if forGood && !ds.watch.Behind() {
		ds.watch.RefusedForGood(now, plan.Tank, plan.Pump, fmt.Sprintf("node %q refused order %s: %q", ds.settings.Safety.Nodes[node].Name, order, r.Cause))
		ds.interlocks.evaluate(now)
	}
}
