package blend

import (
	"sort"
	"strings"

	"leat/dosing"
	"leat/dosing/chem"
)

// Reagent is an acid or base that is dosed as a liquid.
type Reagent struct {
	Name, Formula string
	Role          dosing.Role
	MolarMass     float64     // g/mol
	Ions          chem.Totals // mol in a mol
	densities     []densityPoint
}

type densityPoint struct{ percent, density float64 }

// Reagents is the table of acids and bases by name.
var Reagents = readReagents()

// ReagentNamed finds an acid or base by name in either case, or by formula.
func ReagentNamed(name string) (*Reagent, bool) {
	name = strings.TrimSpace(name)
	for _, key := range ReagentNames() {
		if r := Reagents[key]; strings.EqualFold(key, name) || r.Formula == name {
			return r, true
		}
	}
	return nil, false
}

// ReagentNames lists the reagents in order.
func ReagentNames() []string {
	names := make([]string, 0, len(Reagents))
	for name := range Reagents {
		names = append(names, name)
	}
	sort.Strings(names)
	return names
}

func readReagents() map[string]*Reagent {
	all := map[string]*Reagent{}
	for _, row := range rows(reagentRows) {
		r := &Reagent{Name: row["reagent"], Formula: row["formula"], Role: dosing.RoleAcid, MolarMass: number(row["molar_mass"]), Ions: ionList(row["ions"])}
		if row["role"] == "base" {
			r.Role = dosing.RoleBase
		}
		all[r.Name] = r
	}
	for _, row := range rows(densityRows) {
		r := all[row["reagent"]]
		r.densities = append(r.densities, densityPoint{percent: number(row["mass_percent"]), density: number(row["density"])})
	}
	return all
}

// Density of the liquid at 20 °C in g/mL for a mass percent inside its table.
func (r *Reagent) Density(percent float64) (float64, bool) {
	for i := 1; i < len(r.densities); i++ {
		a, b := r.densities[i-1], r.densities[i]
		if percent >= a.percent && percent <= b.percent {
			return a.density + float64((b.density-a.density)*(percent-a.percent))/(b.percent-a.percent), true
		}
	}
	return 0, false
}

// Strongest is the highest mass percent in the table of densities.
func (r *Reagent) Strongest() float64 {
	return r.densities[len(r.densities)-1].percent
}

// PercentOf is the mass percent of a strength in mol/L, 0 if the table does not
// reach it.
func (r *Reagent) PercentOf(molar float64) float64 {
	low, high := 0.0, r.Strongest()
	if molar > r.molar(high) {
		return 0
	}
	for range 50 {
		if mid := (low + high) / 2; r.molar(mid) < molar {
			low = mid
		} else {
			high = mid
		}
	}
	return high
}

// molar is the strength in mol/L of a mass percent inside the table.
func (r *Reagent) molar(percent float64) float64 {
	d, _ := r.Density(percent)
	return d * percent * 10 / r.MolarMass
}

// phosphateCharge is the mean negative charge of a phosphate at pH 5.8: one
// proton and 3.8 % of the second (pKa 7.21, 10^(5.8-7.21)/(1+10^(5.8-7.21))).
const phosphateCharge = 1.038

// Acidity is the strong acid, in meq, that so many mmol amount to in a tank near
// pH 5.8 once CO2 has left; negative for a base. The strong ions count in full,
// phosphate with the protons it keeps, carbonate and silicic acid not at all:
// they end as gas and as an uncharged molecule.
func Acidity(t chem.Totals) float64 { return float64(phosphateCharge*t.P) - t.StrongCharge() }
