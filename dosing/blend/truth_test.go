package blend

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"leat/dosing/chem"
)

const fullRow = `calcium,calcium nitrate tetrahydrate,150,g/L
saltpetre,potassium nitrate,100,g/L
phosphate,monopotassium phosphate,100,g/L
epsom,magnesium sulfate heptahydrate,120,g/L
magnesium,magnesium nitrate hexahydrate,120,g/L
sulfate,potassium sulfate,70,g/L
ammonium,ammonium nitrate,40,g/L
iron,iron DTPA 11 %,12,g/L
traces,manganese sulfate monohydrate,1,g/L
traces,zinc sulfate heptahydrate,1.4,g/L
traces,boric acid,2.2,g/L
traces,copper sulfate pentahydrate,0.22,g/L
traces,sodium molybdate dihydrate,0.14,g/L
nitric,nitric acid,15,%
phosphoric,phosphoric acid,20,%
lye,potassium hydroxide,8,%
`

// drawnTruth is a tank in use: what a recipe once made, each nutrient gone its own
// way, sodium and chloride gathered, at a pH that its charges make.
func drawnTruth(t *testing.T, r *rand.Rand, fresh *Mix) (truth Content, ph float64) {
	t.Helper()
	c := fresh.Reached
	off := func(sd float64) float64 { return math.Exp(sd * r.NormFloat64()) }
	strength := off(0.25)
	for s := range c {
		switch {
		case Substance(s).Macro():
			c[s] *= strength * off(0.3)
		case Substance(s).Micro():
			c[s] *= off(0.4)
		}
	}
	c[NH4] *= r.Float64()
	c[Na] += 3 * r.Float64() * r.Float64()
	c[Cl] += 3 * r.Float64() * r.Float64()
	c[Rest], c[Carbon] = 0, 0
	ph = 5.2 + 1.8*r.Float64()
	var solver chem.Solver
	var result chem.Result
	ions := c.Ions()
	if err := solver.Solve(&ions, chem.Conditions{TempC: 25, Open: true, CO2Atm: roomCO2, FixedPH: ph}, &result); err != nil {
		t.Fatal(err)
	}
	if open := result.StrongCharge - c.StrongCharge(); open > 0 {
		c[Na] += open
	} else {
		c[NO3] -= open
	}
	c[Carbon] = result.DIC
	return c, ph
}

// sheetOf is what a laboratory writes of it: every element, pH and EC.
func sheetOf(t *testing.T, truth Content, ph float64) Analysis {
	t.Helper()
	a := analysed(truth, ph, settled(t, truth).EC25)
	for s := Si; s <= Mo; s++ {
		a.Stated[s] = true
	}
	return a
}

// settled is a solution once the air has had its say.
func settled(t *testing.T, c Content) chem.Result {
	t.Helper()
	var solver chem.Solver
	var result chem.Result
	ions := c.Ions()
	if err := solver.Solve(&ions, chem.Conditions{TempC: 25, Open: true, CO2Atm: roomCO2}, &result); err != nil {
		t.Fatal(err)
	}
	return result
}

// carriedOut is a tank of 1000 L after the advice, by amounts of substance and volumes:
// dump, add, fill up to 1000 L.
func carriedOut(tank, water Content, m *Mix, dump float64) Content {
	const full = 1000.0
	litres := full * (1 - dump)
	held := Content{}.Plus(tank, litres)
	for i := range m.Task.Stocks {
		held = held.Plus(m.Task.Stocks[i].Content, m.Amounts[i]*full/1000)
		litres += m.Amounts[i] * full / 1000
	}
	if litres < full {
		held = held.Plus(water, full-litres)
		litres = full
	}
	return Content{}.Plus(held, 1/litres)
}

// outside names a macronutrient that is not within the share of its target. Ammonium
// counts when there is too much of it, since what lacks is nitrate a day later.
func outside(m *Mix, c Content, share float64) (string, float64) {
	for s := P; s <= S; s++ {
		if w := m.Wants[s]; w.Stated && w.Weight > 0 && w.Amount > 0 && math.Abs(c[s]/w.Amount-1) > share {
			return s.String(), c[s]/w.Amount - 1
		}
	}
	if n := m.Recipewide(); math.Abs(c.Nitrogen()/n-1) > share {
		return "N", c.Nitrogen()/n - 1
	}
	if w := m.Wants[NH4]; w.Stated && w.Amount > 0 && c[NH4]/w.Amount-1 > share {
		return "NH4", c[NH4]/w.Amount - 1
	}
	return "", 0
}

func TestACorrectionCarriedOutBringsTheTankWhereItWasSaid(t *testing.T) {
	r := rand.New(rand.NewPCG(39, 5))
	judged, unmade, dumped, worstPH, worstEC := 0, 0, 0, 0.0, 0.0
	for k := 0; judged < 200; k++ {
		names := RecipeNames()
		c := Correction{Recipe: named(t, names[r.IntN(len(names))]), EC: 1 + 1.8*r.Float64(), Stocks: stocksOf(t, fullRow), Water: drawnWater(r), Litres: 1000}
		fresh, err := Solve(Task{Recipe: c.Recipe, EC: c.EC, Stocks: c.Stocks, Base: c.Water})
		var refusal *Refusal
		if errors.As(err, &refusal) {
			continue // no tank is run on such water
		}
		if err != nil {
			t.Fatal(err)
		}
		judged++
		truth, ph := drawnTruth(t, r, fresh)
		c.Tank = sheetOf(t, truth, ph)
		out, err := Correct(c)
		if err != nil {
			t.Errorf("case %d: %v", k, err)
			continue
		}
		if math.IsNaN(out.Dump) {
			unmade++
			if name, _ := outside(fresh, fresh.Reached, 0.1); name == "" {
				t.Errorf("case %d: no share is found, though fresh solution is right", k)
			}
			continue
		}
		m := out.Add
		if out.After != nil {
			m = out.After
			dumped++
		}
		then := carriedOut(truth, c.Water, m, out.Dump)
		if name, off := outside(m, then, 0.1001); name != "" {
			t.Errorf("case %d: dump %.3f, then %s is %+.1f %% off", k, out.Dump, name, 100*off)
		}
		now := settled(t, then)
		worstPH, worstEC = max(worstPH, math.Abs(now.PH-m.Settled.PH)), max(worstEC, math.Abs(now.EC25/m.Settled.EC25-1))
		if math.Abs(now.PH-m.Settled.PH) > 0.02 || math.Abs(now.EC25/m.Settled.EC25-1) > 0.005 {
			t.Errorf("case %d: pH %.3f and EC %.4f, said were %.3f and %.4f", k, now.PH, now.EC25, m.Settled.PH, m.Settled.EC25)
		}
	}
	t.Logf("%d corrections, %d of them after dumping, %d on water that lets no fresh solution come within; worst pH %.4f, EC %.2f %%", judged, dumped, unmade, worstPH, 100*worstEC)
	if unmade > 60 {
		t.Errorf("%d of %d waters make no fresh solution: too many for a proof", unmade, judged)
	}
}

// Whatever balances within a tenth is answered.
func TestNoAnalysisThatBalancesEndsInAnError(t *testing.T) {
	r := rand.New(rand.NewPCG(39, 6))
	stocks := stocksOf(t, fullRow)
	answered := 0
	for k := range 120 {
		names := RecipeNames()
		c := Correction{Recipe: named(t, names[r.IntN(len(names))]), EC: 1.2 + 1.5*r.Float64(), Stocks: stocks, Water: drawnWater(r), Litres: 1000}
		fresh, err := Solve(Task{Recipe: c.Recipe, EC: c.EC, Stocks: c.Stocks, Base: c.Water})
		if err != nil {
			continue
		}
		truth, ph := drawnTruth(t, r, fresh)
		c.Tank = sheetOf(t, truth, ph)
		for s := range c.Tank.Content { // a laboratory's error, a carelessly read pH
			c.Tank.Content[s] *= math.Exp(0.05 * r.NormFloat64())
		}
		c.Tank.PH += 0.3 * r.NormFloat64()
		switch r.IntN(5) {
		case 0:
			c.Tank.Alkalinity = 3 * r.Float64() * r.Float64()
		case 1:
			c.Tank.PH = 0
		}
		checks, _ := CheckAnalysis(c.Tank, 25)
		for _, check := range checks {
			if check.Name == "charge" && check.Verdict == Repeat {
				c.Litres = 0
			}
		}
		if c.Litres == 0 {
			continue
		}
		if r.IntN(2) == 0 { // with an account of what was given since another analysis
			before, ph := drawnTruth(t, r, fresh)
			sheet := sheetOf(t, before, ph)
			c.Before, c.TopUp, c.Given = &sheet, 50+900*r.Float64(), make([]float64, len(stocks))
			for i := range c.Given {
				c.Given[i] = 1000 * r.Float64() * fresh.Amounts[i]
			}
		}
		out, err := Correct(c)
		if err != nil {
			t.Errorf("case %d: %v", k, err)
			continue
		}
		answered++
		for _, m := range []*Mix{out.Add, out.After, out.LongRun} {
			if m == nil {
				continue
			}
			for s, v := range m.Reached {
				if !(v >= 0) && Substance(s) != Rest {
					t.Errorf("case %d: %s %g", k, Substance(s), v)
				}
			}
			for i, v := range m.Amounts {
				if !(v >= 0) {
					t.Errorf("case %d: %g of %s", k, v, m.Task.Stocks[i].Name)
				}
			}
		}
	}
	t.Logf("%d analyses answered", answered)
	if answered < 60 {
		t.Errorf("only %d analyses were judged", answered)
	}
}
