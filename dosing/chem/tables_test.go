package chem

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

// Every constant against constants.csv (the source evaluated at 5 to 35 °C,
// three decimals), reaction by reaction.
func TestConstantsAreThoseOfTheirSource(t *testing.T) {
	var w worst
	seen := map[string]bool{}
	for _, row := range published(t, "constants.csv") {
		s, ok := lookup(row["name"], SpeciesCount)
		if row["kind"] != "species" || !ok {
			continue
		}
		seen[row["name"]] = true
		for _, temp := range []int{5, 10, 15, 20, 25, 30, 35} {
			p := powersOfT(float64(temp) + kelvin)
			got := table[s].log.at(&p)
			// The file's reaction may start from another species than ours.
			left, right, _ := strings.Cut(row["reaction"], " = ")
			side := func(text string, sign float64) {
				if err := eachTerm(text, SpeciesCount, func(n int, of *species, water bool) {
					if !water && of.name != row["name"] {
						got += sign * float64(n) * of.log.at(&p)
					}
				}); err != nil {
					t.Fatal(err)
				}
			}
			side(left, -1)
			side(right, 1)
			off := got - number(t, row[fmt.Sprintf("log_k_%d", temp)])
			w.see(off, fmt.Sprintf("%s, %d °C", row["name"], temp))
			if !(math.Abs(off) <= 0.0015) {
				t.Errorf("%s at %d °C: log K off by %+.4f", row["name"], temp, off)
			}
		}
	}
	for i := range table {
		sp := &table[i]
		isMaster := sp.log == logK{}
		if !isMaster && !seen[sp.name] && Species(i) != H2SiO4 { // the file stops at the first silicate
			t.Errorf("%s is in no published row", sp.name)
		}
		if sp.source == "" {
			t.Errorf("%s has no source", sp.name)
		}
	}
	w.print(t, "log K of the species", "")
}

func TestSolubilityProductsAreThoseOfTheirSource(t *testing.T) {
	of := map[string]Phase{"Calcite": Calcite, "Gypsum": Gypsum, "Hydroxyapatite": Hydroxyapatite, "Brushite": Brushite, "Struvite": Struvite, "Newberyite": Newberyite}
	found := 0
	for _, row := range published(t, "constants.csv") {
		phase, ok := of[row["name"]]
		if !ok {
			continue
		}
		found++
		p := powersOfT(t25)
		// Ours is on master species; bring it back to the row's species.
		got := phases[phase].log.at(&p)
		_, products, _ := strings.Cut(row["reaction"], " = ")
		if err := eachTerm(products, SpeciesCount, func(n int, of *species, water bool) {
			if !water {
				got += float64(n) * of.log.at(&p)
			}
		}); err != nil {
			t.Fatal(err)
		}
		if want := number(t, row["log_k_25"]); !(math.Abs(got-want) <= 0.0015) {
			t.Errorf("%s: log K %.4f, source %.3f", row["name"], got, want)
		}
		if phases[phase].source == "" {
			t.Errorf("%s has no source", row["name"])
		}
	}
	if found != int(PhaseCount) {
		t.Errorf("%d of %d solids found in constants.csv", found, PhaseCount)
	}
}

// Water against water.csv (as PHREEQC computes it).
func TestWaterIsWater(t *testing.T) {
	var w worst
	for _, row := range published(t, "water.csv") {
		s := solventAt(number(t, row["temp_c"]))
		p := powersOfT(s.kelvins)
		for column, got := range map[string]float64{
			"debye_huckel_a":              s.dhA,
			"debye_huckel_b_per_angstrom": s.dhB,
			"permittivity":                s.permittivity,
			"density_g_per_ml":            s.density,
			"viscosity_mpa_s":             s.viscosity,
			"pkw":                         -table[OH].log.at(&p),
		} {
			off := got/number(t, row[column]) - 1
			w.see(off, column+" at "+row["temp_c"])
			if !(math.Abs(off) <= 2e-4) {
				t.Errorf("%s at %s °C: %.5g, published %s", column, row["temp_c"], got, row[column])
			}
		}
	}
	w.print(t, "water", "relative")
}

// Limiting conductivities against the CRC Handbook
// (limiting_conductivity.csv): the main ions to 0.6 %, NH4+ 1.2 %;
// carbonate and the phosphates differ between compilations by more.
func TestIonsMoveAsTheHandbookSays(t *testing.T) {
	soft := map[string]bool{"CO3-2": true, "H2PO4-": true, "HPO4-2": true, "PO4-3": true}
	var w worst
	for _, row := range published(t, "limiting_conductivity.csv") {
		s, ok := lookup(row["ion"], SpeciesCount)
		if !ok || soft[row["ion"]] {
			continue
		}
		got := table[s].d25 * perDiffusion * math.Abs(float64(table[s].charge))
		percent := 100 * (got/number(t, row["crc_s_cm2_per_eq"]) - 1)
		w.see(percent, row["ion"])
		tolerance := 0.6
		if s == NH4 {
			tolerance = 1.3
		}
		if !(math.Abs(percent) <= tolerance) {
			t.Errorf("%s: limiting conductivity off by %+.2f %%", row["ion"], percent)
		}
	}
	w.print(t, "limiting conductivities, CRC", "%")
}

// The Go constants count the rows of the table; a row moved by hand would give
// every species after it another's numbers.
func TestSpeciesConstantsNameTheirRows(t *testing.T) {
	for s, name := range map[Species]string{
		H: "H+", OH: "OH-", SO4: "SO4-2", HSO4: "HSO4-", CO3: "CO3-2", HCO3: "HCO3-", CO2: "CO2", CO2Pair: "(CO2)2",
		PO4: "PO4-3", HPO4: "HPO4-2", H2PO4: "H2PO4-", H3PO4: "H3PO4",
		Ca: "Ca+2", CaOH: "CaOH+", CaCO3: "CaCO3", CaHCO3: "CaHCO3+", CaSO4: "CaSO4", CaHSO4: "CaHSO4+",
		CaPO4: "CaPO4-", CaHPO4: "CaHPO4", CaH2PO4: "CaH2PO4+",
		Mg: "Mg+2", MgOH: "MgOH+", MgCO3: "MgCO3", MgHCO3: "MgHCO3+", MgSO4: "MgSO4", MgSO42: "Mg(SO4)2-2",
		MgPO4: "MgPO4-", MgHPO4: "MgHPO4", MgH2PO4: "MgH2PO4+",
		K: "K+", KSO4: "KSO4-", KHCO3: "KHCO3", KHPO4: "KHPO4-",
		Na: "Na+", NaSO4: "NaSO4-", Na2SO4: "Na2SO4", NaHCO3: "NaHCO3", NaHPO4: "NaHPO4-",
		NH4: "NH4+", NH3: "NH3", NH4SO4: "NH4SO4-", Cl: "Cl-", HCl: "HCl", NO3: "NO3-",
		H4SiO4: "H4SiO4", H3SiO4: "H3SiO4-", H2SiO4: "H2SiO4-2",
	} {
		if s.String() != name {
			t.Errorf("constant %d names %s, the row is %s", int(s), name, s)
		}
	}
	for p, name := range map[Phase]string{Calcite: "calcite", Gypsum: "gypsum", Brushite: "brushite", Hydroxyapatite: "hydroxyapatite", Struvite: "struvite", Newberyite: "newberyite"} {
		if p.String() != name {
			t.Errorf("solid %d names %s, the row is %s", int(p), name, p)
		}
	}
}

// A formula's charge follows from what it is made of: a slip in the reaction
// column shows here.
func TestEveryReactionBalancesItsCharge(t *testing.T) {
	for i := range table {
		sp := &table[i]
		charge := 0
		for u, n := range sp.formed {
			charge += int(n) * table[unknowns[u]].charge
		}
		if sp.partner >= 0 {
			charge += int(sp.partners) * table[partners[sp.partner]].charge
		}
		if charge != sp.charge {
			t.Errorf("%s carries %+d, its reaction gives %+d", sp.name, sp.charge, charge)
		}
	}
}

// exp and ln of our own against the library's.
func TestExpAndLnAgreeWithTheLibrary(t *testing.T) {
	var e, l worst
	for x := -690.0; x < 690; x += 0.0317 {
		e.see(exp(x)/math.Exp(x)-1, fmt.Sprint(x))
	}
	for x := 1e-30; x < 1e30; x *= 1.00937 {
		l.see((ln(x)-math.Log(x))/math.Max(1, math.Abs(math.Log(x))), fmt.Sprint(x))
	}
	e.print(t, "exp", "relative")
	l.print(t, "ln", "relative, or absolute near 1")
	if !(math.Abs(e.by) < 1e-15) || !(math.Abs(l.by) < 1e-15) {
		t.Error("off by more than 1e-15")
	}
	if exp(0) != 1 || ln(1) != 0 || exp(-1000) != 0 || !math.IsInf(exp(1000), 1) || !math.IsNaN(exp(math.NaN())) || !math.IsNaN(ln(math.NaN())) || !math.IsNaN(ln(-1)) || !math.IsNaN(ln(0)) {
		t.Error("a special value is wrong")
	}
	for y := -0.06; y < 0.06; y += 0.0007 {
		if !(math.Abs(expSmall(y)/math.Exp(y)-1) < 4e-9) {
			t.Errorf("expSmall(%g) is off", y)
		}
	}
}
