package config

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"

	"leat/dosing"
	"leat/dosing/chem"
)

// The tables of reagents, salts and densities are data that a grower can read and
// correct, each row with its source.
var (
	//go:embed data/reagents.csv
	reagentRows string
	//go:embed data/densities.csv
	densityRows string
	//go:embed data/salts.csv
	saltRows string
)

// reagent is an acid or base that is dosed as a liquid.
type reagent struct {
	name, formula string
	role          dosing.Role
	molarMass     float64     // g/mol
	ions          chem.Totals // mol in a mol
	densities     []densityPoint
}

type densityPoint struct{ percent, density float64 }

// salt is what a stock is made from.
type salt struct {
	name, formula string
	molarMass     float64     // g/mol
	ions          chem.Totals // mol in a mol
	ec            float64     // mS/cm per mmol/L, of salts whose ions are not modelled
	group         dosing.Group
	solubility    float64 // g/L of water at 20 °C; 0 = not known
}

var (
	reagents = readReagents()
	salts    = readSalts()
)

func readReagents() map[string]*reagent {
	all := map[string]*reagent{}
	for _, row := range rows(reagentRows) {
		r := &reagent{name: row["reagent"], formula: row["formula"], role: dosing.RoleAcid, molarMass: number(row["molar_mass"]), ions: ionList(row["ions"])}
		if row["role"] == "base" {
			r.role = dosing.RoleBase
		}
		all[r.name] = r
	}
	for _, row := range rows(densityRows) {
		r := all[row["reagent"]]
		r.densities = append(r.densities, densityPoint{percent: number(row["mass_percent"]), density: number(row["density"])})
	}
	return all
}

func readSalts() map[string]*salt {
	all := map[string]*salt{}
	for _, row := range rows(saltRows) {
		group, ok := dosing.ParseGroup(row["group"])
		if !ok {
			panic("salts.csv: group of " + row["salt"])
		}
		all[row["salt"]] = &salt{name: row["salt"], formula: row["formula"], molarMass: number(row["molar_mass"]), ions: ionList(row["ions"]),
			ec: number(row["ec"]), group: group, solubility: number(row["solubility"])}
	}
	return all
}

// rows reads a table that is part of the program; a fault in it is a fault of the
// build, caught by the first test, so it panics.
func rows(text string) []map[string]string {
	r := csv.NewReader(strings.NewReader(text))
	r.Comment = '#'
	records, err := r.ReadAll()
	if err != nil {
		panic(err)
	}
	var all []map[string]string
	for _, record := range records[1:] {
		row := map[string]string{}
		for i, name := range records[0] {
			row[name] = record[i]
		}
		all = append(all, row)
	}
	return all
}

func number(text string) float64 {
	if text == "" {
		return 0
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		panic(err)
	}
	return v
}

// ionList reads "NO3 2 Ca 1".
func ionList(text string) chem.Totals {
	var t chem.Totals
	words := strings.Fields(text)
	for i := 0; i+1 < len(words); i += 2 {
		*t.Ion(words[i]) = number(words[i+1])
	}
	return t
}

// density of the liquid at 20 °C in g/mL for a mass percent inside its table.
func (r *reagent) density(percent float64) (float64, bool) {
	for i := 1; i < len(r.densities); i++ {
		a, b := r.densities[i-1], r.densities[i]
		if percent >= a.percent && percent <= b.percent {
			return a.density + float64((b.density-a.density)*(percent-a.percent))/(b.percent-a.percent), true
		}
	}
	return 0, false
}

// strongest is the highest mass percent in the table of densities.
func (r *reagent) strongest() float64 {
	if len(r.densities) == 0 {
		return 0
	}
	return r.densities[len(r.densities)-1].percent
}

// percentOf is the mass percent of a strength in mol/L, 0 if the table does not
// reach it.
func (r *reagent) percentOf(molar float64) float64 {
	low, high := 0.0, r.strongest()
	at := func(percent float64) float64 {
		d, _ := r.density(percent)
		return d * percent * 10 / r.molarMass
	}
	if high == 0 || molar > at(high) {
		return 0
	}
	for range 50 {
		if mid := (low + high) / 2; at(mid) < molar {
			low = mid
		} else {
			high = mid
		}
	}
	return high
}

// phosphateCharge is the mean negative charge of a phosphate at pH 5.8: one
// proton and 3.8 % of the second (pKa 7.21, 10^(5.8-7.21)/(1+10^(5.8-7.21))).
const phosphateCharge = 1.038

// acidity is the strong acid, in meq, that so many mmol amount to in a tank near
// pH 5.8 once CO2 has left; negative for a base. The strong ions count in full,
// phosphate with the protons it keeps, carbonate and silicic acid not at all:
// they end as gas and as an uncharged molecule.
func acidity(t chem.Totals) float64 { return float64(phosphateCharge*t.P) - t.StrongCharge() }

// strength is how strong an acid or base is: by mass, by moles or by what it
// neutralises.
type strength struct {
	stated bool
	value  float64
	unit   string // "%", "mol/L" or "meq/mL"
	text   string
}

func (strengthKind) what() string    { return "the strength of an acid or base" }
func (strengthKind) example() string { return "38 %" }
func (strengthKind) signed() bool    { return false }
func (strengthKind) units() []unit {
	return []unit{{"%", 1}, {"mol/L", 1}, {"meq/mL", 1}, {"eq/L", 1}}
}

// UnmarshalText reads a strength with its unit.
func (s *strength) UnmarshalText(text []byte) error {
	value, err := parseMeasured(string(text), strengthKind{})
	if err != nil {
		return err
	}
	unit := strings.TrimLeft(strings.TrimSpace(string(text)), "0123456789.")
	*s = strength{stated: true, value: value, unit: strings.TrimSpace(unit), text: string(text)}
	return nil
}

func (s strength) form() kind { return strengthKind{} }

// liquid is what a pump doses, per litre of it.
type liquid struct {
	ions    chem.Totals // mmol/L of liquid
	known   bool        // whether the ions are
	acid    float64     // meq/mL; negative for a base
	traceEC float64     // mS/cm that 1 mL brings to 1 L through ions that are not modelled
	molar   float64     // mol/L, of an acid or base
	reagent *reagent
}

// liquidOf computes an acid or base from its strength. Faults name the key that
// is to blame.
func liquidOf(r *reagent, s strength, density measured[densityKind]) (l liquid, key, text, hint string) {
	l.reagent = r
	switch s.unit {
	case "%":
		d := density.value
		if !density.stated {
			var ok bool
			if d, ok = r.density(s.value); !ok {
				if r.strongest() == 0 {
					return l, "density", "is missing", fmt.Sprintf("%s has no table of densities here: state the density from its label or data sheet, for example \"1.1 g/mL\"", r.name)
				}
				return l, "strength", fmt.Sprintf("is beyond the table of densities, which ends at %s %%", figure(r.strongest())), "dilute it, or state its density from the label"
			}
		} else if !(d >= 0.9 && d <= 2) {
			return l, "density", "is no density of an acid or base in water", `take it from the label, for example "1.23 g/mL"`
		}
		l.molar = d * s.value * 10 / r.molarMass
	case "mol/L":
		l.molar = s.value
	default:
		per := acidity(r.ions)
		if per < 0 {
			per = -per
		}
		l.molar = s.value / per
	}
	if !(l.molar > 0) || l.molar > 25 {
		return l, "strength", "is not a strength that " + r.name + " can have", `take it from the label, for example "38 %"`
	}
	l.ions = chem.Totals{}.Add(r.ions, l.molar*1000)
	l.known = true
	l.acid = acidity(l.ions) / 1000
	return l, "", "", ""
}

// gainOf is what 1 mL of liquid in 1 L does to the EC of solution, in mS/cm: the
// difference of two solved solutions of the same pH, so that acid and base count
// with the ions that stay, not with the protons that react.
func gainOf(l liquid, solution chem.Totals, atPH float64) (float64, error) {
	const ml = 0.5 // large enough to be exact, small enough to be a slope
	before, err := ecOf(solution, atPH)
	if err != nil {
		return 0, err
	}
	// 1 mL/L carries ions/1000 per litre of tank.
	after, err := ecOf(solution.Add(l.ions, ml/1000), atPH)
	if err != nil {
		return 0, err
	}
	return max(float64((after-before)/ml)+l.traceEC, 0), nil
}

// ecOf is the EC at 25 °C of a solution of this pH, in mS/cm.
func ecOf(t chem.Totals, atPH float64) (float64, error) {
	var solver chem.Solver
	var r chem.Result
	if err := solver.Solve(&t, chem.Conditions{TempC: 25, FixedPH: atPH}, &r); err != nil {
		return 0, err
	}
	return r.EC25, nil
}

// mixed solves a solution of which part is liquid and the rest is tank water at
// the given pH.
func mixed(tank, liquid chem.Totals, part, atPH float64) (r chem.Result, err error) {
	var solver chem.Solver
	if err := solver.Solve(&tank, chem.Conditions{TempC: 25, FixedPH: atPH}, &r); err != nil {
		return r, err
	}
	// Bring the strong ions to what this pH needs, so that charge closes.
	if missing := r.StrongCharge - tank.StrongCharge(); missing > 0 {
		tank.K += missing
	} else {
		tank.NO3 -= missing
	}
	both := chem.Totals{}.Add(tank, 1-part).Add(liquid, part)
	err = solver.Solve(&both, chem.Conditions{TempC: 25}, &r)
	return r, err
}
