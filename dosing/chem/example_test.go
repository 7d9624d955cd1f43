package chem_test

import (
	"fmt"

	"leat/dosing/chem"
)

// What is half-strength Hoagland solution at 25 °C?
func ExampleSolver_Solve() {
	var solver chem.Solver
	var result chem.Result
	hoagland := chem.Totals{NO3: 7.5, K: 3, Ca: 2.5, Mg: 1, SO4: 1, P: 0.5} // mmol per kg of water
	if err := solver.Solve(&hoagland, chem.Conditions{TempC: 25}, &result); err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("pH %.2f, EC %.2f mS/cm, gypsum %.1f\n", result.PH, result.EC25, result.Saturation[chem.Gypsum])
	// Output: pH 5.11, EC 1.15 mS/cm, gypsum -1.6
}

// Nitric acid into a hard water: pH falls at once, and climbs back while carbon dioxide
// leaves for the air.
func ExampleSolver_Rebound() {
	var solver chem.Solver
	water := chem.Totals{Ca: 2, Mg: 0.5, Na: 0.8, Cl: 1.4, SO4: 0.25, DIC: 4}
	acid := chem.Totals{NO3: 3}
	ends, err := solver.Rebound(&water, &acid, 25, 420e-6)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("pH %.1f at once, %.1f later; %.0f %% of the bicarbonate met\n", ends.Closed, ends.Open, 100*ends.Met)
	// Output: pH 5.8 at once, 8.1 later; 77 % of the bicarbonate met
}

// How much acid brings a litre from pH 6.4 to 5.8?
func ExampleCurve_AcidNeeded() {
	curve, err := chem.NewCurve(chem.Totals{NO3: 7.5, K: 3, Ca: 2.5, Mg: 1, SO4: 1, P: 0.5, DIC: 0.3}, 20)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.2f meq/L\n", curve.AcidNeeded(6.4, 5.8))
	// Output: 0.18 meq/L
}
