package loop

import (
	"math"
	"time"

	"leat/dosing"
)

// Dead bands around the settled prediction, to which half a smallest dose adds.
const (
	deadBandPH = 0.02
	deadBandEC = 0.01 // mS/cm

	leftPH = 0.07 // of an acid need, most that is left to the acid of stocks to come
)

// Next is called once a decision period. limits[p] is the largest volume that
// the gate would let pump p deliver now, 0 where it holds or waits. It returns at
// most one plan, rounded down to whole microlitres and no smaller than the
// pump's smallest repeatable dose; nothing inside the dead bands and nothing for
// a quantity that is unknown or stale.
//
// Order: pH while it is outside its warn band; outside its start band by turns with a
// blend already begun, for base and stocks each keep the other away for a while, and
// outside half of it while slow water drinks stock, which would keep the pump for hours; then
// that blend, new EC demand, and pH. The order is for the free pump only: what the gate
// holds stands in nobody's way.
func (l *Loops) Next(now dosing.Instant, target dosing.Target, limits []dosing.Volume) (dosing.Plan, bool) {
	if len(limits) < len(l.pumps) {
		return dosing.Plan{}, false
	}
	s := l.prospect(now, target)
	reagent, wanted := l.reagent(now, target, &s.planned.ph, limits)
	off := math.Abs(s.planned.ph.settled - float64(target.PH))
	turn := dosing.StartBand.PH
	if l.ec.waters.leak(l.horizon()) > deadBandEC/2 {
		turn /= 2
	}
	if wanted && (off > dosing.WarnBand.PH || off > turn && (l.stockLast || !l.blend.begun(now, l.tank.MixingTime(), limits))) {
		return reagent, true
	}
	if stock, ok := l.stock(now, target, &s.planned.ec, limits); ok {
		return stock, true
	}
	return reagent, wanted
}

// reagent plans acid or base.
func (l *Loops) reagent(now dosing.Instant, target dosing.Target, ph *outlook, limits []dosing.Volume) (dosing.Plan, bool) {
	pumps, own, other, reason := l.acids, l.lastAcid, l.lastBase, dosing.ReasonPHHigh
	if ph.need < 0 {
		pumps, own, other, reason = l.bases, l.lastBase, l.lastAcid, dosing.ReasonPHLow
	}
	refused := false
	plan, ok := dosing.Plan{}, false
	failing := math.Abs(ph.settled - float64(target.PH))
	for _, id := range pumps {
		p := &l.pumps[id]
		perML := math.Abs(p.AcidPerML) / float64(l.tank.Quick())
		smallest := float64(p.MinDose.Millilitres() * perML)
		amount := ph.amount(float64(target.PH), deadBandPH, smallest)
		if !(amount > 0) {
			continue
		}
		if other.after(own) && !(failing > dosing.ChangeoverError) || other.within(dosing.ChangeoverWait, now.Up) && !(failing > dosing.ChangeoverHurry) {
			continue
		}
		// An amount of exactly one smallest dose must not round to just below it.
		volume := min(max(dosing.FromMillilitres(amount/perML), p.MinDose), limits[id])
		if volume < p.MinDose {
			refused = true
			continue
		}
		if ph.topUp {
			reason = dosing.ReasonTopUp
		}
		plan, ok = dosing.Plan{Tank: l.id, Pump: id, Volume: volume, Reason: reason}, true
		break
	}
	l.phWithheld.note(refused && !ok, now.Up)
	return plan, ok
}

// begun says whether a blend was begun and must be finished first. A stock without
// a macro ion that the gate has refused for a mixing time holds the others no
// longer; it stays owed.
func (b *blend) begun(now dosing.Instant, mixing time.Duration, limits []dosing.Volume) bool {
	whole, trace := b.left(limits)
	b.traceRefused.note(trace, now.Up)
	return whole || trace && !b.traceRefused.forTooLong(now.Up, mixing)
}

// stock plans the next stock: the rest of a blend first, then a new one. Above
// the band there is no plan, since adding cannot lower EC.
func (l *Loops) stock(now dosing.Instant, target dosing.Target, ec *outlook, limits []dosing.Volume) (dosing.Plan, bool) {
	if !ec.known || !l.blend.usable() {
		l.ecWithheld.note(false, now.Up)
		return dosing.Plan{}, false
	}
	reason := dosing.ReasonBlendOwed
	if !l.blend.begun(now, l.tank.MixingTime(), limits) {
		amount := 0.0
		if ec.need < 0 {
			amount = ec.amount(float64(target.EC), deadBandEC, l.blend.smallest)
		}
		if !(amount > 0) || !l.blend.ready(limits) {
			l.ecWithheld.note(amount > 0, now.Up)
			return dosing.Plan{}, false
		}
		// A remainder below its pump's smallest dose is part of what is needed, but cannot be
		// given: begun is at least what makes one stock due.
		l.blend.owe(max(min(amount-l.blend.ecOwed(), portion), l.blend.step()))
		reason = dosing.ReasonECLow
		if ec.topUp {
			reason = dosing.ReasonTopUp
		}
	}
	// The last stock of a blend may pass the target by the dead band, no more: the
	// rest waits until there is room for it.
	room := float64(target.EC) + deadBandEC + l.blend.smallest/2 - ec.settled
	id, volume, ok := l.blend.next(l.lastGroup, limits, room)
	l.ecWithheld.note(!ok && room > 0, now.Up)
	if !ok {
		return dosing.Plan{}, false
	}
	return dosing.Plan{Tank: l.id, Pump: id, Volume: volume, Reason: reason}, true
}

// Opened notes a dose that became an intent; it is in the totals already.
func (l *Loops) Opened(d dosing.Dose) {
	if d.Tank != l.id || int(d.Pump) >= len(l.pumps) {
		return
	}
	p := &l.pumps[d.Pump]
	l.strong.given(float64(d.Volume.Millilitres()*p.AcidPerML)/float64(l.tank.Quick()), &l.ph, d.Up)
	switch p.Role {
	case dosing.RoleAcid:
		l.stockLast = false
		l.lastAcid = given{at: d.Up, ever: true}
	case dosing.RoleBase:
		l.stockLast = false
		l.lastBase = given{at: d.Up, ever: true}
	case dosing.RoleStock:
		l.stockLast = true
		l.blend.owed[d.Pump] -= d.Volume
		if p.Group != dosing.GroupNeutral {
			l.lastGroup = p.Group
		}
	}
}

// Closed notes that a dose was settled at delivered. One that was withdrawn was
// never counted, and what a stopped one did not give is owed again.
func (l *Loops) Closed(d dosing.Dose, delivered dosing.Volume, counted bool) {
	if d.Tank != l.id || int(d.Pump) >= len(l.pumps) || l.pumps[d.Pump].Role != dosing.RoleStock {
		return
	}
	if !counted {
		delivered = 0
	}
	// What was given beyond the order is given: nothing is owed back for it.
	owed := &l.blend.owed[d.Pump]
	*owed = max(*owed+d.Volume-delivered, min(*owed, 0))
}

// Owed is what a begun blend still owes, by pump. The slice is the loops' own.
func (l *Loops) Owed() []dosing.Volume { return l.blend.owed }
