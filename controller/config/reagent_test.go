package config

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"leat/dosing/blend"
	"leat/dosing/chem"
)

func published(t *testing.T, name string) []map[string]string {
	t.Helper()
	text, err := os.ReadFile("../../testdata/published/" + name)
	if err != nil {
		t.Fatal(err)
	}
	r := csv.NewReader(strings.NewReader(string(text)))
	records, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
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

// Source: testdata/published/acids.csv (Laliberté 2009 density model; handbook and
// label values in the rows that say so). 1 % covers the spread between those.
func TestStrengthFromMassPercentAgreesWithPublishedMolarity(t *testing.T) {
	names := map[string]string{"HNO3": "nitric acid", "H3PO4": "phosphoric acid", "H2SO4": "sulfuric acid", "KOH": "potassium hydroxide",
		"K2CO3": "potassium carbonate", "KHCO3": "potassium bicarbonate"}
	worst, checked := 0.0, 0
	for _, row := range published(t, "acids.csv") {
		var s strength
		if err := s.UnmarshalText([]byte(row["mass_percent"] + " %")); err != nil {
			t.Fatal(err)
		}
		l, key, text, _ := liquidOf(reagents[names[row["agent"]]], s, measured[densityKind]{}, blend.Dilution{})
		if text != "" {
			t.Errorf("%s %s %%: %s %s", row["agent"], row["mass_percent"], key, text)
			continue
		}
		molar, _ := strconv.ParseFloat(row["mol_per_L_20C"], 64)
		equivalents, _ := strconv.ParseFloat(row["eq_per_mol_at_pH5.8"], 64)
		if off := math.Abs(l.molar/molar - 1); off > 0.01 {
			t.Errorf("%s %s %%: %.3f mol/L, published %.3f", row["agent"], row["mass_percent"], l.molar, molar)
		} else {
			worst = math.Max(worst, off)
		}
		if off := math.Abs(math.Abs(l.acid)/(l.molar*equivalents) - 1); off > 0.001 {
			t.Errorf("%s: %.3f meq/mL at %.3f mol/L, published %.3f eq/mol", row["agent"], l.acid, l.molar, equivalents)
		}
		checked++
	}
	if checked < 23 {
		t.Errorf("only %d rows", checked)
	}
	t.Logf("%d rows, worst %.2f %%", checked, worst*100)
}

// Source: testdata/published/salts.csv, fractions by mass from IUPAC 2021 weights.
func TestSaltsHoldTheElementsOfThePublishedTable(t *testing.T) {
	mass := map[string]float64{"N_NO3": 14.007, "N_NH4": 14.007, "P": 30.974, "K": 39.098, "Ca": 40.078, "Mg": 24.305, "S": 32.06, "Cl": 35.45, "Na": 22.990}
	ion := map[string]string{"N_NO3": "NO3", "N_NH4": "NH4", "P": "P", "K": "K", "Ca": "Ca", "Mg": "Mg", "S": "SO4", "Cl": "Cl", "Na": "Na"}
	byFormula := map[string]*blend.Salt{}
	for _, s := range salts {
		byFormula[s.Formula] = s
	}
	checked := 0
	for _, row := range published(t, "salts.csv") {
		s := byFormula[row["formula"]]
		if s == nil || s.Ions == (chem.Totals{}) {
			continue // micronutrients ride along by mass
		}
		for element, atomic := range mass {
			want, _ := strconv.ParseFloat(row[element], 64)
			got := *s.Ions.Ion(ion[element]) * atomic / s.MolarMass
			if math.Abs(got-want) > 0.0002 {
				t.Errorf("%s: %s %.5f by mass, published %.5f", s.Name, element, got, want)
			}
			checked++
		}
	}
	if checked < 100 {
		t.Errorf("only %d fractions", checked)
	}
}

func TestEverySaltIsNeutralSoThatNoneReadsAsAcid(t *testing.T) {
	for _, s := range salts {
		// Phosphates carry the charge of H2PO4 or HPO4, silicate none.
		charge := s.Ions.StrongCharge()
		least := 0.0
		if s.Ions.P > 0 {
			charge, least = charge-s.Ions.P, charge-2*s.Ions.P
		}
		if s.Ions.Si > 0 {
			charge -= 2 * s.Ions.Si
		}
		if math.Abs(charge) > 1e-9 && math.Abs(least) > 1e-9 {
			t.Errorf("%s: charge %v", s.Name, charge)
		}
	}
}

// Limiting conductivities of the CRC Handbook: K 73.48, NO3 71.42 S cm²/mol, so
// 1 mmol/L of KNO3 adds at most 0.1449 mS/cm; in a solution of ionic strength 0.02
// each ion has lost a tenth to a fifth of it.
func TestGainOfPotassiumNitrateIsThatOfItsIons(t *testing.T) {
	solution := chem.Totals{NO3: 10, K: 5, Ca: 3, Mg: 1, SO4: 1, P: 1, DIC: 0.1}
	l := liquid{ions: chem.Totals{K: 1000, NO3: 1000}, known: true}
	gain, err := gainOf(l, solution, 5.8)
	if err != nil {
		t.Fatal(err)
	}
	if share := gain / 0.1449; !(share > 0.78 && share < 0.92) {
		t.Errorf("gain %.4f mS/cm, %.2f of the limit", gain, share)
	}
}

// An acid's proton reacts and is gone; what EC sees is its anion, and the ion it
// takes the place of. It must not be counted at 350 S cm²/mol.
func TestAcidCountsForECWithItsAnionOnly(t *testing.T) {
	solution := chem.Totals{NO3: 10, K: 5, Ca: 3, Mg: 1, SO4: 1, P: 1, DIC: 0.1}
	gain, err := gainOf(liquid{ions: chem.Totals{NO3: 1000}, known: true}, solution, 5.8)
	if err != nil {
		t.Fatal(err)
	}
	if !(gain > 0.04 && gain < 0.0714) {
		t.Errorf("1 mmol/L of nitric acid adds %.4f mS/cm, the nitrate alone at most 0.0714", gain)
	}
}

// acids.csv: nitric acid 38 % is 7.435 mol/L and 1.2329 g/mL; a litre of it with nine of water, 8984 g, is 10217 g of 4.585 %,
// which has 1.0240 g/mL and 0.7452 mol/L.
func TestADilutedAcidIsCountedByTheStrengthThatIsLeft(t *testing.T) {
	text, err := os.ReadFile("../../deploy/leat.toml")
	if err != nil {
		t.Fatal(err)
	}
	for ways, want := range map[string]float64{`"38 %"` + "\ndilution = \"1:10\"": 0.7435, `"38 %"` + "\ndilution = \"1+9\"": 0.7452, `"7.435 mol/L"` + "\ndilution = \"1:10\"": 0.7435} {
		f := parsed(t, changed(t, string(text), `"4 %" `, ways+" "))
		var out strings.Builder
		report := Check(f)
		if err := report.Write(&out); err != nil {
			t.Fatal(err)
		}
		for _, p := range report.Pumps {
			if p.Name == "acid-nursery" && math.Abs(p.AcidPerML-want) > 0.0005 {
				t.Errorf("%s: %.4f meq/mL, want %.4f", ways, p.AcidPerML, want)
			}
		}
		if !strings.Contains(out.String(), " % by mass, 1.024 g/mL, 0.74") {
			t.Errorf("%s: the strength that is left is not printed:\n%s", ways, out.String())
		}
	}
	fault := faultOf(t, changed(t, string(text), `"4 %" `, `"38 %"`+"\ndilution = \"1:1\" "), "dilution")
	if !strings.Contains(fault.Error(), "equal parts") {
		t.Errorf("1:1: %v", fault)
	}
	// Of a strength that is in no table, how far acid and water shrink is not known.
	other := changed(t, string(text), `"4 %" `, `"0.8 meq/mL"`+"\ndilution = \"1+9\" ")
	fault = faultOf(t, changed(t, other, `reagent = "nitric acid"`+"\nstrength = \"0.8", `reagent = "citric acid"`+"\nstrength = \"0.8"), "dilution")
	if !strings.Contains(fault.Error(), "shrink") || !strings.Contains(fault.Error(), `"1+9"`) {
		t.Errorf("1+9 of another acid: %v", fault)
	}
	fault = faultOf(t, changed(t, string(text), `"4 %" `, `"38 %"`+"\ndilution = \"1:1.5\" "), "min_dose")
	if !strings.Contains(fault.Error(), `dilute it to "1:`) {
		t.Errorf("1:1.5: %v", fault)
	}
}
