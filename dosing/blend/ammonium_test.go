package blend

import (
	"math"
	"testing"
)

// Calcium nitrate of fertiliser grade carries one ammonium for ten nitrates. For that little
// it was withheld where the recipe has none, and given where the water brings the calcium.
func TestCalciumFollowsItsOwnTargetThoughItsSaltCarriesAmmonium(t *testing.T) {
	stocks, err := ReadStocks(`stock,holds,amount,unit
calcium,calcium nitrate fertiliser grade,180,g/L
potassium,potassium nitrate,90,g/L
magnesium,magnesium sulfate heptahydrate,100,g/L
phosphate,monopotassium phosphate,80,g/L
acid,nitric acid,38,%
`)
	if err != nil {
		t.Fatal(err)
	}
	for _, of := range []struct {
		recipe, water string
		ec            float64
	}{
		{"steiner", "Ca=80 mg/L, Mg=14 mg/L, HCO3=183 mg/L, Na=30 mg/L, Cl=50 mg/L, SO4=70 mg/L", 1.8},
		{"strawberry", "Ca=80 mg/L, Mg=20.8 mg/L, HCO3=183 mg/L, Na=46 mg/L, Cl=71 mg/L, SO4=53 mg/L, pH=7.6", 1.6},
	} {
		entries, err := ReadList(of.water)
		if err != nil {
			t.Fatal(err)
		}
		water, err := ReadAnalysis(entries)
		if err != nil {
			t.Fatal(err)
		}
		recipe, _ := RecipeNamed(of.recipe)
		for s := range recipe.Wants {
			if Substance(s).Micro() {
				recipe.Wants[s] = Want{}
			}
		}
		m, err := Solve(Task{Recipe: recipe, Base: water.Water().Content, Stocks: stocks, EC: of.ec, PH: 5.8})
		if err != nil {
			t.Fatal(err)
		}
		if off := m.Off(Ca); math.Abs(off) > 0.15 {
			t.Errorf("%s: calcium is %+.0f %% off its target with %.1f %% of the nitrogen as ammonium", of.recipe, 100*off, 100*m.Reached[NH4]/m.Reached.Nitrogen())
		}
		if share := m.Reached[NH4] / m.Reached.Nitrogen(); share > UsualNH4 {
			t.Errorf("%s: %.1f %% of the nitrogen is ammonium", of.recipe, 100*share)
		}
	}
}
