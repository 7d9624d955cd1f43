package chem

import (
	"errors"
	"fmt"
	"math"
	"testing"
)

// dice is a small deterministic generator for the properties' solutions.
type dice uint64

func (d *dice) roll() float64 {
	*d = *d*6364136223846793005 + 1442695040888963407
	return float64(uint64(*d)>>11) / (1 << 53)
}

// solution rolls an ordinary solution whose pH lies between about 3.5 and 9:
// the strong ions are balanced, potassium closes the charge against what
// phosphate and carbonate hold near neutral.
func (d *dice) solution(size float64) Totals {
	t := Totals{
		NO3: 15 * d.roll(), Ca: 4 * d.roll(), Mg: 3 * d.roll(), SO4: 3 * d.roll(), Na: 2 * d.roll(),
		Cl: 2 * d.roll(), P: 2 * d.roll(), DIC: 3 * d.roll(), NH4: 1.5 * d.roll(), Si: 0.5 * d.roll(),
	}
	open := t.StrongCharge() - t.P - float64(d.roll()*t.DIC)
	if open < 0 {
		t.K = -open
	} else {
		t.NO3 += open
	}
	return Totals{}.Add(t, size)
}

func near(a, b, relative float64) bool {
	return math.Abs(a-b) <= relative*math.Max(math.Abs(a), math.Abs(b))+1e-12
}

// totalsOf adds the species up again.
func totalsOf(r *Result) (t Totals) {
	for i, m := range r.Species {
		sp := &table[i]
		t.SO4 += sp.nu[uSO4] * m
		t.DIC += sp.nu[uCO3] * m
		t.P += sp.nu[uPO4] * m
		if sp.partner < 0 {
			continue
		}
		*[...]*float64{&t.Ca, &t.Mg, &t.K, &t.Na, &t.NH4, &t.Cl, &t.NO3, &t.Si, &t.B, &t.Ca, &t.K}[sp.partner] += float64(sp.partners) * m
		if sp.partner == pCaNO3 || sp.partner == pKNO3 {
			t.NO3 += m
		}
	}
	return t
}

func TestEveryTotalComesBackFromTheSpecies(t *testing.T) {
	var s Solver
	roll := dice(1)
	for n := 0; n < 300; n++ {
		s.NitratePairs = n%3 == 0
		totals := roll.solution(0.1 + 3*roll.roll())
		r := mustSolve(t, &s, totals, Conditions{TempC: 50 * roll.roll()})
		back := totalsOf(&r)
		for _, ion := range Ions {
			if got, want := *back.Ion(ion), *totals.Ion(ion); !near(got, want, 1e-6) {
				t.Fatalf("solution %d: %s %.9g of %.9g mmol/kg", n, ion, got, want)
			}
		}
		if !(math.Abs(r.ChargeError) < 1e-4) {
			t.Fatalf("solution %d: charge off by %g meq", n, r.ChargeError)
		}
		for i, m := range r.Species {
			if !(m >= 0) {
				t.Fatalf("solution %d: %s is %g", n, Species(i), m)
			}
		}
	}
}

func TestDilutionAndMixingConserveEveryTotal(t *testing.T) {
	roll := dice(2)
	for n := 0; n < 200; n++ {
		a, b, kgA, kgB := roll.solution(1), roll.solution(2), 1+roll.roll(), 1+5*roll.roll()
		mixed := mixtureOf(a, kgA, b, kgB)
		thin := mixtureOf(a, kgA, Totals{}, kgB)
		for _, ion := range Ions {
			if got, want := *mixed.Ion(ion)*(kgA+kgB), *a.Ion(ion)*kgA+*b.Ion(ion)*kgB; !near(got, want, 1e-12) {
				t.Errorf("mixing: %s %g of %g mmol", ion, got, want)
			}
			if got, want := *thin.Ion(ion)*(kgA+kgB), *a.Ion(ion)*kgA; !near(got, want, 1e-12) {
				t.Errorf("dilution: %s %g of %g mmol", ion, got, want)
			}
		}
		if got, want := mixed.StrongCharge()*(kgA+kgB), a.StrongCharge()*kgA+b.StrongCharge()*kgB; !(math.Abs(got-want) < 1e-9) {
			t.Errorf("mixing: strong charge %g of %g meq", got, want)
		}
	}
}

func TestECRisesWithAnySaltAdded(t *testing.T) {
	salts := map[string]Totals{
		"KNO3": {K: 1, NO3: 1}, "Ca(NO3)2": {Ca: 1, NO3: 2}, "MgSO4": {Mg: 1, SO4: 1}, "K2SO4": {K: 2, SO4: 1},
		"NaCl": {Na: 1, Cl: 1}, "CaCl2": {Ca: 1, Cl: 2}, "NH4NO3": {NH4: 1, NO3: 1}, "Mg(NO3)2": {Mg: 1, NO3: 2},
	}
	var s Solver
	roll := dice(3)
	for n := 0; n < 100; n++ {
		totals, c := roll.solution(0.2+3*roll.roll()), Conditions{TempC: 5 + 40*roll.roll()}
		before := mustSolve(t, &s, totals, c)
		for name, one := range salts {
			for _, more := range []float64{0.01, 1} {
				after := mustSolve(t, &s, totals.Add(one, more), c)
				if !(after.EC > before.EC && after.EC25 > before.EC25) {
					t.Errorf("solution %d: %g mmol of %s takes EC from %.6f to %.6f", n, more, name, before.EC, after.EC)
				}
			}
		}
	}
}

// Acid lowers pH and base raises it, always; the buffer says by how much.
func TestAcidLowersPHAndTheBufferSaysHowMuch(t *testing.T) {
	var s Solver
	roll := dice(4)
	for n := 0; n < 200; n++ {
		totals, c := roll.solution(0.2+2*roll.roll()), Conditions{TempC: 5 + 40*roll.roll(), Open: n%3 == 0, CO2Atm: 420e-6}
		r := mustSolve(t, &s, totals, c)
		step := 0.002 * r.Buffer
		sour := mustSolve(t, &s, totals.Add(Totals{NO3: 1}, step), c)
		sweet := mustSolve(t, &s, totals.Add(Totals{K: 1}, step), c)
		if !(sour.PH < r.PH && r.PH < sweet.PH) {
			t.Fatalf("solution %d: pH %.5f with acid, %.5f, %.5f with base", n, sour.PH, r.PH, sweet.PH)
		}
		measured := 2 * step * r.WaterPerLitre / (sweet.PH - sour.PH)
		if !near(measured, r.Buffer, 0.02) {
			t.Errorf("solution %d at pH %.2f: buffer %.5f, measured %.5f", n, r.PH, r.Buffer, measured)
		}
	}
}

// The pH of a mixture must lie between its parts' when they differ in nothing
// but strong acid: then the balance that sets pH mixes linearly.
func TestMixtureOfSourAndSweetLiesBetween(t *testing.T) {
	var s Solver
	roll := dice(5)
	for n := 0; n < 100; n++ {
		a, c := roll.solution(1), Conditions{TempC: 22, OnlyHere: true}
		b := a.Add(Totals{NO3: 1}, 0.05+2*roll.roll())
		share := 0.05 + 0.9*roll.roll()
		ph := func(totals Totals) float64 { r := mustSolve(t, &s, totals, c); return r.PH }
		low, high, mixed := ph(b), ph(a), ph(mixtureOf(a, share, b, 1-share))
		if !(low < mixed && mixed < high) {
			t.Errorf("mixture %d: pH %.4f of %.4f and %.4f", n, mixed, low, high)
		}
	}
}

// And it need not lie between: calcium pairs with HPO4 and sets hydrogen free,
// so phosphate at pH 7.2 and calcium chloride at pH 7.0 give less than either.
func TestMixtureOfPhosphateAndCalciumLiesBelowBoth(t *testing.T) {
	var s Solver
	c := Conditions{TempC: 25}
	phosphate, calcium := Totals{K: 3, P: 2}, Totals{Ca: 10, Cl: 20}
	a, b := mustSolve(t, &s, phosphate, c), mustSolve(t, &s, calcium, c)
	mixed := mustSolve(t, &s, mixtureOf(phosphate, 1, calcium, 1), c)
	if !(mixed.PH < a.PH-0.1 && mixed.PH < b.PH-0.1) {
		t.Errorf("pH %.2f and %.2f give %.2f", a.PH, b.PH, mixed.PH)
	}
}

// Where the search began must not show: from any other solution, and from one
// a dose, a minute's uptake or a breath of carbon dioxide away.
func TestWarmAndColdStartsAgree(t *testing.T) {
	var warm Solver
	var w worst
	roll := dice(6)
	for n := 0; n < 400; n++ {
		totals := roll.solution(0.1 + 3*roll.roll())
		c := Conditions{TempC: math.Floor(50 * roll.roll()), Open: n%5 == 0, CO2Atm: 500e-6}
		if n%7 == 0 {
			c.FixedPH = 4 + 4*roll.roll()
		}
		for _, dose := range []float64{0, 1e-5, 1e-4, 1e-3, 1e-2, 0.1} {
			totals := totals.Add(roll.solution(1), dose)
			totals.NO3 += dose
			totals.DIC *= 1 - dose
			c := c
			if c.FixedPH != 0 {
				c.FixedPH += dose
			}
			var cold Solver
			a, b := mustSolve(t, &warm, totals, c), mustSolve(t, &cold, totals, c)
			compare := func(name string, got, want, relative float64) {
				w.see(got/want-1, fmt.Sprintf("solution %d, dose %g, %s", n, dose, name))
				if !(math.Abs(got-want) <= relative*math.Abs(want)) {
					t.Errorf("solution %d, dose %g: %s %.12g warm, %.12g cold", n, dose, name, got, want)
				}
			}
			compare("pH", a.PH, b.PH, 1e-9)
			compare("EC", a.EC, b.EC, 1e-9)
			compare("EC25", a.EC25, b.EC25, 1e-9)
			compare("ionic strength", a.IonicStrength, b.IonicStrength, 1e-9)
			compare("DIC", a.DIC, b.DIC, 1e-9)
			for i := range a.Species {
				if b.Species[i] > 0 {
					// The rarest hold three charges and four hydrogens: what pH is
					// off, they are four times and more.
					compare(Species(i).String(), a.Species[i], b.Species[i], 1e-9)
				}
			}
			// The slope of a search's last step, not of its end.
			if !near(a.Buffer, b.Buffer, 1e-4) {
				t.Errorf("solution %d, dose %g: buffer %.9g warm, %.9g cold", n, dose, a.Buffer, b.Buffer)
			}
		}
	}
	w.print(t, "warm against cold", "relative")
}

// The same solver, the same inputs in the same order: the same bits, run after
// run, and on every processor. The number is what GOAMD64=v1 gives; v3, which
// fuses multiply and add wherever the source lets it, must give the same. It
// changes whenever a constant or the order of a sum does.
func TestTheSameNightGivesTheSameBits(t *testing.T) {
	const bits = 0x40956bedaaff15d0
	run := func() (sum float64) {
		var s Solver
		roll := dice(7)
		for n := 0; n < 100; n++ {
			totals, temp := roll.solution(1), 15+float64(10*roll.roll())
			r := mustSolve(t, &s, totals, Conditions{TempC: temp})
			curve, err := NewCurve(totals, temp)
			if err != nil {
				t.Fatal(err)
			}
			sum += r.PH + r.EC + r.EC25 + r.Buffer + r.Saturation[Gypsum] + curve.AcidNeeded(r.PH, 5.8) + curve.PHAfter(r.PH, 0.2)
		}
		return sum
	}
	a, b := run(), run()
	if a != b {
		t.Errorf("%v, then %v", a, b)
	}
	if got := math.Float64bits(a); got != bits {
		t.Errorf("bits %#x, expected %#x", got, uint64(bits))
	}
}

// A given pH and the charge that is missing there belong together: close it
// with potassium and the balance gives that pH.
func TestGivenPHAndChargeBalanceMeet(t *testing.T) {
	var s Solver
	for _, ph := range []float64{4.5, 5.8, 7, 8.5} {
		var r Result
		balanced, err := s.KByCharge(feed, Conditions{TempC: 22, FixedPH: ph}, &r)
		if err != nil {
			t.Fatal(err)
		}
		free := mustSolve(t, &s, balanced, Conditions{TempC: 22})
		if !(math.Abs(free.PH-ph) < 1e-5) || !near(free.EC, r.EC, 1e-6) {
			t.Errorf("given %.2f, by charge %.6f", ph, free.PH)
		}
		given := mustSolve(t, &s, feed, Conditions{TempC: 22, FixedPH: ph})
		if !(math.Abs(given.StrongCharge-balanced.StrongCharge()) < 0.02) {
			t.Errorf("pH %.2f implies a strong-ion balance of %.4f, found %.4f", ph, given.StrongCharge, balanced.StrongCharge())
		}
	}
	var r Result
	_, err := s.KByCharge(Totals{K: 1, Cl: 1}, Conditions{TempC: 22, FixedPH: 2.5}, &r)
	var input *InputError
	if !errors.As(err, &input) {
		t.Errorf("potassium below zero: %v", err)
	}
}

func TestWhatIsNoSolutionIsRefused(t *testing.T) {
	var s Solver
	var r Result
	var input *InputError
	nan, inf := math.NaN(), math.Inf(1)
	for _, ion := range Ions {
		for _, v := range []float64{nan, inf, -inf, -1e-9, 1e5} {
			totals := feed
			*totals.Ion(ion) = v
			if err := s.Solve(&totals, Conditions{TempC: 22}, &r); !errors.As(err, &input) || input.Quantity != ion {
				t.Errorf("%s = %g: %v", ion, v, err)
			}
		}
	}
	for name, c := range map[string]Conditions{
		"NaN": {TempC: nan}, "frost": {TempC: -0.1}, "heat": {TempC: 50.1}, "no CO2": {TempC: 22, Open: true}, "NaN CO2": {TempC: 22, Open: true, CO2Atm: nan},
		"negative CO2": {TempC: 22, Open: true, CO2Atm: -1}, "pH NaN": {TempC: 22, FixedPH: nan}, "pH 15": {TempC: 22, FixedPH: 15}, "pH -1": {TempC: 22, FixedPH: -1},
	} {
		if err := s.Solve(&feed, c, &r); !errors.As(err, &input) {
			t.Errorf("%s: %v", name, err)
		}
	}
	// After a refusal the solver works on.
	if r := mustSolve(t, &s, feed, Conditions{TempC: 22}); !(r.PH > 5 && r.PH < 7) {
		t.Errorf("pH %g after refusals", r.PH)
	}
}

// Alone and at the edges: pure water, one ion, one mol/kg of anything.
func TestEdgesOfComposition(t *testing.T) {
	var s Solver
	water := mustSolve(t, &s, Totals{}, Conditions{TempC: 25})
	// pKw/2, and the conductivity of pure water, 0.055 µS/cm (CRC Handbook).
	if !(math.Abs(water.PH-6.997) < 0.002) || !(math.Abs(water.EC-0.0000548) < 0.000001) {
		t.Errorf("pure water: pH %.3f, EC %.7f", water.PH, water.EC)
	}
	// Water open to 400 ppm CO2: pH 5.6, textbook.
	open := mustSolve(t, &s, Totals{}, Conditions{TempC: 25, Open: true, CO2Atm: 400e-6})
	if !(math.Abs(open.PH-5.61) < 0.02) {
		t.Errorf("rain: pH %.3f", open.PH)
	}
	for _, ion := range Ions {
		for _, amount := range []float64{1e-9, 1e-6, 1e-3, 1, 30, 300} {
			var totals Totals
			*totals.Ion(ion) = amount
			var r Result
			if err := s.Solve(&totals, Conditions{TempC: 25}, &r); err != nil {
				t.Errorf("%s %g alone: %v", ion, amount, err)
			} else if !(r.PH > -1 && r.PH < 15 && r.EC > 0 && r.Buffer > 0) {
				t.Errorf("%s %g alone: pH %g, EC %g, buffer %g", ion, amount, r.PH, r.EC, r.Buffer)
			}
		}
	}
}

func TestSolvingAllocatesNothing(t *testing.T) {
	var s Solver
	var r Result
	totals := feed
	if n := testing.AllocsPerRun(100, func() {
		if err := s.Solve(&totals, Conditions{TempC: 22}, &r); err != nil {
			t.Fatal(err)
		}
		s.here.found = false
		totals.K += 0.01
	}); n != 0 {
		t.Errorf("%g allocations per speciation", n)
	}
	curve, err := NewCurve(feed, 22)
	if err != nil {
		t.Fatal(err)
	}
	if n := testing.AllocsPerRun(20, func() {
		if err := curve.Refill(totals, 23); err != nil {
			t.Fatal(err)
		}
	}); n != 0 {
		t.Errorf("%g allocations per curve", n)
	}
}

// Any composition up to an ionic strength of 1 mol/kg converges from a cold
// start: amounts over nine decades, ions missing at random, whatever pH that
// makes.
func TestAnyCompositionUpToOneMolarIsSolved(t *testing.T) {
	roll := dice(8)
	solved, beyond := 0, 0
	for n := 0; n < 4000; n++ {
		var totals Totals
		for _, ion := range Ions {
			if roll.roll() < 0.6 {
				*totals.Ion(ion) = 300 * math.Pow(10, -9*roll.roll())
			}
		}
		c := Conditions{TempC: 50 * roll.roll()}
		switch n % 4 {
		case 1:
			c.Open, c.CO2Atm = true, math.Pow(10, -4*roll.roll())
		case 2:
			c.FixedPH = 2 + 10*roll.roll()
		}
		var s Solver
		var r Result
		err := s.Solve(&totals, c, &r)
		var lost *ConvergenceError
		switch {
		case errors.As(err, &lost):
			t.Errorf("%+v at %+v: %v", totals, c, err)
		case err != nil:
			t.Fatal(err)
		case r.IonicStrength > 1:
			beyond++
		default:
			solved++
			if back := totalsOf(&r); !near(back.P, totals.P, 1e-5) || !near(back.Ca, totals.Ca, 1e-5) || !near(back.SO4, totals.SO4, 1e-5) {
				t.Errorf("%+v at %+v comes back as %+v", totals, c, back)
			}
		}
	}
	t.Logf("%d solved up to 1 mol/kg, %d beyond", solved, beyond)
	if solved < 3000 {
		t.Errorf("only %d of 4000 lay within 1 mol/kg", solved)
	}
}

// mixtureOf is the totals of two solutions mixed, in kilograms of their water.
func mixtureOf(a Totals, kgA float64, b Totals, kgB float64) Totals {
	all := kgA + kgB
	return Totals{}.Add(a, kgA/all).Add(b, kgB/all)
}
