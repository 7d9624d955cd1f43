package blend_test

import (
	"fmt"

	"leat/dosing/blend"
)

// Grams of four salts for a litre of a recipe, in pure water.
func ExampleSolve() {
	recipe, _ := blend.RecipeNamed("hoagland-1")
	var stocks []blend.Stock
	for _, name := range []string{"calcium nitrate tetrahydrate", "potassium nitrate", "monopotassium phosphate", "magnesium sulfate heptahydrate"} {
		salt, _ := blend.SaltNamed(name)
		stocks = append(stocks, blend.SaltStock(salt))
	}
	mix, err := blend.Solve(blend.Task{Recipe: recipe, Stocks: stocks})
	if err != nil {
		fmt.Println(err)
		return
	}
	for i, stock := range stocks {
		fmt.Printf("%.2f g  %s\n", mix.Amounts[i], stock.Name)
	}
	fmt.Printf("EC %.1f mS/cm\n", mix.Settled.EC25)
	// Output:
	// 1.18 g  calcium nitrate tetrahydrate
	// 0.51 g  potassium nitrate
	// 0.14 g  monopotassium phosphate
	// 0.49 g  magnesium sulfate heptahydrate
	// EC 2.2 mS/cm
}

// A slip of a digit in an analysis shows before a tank is corrected by it.
func ExampleCheckAnalysis() {
	entries, err := blend.ReadList("NO3-N=168 mg/L, NH4-N=11 mg/L, P=40 mg/L, K=27 mg/L, Ca=115 mg/L, Mg=16 mg/L, S=23 mg/L, pH=5.8, EC=1.8 mS/cm")
	if err != nil {
		fmt.Println(err)
		return
	}
	tank, err := blend.ReadAnalysis(entries)
	if err != nil {
		fmt.Println(err)
		return
	}
	checks, verdict := blend.CheckAnalysis(tank, 22)
	fmt.Println(verdict)
	for _, check := range checks {
		if check.Verdict == verdict {
			fmt.Printf("%s: %s\n", check.Name, check.Text)
		}
	}
	// Output:
	// have it repeated
	// charge: cations 8.53, anions 14.77 meq/L: -53.5 %; EC 1.80 goes with the anions, so 7.3 meq/L of cations are missing: one is stated too low, or was not measured
	// EC: its ions make 1.33 mS/cm, measured 1.80: -26.4 %
}
