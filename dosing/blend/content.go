package blend

import (
	"math"
	"strings"

	"leat/dosing/chem"
)

// Substance is one line of a solution's account.
type Substance int

// The substances. Carbon is total inorganic carbon. Rest is no substance but the
// strong charge, in meq/L, of ions that the account does not name: positive for
// cations. It keeps an analysis or a label that does not quite balance from
// reading as acid or base.
const (
	NO3 Substance = iota
	NH4
	P
	K
	Ca
	Mg
	S
	Na
	Cl
	Si
	Fe
	Mn
	Zn
	B
	Cu
	Mo
	Carbon
	Rest
	SubstanceCount
)

// known holds, for each substance, its name for people, the atom it is weighed as
// (IUPAC 2021 abridged weights, g/mol) and the strong charge that it carries.
// Phosphate, carbonate and silicate are weak and carry none.
var known = [SubstanceCount]struct {
	name   string
	mass   float64
	charge float64
}{
	NO3: {"N as NO3", 14.007, -1}, NH4: {"N as NH4", 14.007, 1}, P: {"P", 30.974, 0}, K: {"K", 39.098, 1}, Ca: {"Ca", 40.078, 2},
	Mg: {"Mg", 24.305, 2}, S: {"S", 32.06, -2}, Na: {"Na", 22.990, 1}, Cl: {"Cl", 35.45, -1}, Si: {"Si", 28.085, 0},
	Fe: {"Fe", 55.845, 0}, Mn: {"Mn", 54.938, 0}, Zn: {"Zn", 65.38, 0}, B: {"B", 10.81, 0}, Cu: {"Cu", 63.546, 0}, Mo: {"Mo", 95.95, 0},
	Carbon: {"C inorganic", 12.011, 0}, Rest: {"other ions", 0, 1},
}

func (s Substance) String() string {
	if s < 0 || s >= SubstanceCount {
		return "nothing"
	}
	return known[s].name
}

// Symbol is the short name, as in the keys of JSON and CSV: "NO3-N", "Ca".
func (s Substance) Symbol() string {
	switch s {
	case NO3:
		return "NO3-N"
	case NH4:
		return "NH4-N"
	}
	return strings.Fields(s.String())[0]
}

// Mass is the molar mass of the atom that mg/L are counted as, g/mol; nitrogen for
// nitrate and ammonium, sulfur for sulfate.
func (s Substance) Mass() float64 { return known[s].mass }

// Micro says whether it is a micronutrient, which moves neither pH nor EC.
func (s Substance) Micro() bool { return s >= Fe && s <= Mo }

// Macro says whether it is one of the six that EC is made of.
func (s Substance) Macro() bool { return s <= S }

// Content is what a litre holds: mmol of each substance, meq for Rest.
type Content [SubstanceCount]float64

// Plus returns c plus scale times other.
func (c Content) Plus(other Content, scale float64) Content {
	for i := range c {
		c[i] += float64(other[i] * scale)
	}
	return c
}

// StrongCharge is the strong-ion balance, meq/L: cations minus anions, the weak
// acids left out. An acid lowers it by its equivalents, a base raises it.
func (c Content) StrongCharge() float64 {
	sum := 0.0
	for i, amount := range c {
		sum += float64(known[i].charge * amount)
	}
	return sum
}

// Nitrogen is nitrate and ammonium together.
func (c Content) Nitrogen() float64 { return c[NO3] + c[NH4] }

// Milligrams is the mg/L of a substance, by its atom.
func (c Content) Milligrams(s Substance) float64 { return c[s] * known[s].mass }

// Ions are the totals for the chemistry. What is not named goes with sodium or
// chloride, which take no part in any reaction.
func (c Content) Ions() chem.Totals {
	t := chem.Totals{NO3: c[NO3], NH4: c[NH4], P: c[P], K: c[K], Ca: c[Ca], Mg: c[Mg], SO4: c[S], Na: c[Na], Cl: c[Cl], DIC: c[Carbon], Si: c[Si]}
	if c[Rest] > 0 {
		t.Na += c[Rest]
	} else {
		t.Cl -= c[Rest]
	}
	return t
}

// ContentOf is the account of totals and micronutrients.
func ContentOf(t chem.Totals) Content {
	return Content{NO3: t.NO3, NH4: t.NH4, P: t.P, K: t.K, Ca: t.Ca, Mg: t.Mg, S: t.SO4, Na: t.Na, Cl: t.Cl, Si: t.Si, Carbon: t.DIC}
}

// finite says whether every amount is a number.
func (c Content) finite() bool {
	for _, v := range c {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}
