package blend

import (
	"math"
	"math/rand/v2"
	"testing"

	"leat/dosing"
)

// barrels weighs a refill ion by ion in mg, with nothing of the sums under test: what stays,
// what the water and each liquid bring, over the litres of the tank.
func barrels(litres, share float64, tank, water [SubstanceCount]float64, stocks [][SubstanceCount]float64, ml []float64) (then [SubstanceCount]float64) {
	poured := 0.0
	for _, v := range ml {
		poured += v / 1000
	}
	for s := range then {
		mg := (litres-share*litres)*tank[s] + (share*litres-poured)*water[s]
		for i := range stocks {
			mg += ml[i] / 1000 * stocks[i][s]
		}
		then[s] = mg / litres
	}
	return then
}

func TestARefillIsWhatAWeighingOfTheBarrelsSays(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 11))
	recipe, _ := RecipeNamed("lettuce")
	stocks := rowOfSeven(t)
	for trial := range 12 {
		share, litres := 0.1+0.9*random.Float64(), 2300.0
		tank := tapOf(t, 1+2*random.Float64())
		for s, v := range map[Substance]float64{NO3: 9, K: 5, Ca: 3, Mg: 1.5, S: 2, P: 1} {
			tank.Content[s], tank.Stated[s] = v*(0.6+0.8*random.Float64()), true
		}
		tank.Alkalinity, tank.PH = -1, 5.5+random.Float64()
		water := tapOf(t, 0.5+3*random.Float64()).Water().Content
		r, err := Fill(Refill{Recipe: recipe, EC: 1.8, PH: 5.8, Stocks: stocks, Source: water, Water: water, Tank: tank, Share: share})
		if err != nil {
			t.Fatal(err)
		}
		closed, _ := tank.Tank(25)
		mg := func(c Content) (all [SubstanceCount]float64) {
			for s := range SubstanceCount {
				all[s] = c.Milligrams(s)
			}
			return all
		}
		var held [][SubstanceCount]float64
		var ml []float64
		for i := range stocks {
			held, ml = append(held, mg(stocks[i].Content)), append(ml, r.Mix.Amounts[i]*litres)
		}
		then := barrels(litres, share, mg(closed.Content), mg(water), held, ml)
		for s := NO3; s < Carbon; s++ {
			if got := r.Mix.Reached.Milligrams(s); math.Abs(got-then[s]) > 1e-6*(1+then[s]) {
				t.Errorf("trial %d, %.0f %%: %s reaches %.6f mg/L, the barrels hold %.6f", trial, 100*share, s, got, then[s])
			}
		}
		if pH := r.Mix.Settled.PH; r.Mix.Steered && math.Abs(pH-5.8) > 0.05 {
			t.Errorf("trial %d: pH comes to %.2f", trial, pH)
		}
	}
}

func TestAWholeRefillIsTheRecipe(t *testing.T) {
	recipe, _ := RecipeNamed("lettuce")
	stocks, tank := rowOfSeven(t), tapOf(t, 3)
	water := tank.Water().Content
	r, err := Fill(Refill{Recipe: recipe, EC: 1.8, PH: 5.8, Stocks: stocks, Source: water, Water: water, Tank: tank, Share: 1})
	if err != nil {
		t.Fatal(err)
	}
	for i := range stocks {
		if a, b := r.Mix.Amounts[i], r.Fresh.Amounts[i]; math.Abs(a-b) > 0.01*(a+b)+1e-3 {
			t.Errorf("%s: %g mL/L, fresh %g", stocks[i].Name, a, b)
		}
	}
	for _, share := range []float64{0, -1, 1.01, math.NaN()} {
		if _, err := Fill(Refill{Recipe: recipe, Stocks: stocks, Tank: tank, Share: share}); err == nil {
			t.Errorf("a dump of %g was planned", share)
		}
	}
}

// tapOf is a tap's, of so many meq/L of alkalinity.
func tapOf(t *testing.T, alkalinity float64) Analysis {
	t.Helper()
	a := Analysis{Alkalinity: alkalinity, PH: 7.6}
	for s, v := range map[Substance]float64{Ca: 0.45 * alkalinity, Mg: 0.15 * alkalinity, Na: 0.6, Cl: 0.8, S: 0.2} {
		a.Content[s], a.Stated[s] = v, true
	}
	return a
}

// rowOfSeven are seven liquids beside an acid: one or two salts each.
func rowOfSeven(t *testing.T) []Stock {
	t.Helper()
	var all []Stock
	for _, made := range []map[string]float64{{"calcium nitrate tetrahydrate": 200}, {"potassium nitrate": 120}, {"monopotassium phosphate": 90},
		{"magnesium sulfate heptahydrate": 150}, {"potassium sulfate": 80}, {"ammonium nitrate": 60}, {"iron DTPA 11 %": 5}} {
		var portions []Portion
		name := ""
		for salt, grams := range made {
			s, ok := SaltNamed(salt)
			if !ok {
				t.Fatalf("no salt %s", salt)
			}
			p := SaltStock(s).Made[0]
			p.Grams = grams
			portions, name = append(portions, p), salt
		}
		stock := MadeStock(name, portions)
		stock.Role = dosing.RoleStock
		all = append(all, stock)
	}
	acid, ok := ReagentNamed("nitric acid")
	if !ok {
		t.Fatal("no nitric acid")
	}
	stock, err := AcidStock("acid", acid, 38, 0, Dilution{})
	if err != nil {
		t.Fatal(err)
	}
	return append(all, stock)
}
