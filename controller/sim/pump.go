package sim

import (
	"time"

	"leat/dosing"
	"leat/dosing/chem"
)

// pump is one pump with its container as they really are.
type pump struct {
	id     dosing.PumpID
	set    *dosing.Pump
	random *stream

	rate   float64     // true microlitres per millisecond
	liquid chem.Totals // what is in the container, mmol per L
	// belongs is what should be in it.
	belongs chem.Totals
	left    dosing.Volume
	rest    float64 // part of a microlitre not yet moved

	drawn   dosing.Volume // left the container
	spilled dosing.Volume // of it, onto the floor
	backed  float64       // L of tank water that ran back into the container

	trouble pumpTrouble
}

// pumpTrouble is what faults do to a pump; the zero value is none.
type pumpTrouble struct {
	stuckOn  bool
	dead     bool
	gain     float64 // of the rate, less 1
	airLock  int     // orders that it still lasts
	siphon   float64 // mL per minute that run through by themselves
	backflow float64 // mL per minute that run back from the tank
	burst    bool    // the line ends on the floor
}

// shot is how one order runs: no order repeats the last exactly, and one below
// the smallest repeatable dose is anyone's guess.
func (p *pump) shot(volume dosing.Volume, quiet bool) float64 {
	s := 1.0
	if !quiet {
		s += float64(0.005 * p.random.gauss())
	}
	if volume < p.set.MinDose {
		s *= p.random.uniform(0.3, 1)
	}
	if p.trouble.airLock > 0 {
		p.trouble.airLock--
		s *= p.random.uniform(0, 0.5)
	}
	return s
}

// run moves liquid for d of on-time into the tank.
func (p *pump) run(d time.Duration, shot float64, to *tank) {
	if p.trouble.dead {
		return
	}
	gain := max(1+p.trouble.gain, 0)
	p.move(float64(p.rate*gain)*shot*float64(d)/float64(time.Millisecond), to)
}

// move takes microlitres from the container, as far as it holds them, whole ones
// only: the rest waits for the next call.
func (p *pump) move(microlitres float64, to *tank) {
	p.rest += microlitres
	whole := dosing.Volume(p.rest)
	if whole <= 0 {
		return
	}
	p.rest -= float64(whole)
	if p.set.Role == dosing.RoleWater {
		p.fill(whole, to)
		return
	}
	if whole > p.left {
		whole, p.rest = p.left, 0
	}
	p.left -= whole
	p.drawn += whole
	if p.trouble.burst {
		p.spilled += whole
		return
	}
	dose := water(p.liquid, whole.Litres())
	to.entered.add(dose)
	to.book.dosed.add(dose)
	to.delivered[p.id] += whole
}

// fill lets source water in, which no container bounds, into the water as it would be
// without doses, too.
func (p *pump) fill(whole dosing.Volume, to *tank) {
	if to.trouble.valveShut || to.trouble.valveOpen {
		return // no water comes, or it runs in any case
	}
	p.drawn += whole
	to.delivered[p.id] += whole
	for _, t := range to.waters() {
		t.letIn(water(t.topUpWater(), whole.Litres()))
	}
}

// drift moves what runs by itself in one second.
func (p *pump) drift(to *tank) {
	if p.trouble.siphon > 0 {
		p.move(p.trouble.siphon*1000/60, to)
	}
	if p.trouble.backflow > 0 {
		back := to.bulk.takeLitres(p.trouble.backflow / 60000)
		to.book.drained.add(back)
		mixed := water(p.liquid, p.left.Litres())
		mixed.add(back)
		p.liquid = mixed.perLitre()
		p.backed += back.litres
		p.left += dosing.FromMillilitres(back.litres * 1000)
	}
}
