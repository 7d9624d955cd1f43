package chem

// Reagent is an acid or base by name with what one mmol of it brings.
type Reagent struct {
	Name   string
	Ions   Totals  // mmol per mmol
	Charge float64 // change of the strong-ion balance per mmol, meq; acids below zero. H3PO4 and the carbonates act through P and DIC as well
}

// Reagents are the acids and bases of the trade.
var Reagents = [...]Reagent{
	{"HNO3", Totals{NO3: 1}, -1},
	{"H3PO4", Totals{P: 1}, 0},
	{"H2SO4", Totals{SO4: 1}, -2},
	{"KOH", Totals{K: 1}, 1},
	{"NaOH", Totals{Na: 1}, 1},
	{"K2CO3", Totals{K: 2, DIC: 1}, 2},
	{"KHCO3", Totals{K: 1, DIC: 1}, 1},
	{"K2SiO3", Totals{K: 2, Si: 1}, 2},
}

// ReagentNamed finds a reagent.
func ReagentNamed(name string) (Reagent, bool) {
	for _, r := range Reagents {
		if r.Name == name {
			return r, true
		}
	}
	return Reagent{}, false
}
