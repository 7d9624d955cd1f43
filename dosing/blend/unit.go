package blend

import (
	"fmt"
	"math"
	"sort"
	"strconv"
	"strings"
)

// Fault is what is wrong with a sheet or a list: where, what, and what to write
// instead.
type Fault struct {
	Line    int // 0 for a list on the command line
	What    string
	Problem string
	Hint    string
}

func (f *Fault) Error() string {
	text := ""
	if f.Line > 0 {
		text = fmt.Sprintf("line %d: ", f.Line)
	}
	if f.What != "" {
		text += strconv.Quote(f.What) + " "
	}
	text += f.Problem
	if f.Hint != "" {
		text += "; " + f.Hint
	}
	return text
}

// spelling is one way to write a substance: g per mole of what is named, moles of
// the substance in it, and the equivalents of a mole of it.
type spelling struct {
	substance Substance
	mass      float64
	per       float64
	charge    float64
}

// nitrogen stands for total nitrogen, alkaline for alkalinity, hardness for calcium and
// magnesium together: none is one substance.
const (
	nitrogen = SubstanceCount + iota
	alkaline
	hardness
	reading // pH, EC, temperature
)

// spellings is how substances are written in recipes, analyses and on labels.
// Masses from IUPAC 2021 abridged weights; N, P, K, Ca … mean the element.
var spellings = map[string]spelling{
	"N": {nitrogen, 14.007, 1, 1}, "NO3-N": {NO3, 14.007, 1, 1}, "N-NO3": {NO3, 14.007, 1, 1}, "NO3": {NO3, 62.004, 1, 1},
	"NH4-N": {NH4, 14.007, 1, 1}, "N-NH4": {NH4, 14.007, 1, 1}, "NH4": {NH4, 18.039, 1, 1},
	"P": {P, 30.974, 1, 1}, "PO4": {P, 94.970, 1, 1}, "H2PO4": {P, 96.986, 1, 1}, "P2O5": {P, 141.943, 2, 2}, "PO4-P": {P, 30.974, 1, 1},
	"K": {K, 39.098, 1, 1}, "K2O": {K, 94.195, 2, 2}, "Ca": {Ca, 40.078, 1, 2}, "CaO": {Ca, 56.077, 1, 2},
	"Mg": {Mg, 24.305, 1, 2}, "MgO": {Mg, 40.304, 1, 2}, "S": {S, 32.06, 1, 2}, "SO4": {S, 96.056, 1, 2}, "SO4-S": {S, 32.06, 1, 2}, "SO3": {S, 80.057, 1, 2},
	"Na": {Na, 22.990, 1, 1}, "Cl": {Cl, 35.45, 1, 1}, "Si": {Si, 28.085, 1, 1}, "SiO2": {Si, 60.083, 1, 1},
	"Fe": {Fe, 55.845, 1, 0}, "Mn": {Mn, 54.938, 1, 0}, "Zn": {Zn, 65.38, 1, 0}, "B": {B, 10.81, 1, 0}, "Cu": {Cu, 63.546, 1, 0}, "Mo": {Mo, 95.95, 1, 0},
	"HCO3": {alkaline, 61.017, 1, 1}, "CaCO3": {alkaline, 100.086, 2, 2}, "alkalinity": {alkaline, 100.086, 2, 2},
	"hardness": {hardness, 100.086, 1, 2}, "total hardness": {hardness, 100.086, 1, 2}, "carbonate hardness": {alkaline, 100.086, 2, 2},
	"pH": {reading, 0, 0, 0}, "EC": {reading, 0, 0, 0}, "temperature": {reading, 0, 0, 0},
}

// concentrations are the units of a concentration: by mass in mg/L, by amount in
// mmol/L, by charge in meq/L, and of a water's hardness or alkalinity by the degree or as
// calcium carbonate, in meq/L.
var concentrations = map[string]struct {
	by     byte // 'm' mass, 'n' amount, 'z' charge, 'h' hardness
	factor float64
}{
	"mg/L": {'m', 1}, "ppm": {'m', 1}, "g/L": {'m', 1000}, "µg/L": {'m', 1e-3}, "g/m3": {'m', 1}, "kg/m3": {'m', 1000},
	"mmol/L": {'n', 1}, "mol/L": {'n', 1000}, "µmol/L": {'n', 1e-3}, "meq/L": {'z', 1},
	"mg/L CaCO3": {'h', 2 / 100.086}, "ppm CaCO3": {'h', 2 / 100.086}, "°dH": {'h', 20 / 56.077}, "°fH": {'h', 20 / 100.086},
}

// plainUnit brings the ways to write a unit to one.
func plainUnit(unit string) string {
	unit = strings.ReplaceAll(strings.TrimSpace(unit), "μ", "µ")
	if rest, found := strings.CutPrefix(unit, "umol"); found {
		unit = "µmol" + rest
	}
	if rest, found := strings.CutPrefix(unit, "ug"); found {
		unit = "µg" + rest
	}
	switch strings.ToLower(unit) {
	case "°dh", "dh", "°dkh", "dkh", "°d":
		return "°dH"
	case "°fh", "fh", "°f":
		return "°fH"
	}
	unit = strings.Replace(unit, " as CaCO3", " CaCO3", 1)
	return strings.ReplaceAll(strings.ReplaceAll(unit, "/l", "/L"), "m³", "m3")
}

func spelled(name string) (spelling, bool) {
	name = strings.TrimSpace(name)
	if s, ok := spellings[name]; ok {
		return s, true
	}
	for _, key := range SpellingNames() {
		if strings.EqualFold(key, name) {
			return spellings[key], true
		}
	}
	return spelling{}, false
}

// SpellingNames lists the elements, ions and readings that a sheet can name, in order.
func SpellingNames() []string {
	names := make([]string, 0, len(spellings))
	for name := range spellings {
		names = append(names, name)
	}
	sort.Strings(names)
	return names
}

// amount is mmol/L (meq/L of alkalinity) of a quantity that is written in a unit.
func (s spelling) amount(value float64, unit string) (float64, error) {
	u, ok := concentrations[plainUnit(unit)]
	if !ok {
		return 0, fmt.Errorf("has the unit %q; write mg/L, mmol/L, µmol/L or meq/L", unit)
	}
	switch {
	case u.by == 'h' && s.substance == alkaline:
		return value * u.factor, nil
	case u.by == 'h' && (s.substance == Ca || s.substance == Mg || s.substance == hardness):
		return value * u.factor / 2, nil
	case u.by == 'h':
		return 0, fmt.Errorf("is neither hardness nor alkalinity, and %s counts those; write mg/L or mmol/L", plainUnit(unit))
	case u.by == 'm':
		return value * u.factor / s.mass * s.per, nil
	case u.by == 'z' && s.charge == 0:
		return 0, fmt.Errorf("has no equivalents; write mg/L or µmol/L")
	case u.by == 'z':
		return value / s.charge * s.per, nil
	}
	return value * u.factor * s.per, nil
}

// decimal reads a plain decimal number that is not below zero. NaN, Inf, hex,
// underscores and commas are no amounts.
func decimal(text string) (float64, error) {
	text = strings.TrimSpace(text)
	if strings.Contains(text, ",") {
		return 0, fmt.Errorf("has a comma in its number; write a decimal point")
	}
	if text == "" || strings.Trim(text, "0123456789.eE+-") != "" {
		return 0, fmt.Errorf("has no number")
	}
	v, err := strconv.ParseFloat(text, 64)
	switch {
	case err != nil || math.IsInf(v, 0) || math.IsNaN(v):
		return 0, fmt.Errorf("has no readable number")
	case v < 0 || math.Signbit(v):
		return 0, fmt.Errorf("is below zero")
	case v > 1e9:
		return 0, fmt.Errorf("is beyond any amount")
	}
	return v, nil
}

// edits counts the letters to change, add, drop or swap between two names (optimal
// string alignment).
func edits(a, b string) int {
	before, last, row := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(a); i++ {
		row[0] = i
		for j := 1; j <= len(b); j++ {
			change := 1
			if a[i-1] == b[j-1] {
				change = 0
			}
			row[j] = min(last[j]+1, row[j-1]+1, last[j-1]+change)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last, row = last, row, before
	}
	return last[len(b)]
}
