package sim

import (
	"time"

	"leat/dosing"
	"leat/dosing/chem"
)

func onTank(change func(*trouble)) func(*Farm, *injection) {
	return func(_ *Farm, i *injection) { change(&i.tank.trouble) }
}

func onProbe(q dosing.Quantity, change func(*probeTrouble)) func(*Farm, *injection) {
	return func(f *Farm, i *injection) { f.eachProbe(i, q, func(p *probe) { change(&p.trouble) }) }
}

func onPump(role dosing.Role, change func(*Farm, *pump)) func(*Farm, *injection) {
	return func(f *Farm, i *injection) {
		if p := f.pumpOf(i, role); p != nil {
			change(f, p)
		}
	}
}

func onNode(change func(*nodeTrouble)) func(*Farm, *injection) {
	return func(f *Farm, i *injection) {
		if n := f.nodeOf(i); n != nil {
			change(&n.trouble)
		}
	}
}

func onLink(change func(*linkTrouble)) func(*Farm, *injection) {
	return func(f *Farm, _ *injection) { change(&f.link.trouble) }
}

func both(a, b func(*Farm, *injection)) func(*Farm, *injection) {
	return func(f *Farm, i *injection) { a(f, i); b(f, i) }
}

func tray(wet bool) func(*Farm, *injection) { return func(f *Farm, _ *injection) { f.wet = wet } }

func strength(factor float64) func(*Farm, *pump) {
	return func(_ *Farm, p *pump) { p.liquid = chem.Totals{}.Add(p.liquid, factor) }
}

// ChangedWater is the top-up of a source that has changed: meq/L and mS/cm.
type ChangedWater struct{ Alkalinity, EC float64 }

// HardTopUp and SaltyTopUp are what the faults of those names let in.
var (
	HardTopUp  = ChangedWater{5, 0.5}
	SaltyTopUp = ChangedWater{2, 2.1}
)

func source(w chem.Totals) func(*Farm, *injection) {
	return onTank(func(t *trouble) { t.source, t.sourceSet = w, true })
}

// drifting changes a pump's rate evenly to the full amount within a time.
func drifting(role dosing.Role, amount float64, within time.Duration) func(*Farm, *injection) {
	return func(f *Farm, i *injection) {
		if p := f.pumpOf(i, role); p != nil {
			p.trouble.gain = amount * min(float64(f.now-i.At)/float64(within), 1)
		}
	}
}

func driftingProbe(q dosing.Quantity, perHour float64) func(*Farm, *injection) {
	return func(f *Farm, i *injection) {
		f.eachProbe(i, q, func(p *probe) { p.trouble.perHour, p.trouble.since = perHour, f.now })
	}
}

func stuckLevel(share float64) func(*Farm, *injection) {
	return func(f *Farm, i *injection) {
		f.eachProbe(i, dosing.QuantityLevel, func(p *probe) {
			p.trouble.isFixed, p.trouble.fixed = true, share*i.tank.plant.Litres
		})
	}
}

// wildSample makes one input of the tank or of the station send once what is not so:
// a switch the contrary, anything else what its wire may carry.
func wildSample(f *Farm, i *injection) {
	var all []*probe
	for _, p := range f.probes {
		if p.set.Tank == i.tank.id || p.set.Tank == dosing.AllTanks {
			all = append(all, p)
		}
	}
	if len(all) == 0 {
		return
	}
	p := all[f.chance.uint64()%uint64(len(all))]
	most := map[dosing.Quantity]float64{dosing.QuantityPH: 14, dosing.QuantityEC: 12, dosing.QuantityTemperature: 110,
		dosing.QuantityLevel: 2 * i.tank.plant.Litres, dosing.QuantityRedox: 2000, dosing.QuantityStockLevel: 200}[p.set.Quantity]
	p.trouble.isWild, p.trouble.wild = true, f.chance.uniform(0, most)
	if p.set.Quantity.Switch() {
		p.trouble.wild = 1 - f.truthOf(p)
	}
}

// driftTo7 takes a drying probe to 7 within some ten minutes.
func driftTo7(f *Farm, i *injection) {
	f.eachProbe(i, dosing.QuantityPH, func(p *probe) {
		p.trouble.offset += float64((7 - p.shown - p.trouble.offset) * 0.005)
	})
}

// inputOpen is a pH input with nothing on it, whose node reads 7.00 and 7.01 by turns, and
// a thermometer that sends its word for broken once in ten minutes.
func inputOpen(f *Farm, i *injection) {
	f.eachProbe(i, dosing.QuantityPH, func(p *probe) {
		p.trouble.isFixed, p.trouble.noise = true, -1
		p.trouble.fixed = 7 + 0.01*float64(f.now/time.Minute%2)
	})
	f.eachProbe(i, dosing.QuantityTemperature, func(p *probe) {
		if p.trouble.text = ""; f.now%(10*time.Minute) < p.period {
			p.trouble.text = "-1023"
		}
	})
}

// deadWanders is an electrode that nothing in the water moves: every ten minutes a step.
func deadWanders(f *Farm, i *injection) {
	f.eachProbe(i, dosing.QuantityPH, func(p *probe) {
		t := &p.trouble
		if !t.isFixed {
			t.isFixed, t.fixed, i.due = true, p.shown, f.now
		}
		if f.now < i.due {
			return
		}
		i.due = f.now + 10*time.Minute
		step := 0.19
		if f.chance.uint64()%2 == 0 {
			step = -step
		}
		if t.fixed+step < 5 || t.fixed+step > 7 {
			step = -step
		}
		t.fixed += step
	})
}

// phosphateRunsDown takes the phosphate but a little and leaves nitrate for its charge, so
// that pH stays nearly where it is.
func phosphateRunsDown(_ *Farm, i *injection) {
	const left = 0.05
	for _, t := range i.tank.waters() {
		one, two := t.now.Species[chem.H2PO4], t.now.Species[chem.HPO4]
		charge := 1 + two/max(one+two, 1e-9)
		parts := []*parcel{&t.bulk}
		for k := range t.zones {
			parts = append(parts, &t.zones[k].water)
		}
		for _, p := range parts {
			lost := max(p.ions.P-left*p.litres, 0)
			gone := chem.Totals{P: lost, NO3: -charge * lost}
			p.ions = p.ions.Add(gone, -1)
			t.book.drained.ions = t.book.drained.ions.Add(gone, 1)
		}
	}
}

// rebootInDose waits for a dose, lets it run to a random point and cuts the power;
// if none comes within a quarter of an hour, it does so without.
func rebootInDose(f *Farm, i *injection) {
	if i.count > 0 {
		return
	}
	if i.due == 0 {
		for k, n := range f.nodes {
			if r := n.running; r != nil && n.up(f.now) {
				i.node = f.nodes[k]
				i.due = f.now + time.Duration(f.chance.uniform(0, float64(r.length)*0.8)).Truncate(time.Second)
			}
		}
		if i.due == 0 && f.now < i.At+15*time.Minute {
			return
		}
	}
	if f.now >= i.due {
		i.count++
		f.rebootNode(f.nodeOf(i))
	}
}

func rebootLoop(f *Farm, i *injection) {
	if f.now >= i.due {
		i.due = f.now + 2*time.Minute
		f.rebootNode(f.nodeOf(i))
	}
}

func (f *deeds) rebootNode(n *node) {
	if n != nil {
		f.Reboot(int(n.id))
	}
}

// forgeLease sends every node a lease of an epoch that is not the daemon's.
func forgeLease(epoch uint32) func(*Farm, *injection) {
	return func(f *Farm, _ *injection) {
		for _, n := range f.nodes {
			n.renew(&f.network, epoch, 1)
		}
	}
}

// lowerLimit sets the node of the acid pump to a tenth of the longest run that is
// configured.
func lowerLimit(f *Farm, i *injection) {
	if p := f.pumpOf(i, dosing.RoleAcid); p != nil {
		f.LimitRun(p.id, f.settings.Safety.Caps[p.id].OnTime/10)
	}
}

func swapAcidAndBase(f *Farm, i *injection) {
	acid := f.pumpOf(i, dosing.RoleAcid)
	for _, base := range f.pumps {
		if acid != nil && base.set.Role == dosing.RoleBase && base.set.ServesTank(i.tank.id) {
			acid.liquid, base.liquid = base.liquid, acid.liquid
			return
		}
	}
}

func stockInAcidLine(f *Farm, i *injection) {
	acid := f.pumpOf(i, dosing.RoleAcid)
	for _, stock := range f.pumps {
		if acid != nil && stock.set.Role == dosing.RoleStock && stock.set.ServesTank(i.tank.id) {
			acid.liquid = stock.liquid
			return
		}
	}
}

// lineBurst wets the tray once something has run out of the line.
func lineBurst(f *Farm, i *injection) {
	if p := f.pumpOf(i, dosing.RoleAcid); p != nil {
		p.trouble.burst = true
		f.wet = f.wet || p.spilled > 0
	}
}

// acidByHand pours as much acid as takes a water of 1 meq/L per pH down by 0.4.
func acidByHand(f *Farm, i *injection) {
	if p := f.pumpOf(i, dosing.RoleAcid); p != nil {
		meq := 0.4 * i.tank.litres()
		f.AddByHand(i.tank.id, p.id, dosing.FromMillilitres(1000*meq/strengthOf(p.liquid)))
	}
}

// waterChange drains four fifths within five minutes and fills up with top-up water
// within the next five.
func waterChange(f *Farm, i *injection) {
	const takes = 5 * time.Minute
	t := i.tank
	if i.amount == 0 {
		i.amount = 0.8 * t.bulk.litres
	}
	part := i.amount / takes.Seconds()
	for _, t := range t.waters() {
		switch {
		case f.now < i.At+takes:
			t.drain(part)
		case f.now < i.At+2*takes:
			fresh := water(t.topUpWater(), part)
			t.book.toppedUp.add(fresh)
			t.bulk.add(fresh)
		}
	}
}

// disinfectant makes the water alkaline as a hypochlorite solution is. Chlorine is
// outside the chemistry; sodium and hydroxide are not.
func disinfectant(_ *Farm, i *injection) {
	for _, t := range i.tank.waters() {
		added := parcel{ions: chem.Totals{Na: 6 * t.bulk.litres}}
		t.book.added.add(added)
		t.bulk.add(added)
	}
	i.tank.trouble.redoxShift = 370
}
