package sim

import (
	"fmt"
	"math"

	"leat/controller"
	"leat/dosing"
	"leat/dosing/chem"
)

// Start is the water of a tank at the start.
type Start struct{ PH, EC float64 } // EC in mS/cm

func (f *Farm) addTanks(o Options) error {
	for i := range f.settings.Safety.Tanks {
		set := &f.settings.Safety.Tanks[i]
		pace := o.Pace
		if pace == 0 {
			pace = 1
		}
		plant := plantOf(f.settings, dosing.TankID(i), o.Seed, pace)
		if i < len(o.Plants) {
			plant = o.Plants[i]
		}
		if o.Quiet {
			plant = plant.still()
		}
		t := &tank{id: dosing.TankID(i), set: set, plant: plant, speed: 1,
			delivered: make([]dosing.Volume, len(f.pumps)), counted: make([]dosing.Volume, len(f.pumps))}
		t.valve = f.valveOf(t.id)
		t.celsius = t.celsiusAt(f.hour)
		t.oxygen = 0.9 * dosing.OxygenSaturation(dosing.Celsius(t.celsius))
		if len(plant.Shift) > 0 {
			var shift [chem.SpeciesCount]float64
			for species, by := range plant.Shift {
				shift[species] = by
			}
			for _, s := range []*chem.Solver{&t.solver, &t.air, &t.rest} {
				s.Shift(shift)
			}
		}
		blend := blendOf(f.pumps, t.id)
		t.uptake = uptakeOf(blend, &plant, plant.Uptake, plant.BaseFlux)
		if night := plant.InDark; night != nil {
			t.uptakeDark = uptakeOf(blend, &plant, night.Uptake, night.BaseFlux)
		}
		want := f.settings.Tanks[i]
		ph, share := o.StartPH, o.StartECShare
		if i < len(o.Starts) {
			ph, share = o.Starts[i].PH, o.Starts[i].EC/want.EC.Value
		}
		if ph == 0 {
			ph = want.PH.Value
		}
		if share == 0 {
			share = 1
		}
		composition, err := f.compose(t, blend, ph, float64(share*want.EC.Value), i < len(o.Starts))
		if err != nil {
			return fmt.Errorf("simulated tank %q: %w", set.Name, err)
		}
		t.bulk = water(composition, float64(plant.Litres*plant.StartShare))
		t.addZones(want.Zones, newStream(o.Seed, "zones "+set.Name))
		t.book.start = t.all()
		t.meetAir(0)
		t.solve(0)
		f.tanks = append(f.tanks, t)
	}
	return nil
}

// valveOf is what a valve that orders open lets into a tank, L/s; 0 = a float does.
func (f *Farm) valveOf(id dosing.TankID) float64 {
	for _, p := range f.pumps {
		if p.set.Role == dosing.RoleWater && p.set.ServesTank(id) {
			return p.rate / 1000 // µL/ms
		}
	}
	return 0
}

// compose finds the water that has this pH and EC: top-up water, so much of the
// blend, and acid or base of the row. Its carbonate is the plant's. A start that nobody
// measured takes the nearest EC that there is: hard water that was brought down with
// acid has more than a weak solution should.
func (f *Farm) compose(t *tank, blend chem.Totals, ph, ec float64, measured bool) (chem.Totals, error) {
	acid, base := chem.Totals{NO3: 1}, chem.Totals{K: 1}
	for i := range f.pumps {
		p := f.pumps[i]
		if !p.set.ServesTank(t.id) {
			continue
		}
		// Per mmol of H+ or OH-, roughly: only the direction matters here.
		switch p.set.Role {
		case dosing.RoleAcid:
			acid = chem.Totals{}.Add(p.liquid, 1/strengthOf(p.liquid))
		case dosing.RoleBase:
			base = chem.Totals{}.Add(p.liquid, 1/strengthOf(p.liquid))
		}
	}
	var last error
	mixture := func(nutrient, shift float64) chem.Totals {
		w := t.plant.TopUp.Add(blend, nutrient)
		w.DIC = t.plant.Carbonate
		if shift >= 0 {
			return w.Add(acid, shift)
		}
		return w.Add(base, -shift)
	}
	measure := func(w chem.Totals, pHOnly bool) chem.Result {
		var r chem.Result
		if err := t.solver.Solve(&w, chem.Conditions{TempC: within(t.celsius, chem.MinTempC, chem.MaxTempC), OnlyHere: pHOnly}, &r); err != nil {
			last = err
		}
		return r
	}
	// More acid, lower pH; more blend, higher EC: two searches, one in the other.
	atPH := func(nutrient float64) chem.Totals {
		acid := falling(-30, 60, func(acid float64) float64 { return measure(mixture(nutrient, acid), true).PH - ph }) // meq/L
		return mixture(nutrient, acid)
	}
	// Litres of blend in a litre of water.
	found := atPH(falling(0, 0.2, func(nutrient float64) float64 { return ec - measure(atPH(nutrient), false).EC25 }))
	r := measure(found, false)
	if r.PH < ph-0.02 || r.PH > ph+0.02 || measured && (r.EC25 < ec-0.02 || r.EC25 > ec+0.02) {
		err := fmt.Errorf("no water of its stocks has pH %.2f and EC %.2f mS/cm (nearest %.2f and %.2f); check stocks, shares and start", ph, ec, r.PH, r.EC25)
		if last != nil {
			err = fmt.Errorf("%w; last refusal: %w", err, last)
		}
		return found, err
	}
	return found, nil
}

// falling finds where a falling function is zero, to 1e-7 of its value, or the end that
// is nearer: by halves until the rest is nearly a line, then by the Illinois variant of
// false position.
func falling(low, high float64, f func(x float64) float64) float64 {
	for range 6 {
		if middle := (low + high) / 2; f(middle) > 0 {
			low = middle
		} else {
			high = middle
		}
	}
	atLow, atHigh, side := f(low), f(high), 0
	for range 60 {
		if !(atLow > 0) {
			return low
		}
		if !(atHigh < 0) {
			return high
		}
		x := (float64(high*atLow) - float64(low*atHigh)) / (atLow - atHigh)
		y := f(x)
		switch {
		case math.Abs(y) < 1e-7:
			return x
		case y > 0:
			if low, atLow = x, y; side > 0 {
				atHigh /= 2
			}
			side = 1
		default:
			if high, atHigh = x, y; side < 0 {
				atLow /= 2
			}
			side = -1
		}
	}
	return (low + high) / 2
}

// strengthOf is about how many milliequivalents a litre of acid or base brings.
func strengthOf(liquid chem.Totals) float64 {
	s := liquid.StrongCharge()
	return max(s, -s, liquid.P, 1)
}

// mostStanding is the largest share of the water that stands in film and rafts: the tank
// keeps enough for its pump and probes.
const mostStanding = 0.8

// addZones fills film and rafts from the tank and plans the floods.
func (t *tank) addZones(zones []controller.Zone, r *stream) {
	standing := 0.0
	for i, set := range zones {
		z := zone{set: set, litres: float64(set.Litres), stays: set.Exchange}
		if i < len(t.plant.ZoneTurnover) {
			z.stays = t.plant.ZoneTurnover[i]
		}
		if i < len(t.plant.ZoneExchange) {
			z.gas = t.plant.ZoneExchange[i]
		}
		switch {
		case z.floods():
			// No bench takes more than 40 % of the tank.
			z.litres = min(z.litres, 0.4*t.plant.Litres)
			switch {
			case set.Own.Stated(): // by its node
			case len(t.plant.FloodAt) > 0:
				z.next, z.plan = t.plant.FloodAt[0], t.plant.FloodAt[1:]
			case t.plant.FloodFirst > 0:
				z.next = t.plant.FloodFirst + seconds(r.uniform(0, 600))
				z.every = t.plant.FloodEvery
			}
		case standing+z.litres <= mostStanding*t.plant.Litres:
			standing += z.litres
			z.water = t.bulk.takeLitres(z.litres)
		}
		t.zones = append(t.zones, z)
	}
}
