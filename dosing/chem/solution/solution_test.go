package solution

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"leat/dosing/chem"
)

// question is one that holds the ions; each change may ask more.
func question(t *testing.T, ions string, changes ...func(*Question)) *Question {
	t.Helper()
	totals, err := ReadIons(strings.Fields(ions))
	if err != nil {
		t.Fatal(err)
	}
	q := &Question{Totals: totals, Conditions: chem.Conditions{TempC: 25}}
	for _, change := range changes {
		change(q)
	}
	return q
}

// told is the JSON of a question, read again.
func told(t *testing.T, ions string, changes ...func(*Question)) map[string]any {
	t.Helper()
	document, err := question(t, ions, changes...).Document()
	if err != nil {
		t.Fatal(err)
	}
	text, err := json.Marshal(document)
	if err != nil {
		t.Fatal(err)
	}
	var read map[string]any
	if err := json.Unmarshal(text, &read); err != nil {
		t.Fatal(err)
	}
	return read
}

func table(t *testing.T, ions string, changes ...func(*Question)) string {
	t.Helper()
	text, err := question(t, ions, changes...).Text()
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// added is a change that adds an acid or base first.
func added(t *testing.T, text string) func(*Question) {
	t.Helper()
	more, err := ReadAdditions(text)
	if err != nil {
		t.Fatal(err)
	}
	return func(q *Question) { q.Added = q.Added.Add(more, 1) }
}

// openTo is a change that opens the solution to air.
func openTo(t *testing.T, text string) func(*Question) {
	t.Helper()
	atm, err := ReadCO2("co2", text)
	if err != nil {
		t.Fatal(err)
	}
	return func(q *Question) { q.Conditions.Open, q.Conditions.CO2Atm = true, atm }
}

func withSpread(q *Question) { q.Spread = true }
func withPairs(q *Question)  { q.NitratePairs = true }

// Half-strength Hoagland of the reference table: pH 5.112, 1150.7 µS/cm.
func TestSolutionJSONHasThePromisedKeys(t *testing.T) {
	d := told(t, "NO3=7.5 K=3 Ca=2.5 Mg=1 SO4=1 P=0.5")
	for _, key := range []string{"ph", "ec_ms_per_cm", "ec25_ms_per_cm", "temp_c", "ionic_strength", "charge_error_meq", "buffer_meq_per_ph", "species_mmol", "saturation", "warnings"} {
		if _, ok := d[key]; !ok {
			t.Errorf("no %s", key)
		}
	}
	if ph := d["ph"].(float64); !(math.Abs(ph-5.112) < 0.002) {
		t.Errorf("pH %v", ph)
	}
	if ec := d["ec_ms_per_cm"].(float64); !(math.Abs(ec-1.1507) < 0.002) || d["ec25_ms_per_cm"] != d["ec_ms_per_cm"] {
		t.Errorf("EC %v, at 25 °C %v", ec, d["ec25_ms_per_cm"])
	}
	species, saturation := d["species_mmol"].(map[string]any), d["saturation"].(map[string]any)
	if p := species["H2PO4-"].(float64); !(math.Abs(p-0.47) < 0.01) {
		t.Errorf("H2PO4- %v", p)
	}
	if saturation["calcite"] != nil || saturation["gypsum"].(float64) > -1 || len(saturation) != 6 {
		t.Errorf("saturation %v", saturation)
	}
	if warnings, ok := d["warnings"].([]any); !ok || len(warnings) != 0 {
		t.Errorf("warnings %v", d["warnings"])
	}
}

func TestSolutionAtGivenPHReportsTheMissingCharge(t *testing.T) {
	d := told(t, "NO3=7.5 K=3 Ca=2.5 Mg=1 SO4=1 P=0.5", func(q *Question) { q.Conditions.FixedPH = 6 })
	if d["ph"].(float64) != 6 || !(d["charge_error_meq"].(float64) < -0.02) {
		t.Errorf("pH %v, charge %v", d["ph"], d["charge_error_meq"])
	}
}

func TestSolutionOpensToAirAndAddsAcid(t *testing.T) {
	closed := told(t, "Na=1 DIC=1")
	ppm := told(t, "Na=1 DIC=1", openTo(t, "398.107ppm"))
	log := told(t, "Na=1", openTo(t, "log10=-3.4"))
	if a, b := ppm["ph"].(float64), log["ph"].(float64); !(math.Abs(a-b) < 1e-4) || !(math.Abs(a-closed["ph"].(float64)) > 0.01) {
		t.Errorf("398.107 ppm %v, log10=-3.4 %v, closed %v", a, b, closed["ph"])
	}
	dosed := told(t, "Na=1 DIC=1", added(t, "HNO3=0.5"), added(t, "H3PO4=0.1"))
	written := told(t, "Na=1 DIC=1 NO3=0.5 P=0.1")
	if dosed["ph"] != written["ph"] || !(dosed["ph"].(float64) < closed["ph"].(float64)) {
		t.Errorf("added %v, written %v", dosed["ph"], written["ph"])
	}
	carbonate := told(t, "Na=1 Cl=1", added(t, "K2CO3=1"))
	if p := carbonate["species_mmol"].(map[string]any)["K+"].(float64); !(p > 1.99) {
		t.Errorf("potassium of K2CO3 %v", p)
	}
}

func TestSolutionTableReadsAloud(t *testing.T) {
	out := table(t, "Ca=2 Mg=0.5 Na=0.8 K=0.1 Cl=0.9 SO4=0.5 DIC=4", added(t, "HNO3=3"), func(q *Question) { q.Conditions.TempC = 20 })
	for _, want := range []string{"pH ", "by charge balance", "mS/cm at 20 °C", "meq/L per pH", "HCO3-", "calcite", "pH later", "acid to stay"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
}

// Every row of the reference file, in its order; pH within the row's tolerance.
func TestSolutionCasesSolvesTheReferenceFile(t *testing.T) {
	text, err := os.ReadFile(filepath.Join("..", "..", "..", "testdata", "published", "solution_cases.csv"))
	if err != nil {
		t.Fatal(err)
	}
	documents, failed, err := (&Question{}).Cases(strings.NewReader(string(text)))
	if err != nil || failed != nil {
		t.Fatal(err, failed)
	}
	lines := strings.Split(strings.TrimSpace(string(text)), "\n")[1:]
	if len(documents) != len(lines) {
		t.Fatalf("%d answers to %d rows", len(documents), len(lines))
	}
	for i, line := range lines {
		column := strings.Split(line, ",")
		want, err := Decimal("ph", column[5])
		if err != nil || documents[i].Case != column[0] || !(math.Abs(*documents[i].PH-want) <= 0.1) || !(*documents[i].EC > 0) {
			t.Errorf("row %d: %+v, expected %s", i, documents[i], line)
		}
	}
}

// The reference solutions come under a header of their own, which must go on being read.
func TestSolutionCasesReadsTheHeaderOfTheReferenceSolutionsToo(t *testing.T) {
	rows := ",25,K=2;Cl=1;NO3=1;P=0.5,,%s 6.0 (K by charge)\n"
	answers := map[string]string{}
	for how, header := range map[string]string{"given": "case,temp_c,mmol_per_kg_water,log10_pco2_atm,ph_from\n", "fixed": "case,temp_c,totals_mmol_per_kgw,log10_pco2_atm,ph_mode\n"} {
		documents, failed, err := (&Question{}).Cases(strings.NewReader(header + fmt.Sprintf(rows, how)))
		if err != nil || failed != nil {
			t.Fatal(how, err, failed)
		}
		text, err := json.Marshal(documents)
		if err != nil {
			t.Fatal(err)
		}
		answers[how] = string(text)
	}
	if answers["given"] != answers["fixed"] || !strings.Contains(answers["given"], `"ph":6,`) {
		t.Errorf("by our header %s, by the reference's %s", answers["given"], answers["fixed"])
	}
}

func TestARowThatCannotBeSolvedCarriesItsErrorAndTheOthersTheirFigures(t *testing.T) {
	const rows = "case,temp_c,mmol_per_kg_water,log10_pco2_atm,ph_from\ngood,25,K=1;Cl=1,,charge balance\nbad,25,K=-1;Cl=1,,charge balance\nair,25,K=1;Cl=1,thin,charge balance\n"
	documents, failed, err := (&Question{}).Cases(strings.NewReader(rows))
	if err != nil || len(documents) != 3 {
		t.Fatal(len(documents), err)
	}
	if failed == nil || !strings.HasPrefix(failed.Error(), "bad: ") || !strings.Contains(failed.Error(), "(and 1 more)") {
		t.Errorf("%v", failed)
	}
	if documents[0].PH == nil || documents[1].Error == "" || documents[1].PH != nil || documents[2].Error != `log10_pco2_atm: "thin" is not a number` {
		t.Errorf("%+v", documents)
	}
}

func TestAMisspelledIonGetsTheRightOneSuggested(t *testing.T) {
	for wrong, right := range map[string]string{
		"no3": "NO3", "NO3-": "NO3", "nitrat": "NO3", "Ca2+": "Ca", "Ca+2": "Ca", "calcum": "Ca", "PO4": "P", "H2PO4": "P",
		"HCO3": "DIC", "alkalinity": "DIC", "S04": "SO4", "sulphate": "SO4", "amonium": "NH4",
		"chlorid": "Cl", "silica": "Si", "magnesum": "Mg", "HNO3": "-add HNO3",
	} {
		if _, err := ReadIons([]string{wrong + "=1"}); err == nil || !strings.Contains(err.Error(), "did you mean "+right+"?") {
			t.Errorf("%s: %v", wrong, err)
		}
	}
}

func TestAWrongIonIsNotTakenForAnotherThatIsWrittenAlike(t *testing.T) {
	for _, name := range []string{"KH", "NO2", "NO2-", "NO", "F", "Li", "Br", "Al", "Kl", "nitrite", "sulfite", "phosphite", "fluoride", "Co2+", "Fe3+", "bromide"} {
		_, err := ReadIons([]string{name + "=1"})
		if err == nil || strings.Contains(err.Error(), "did you mean") || !strings.Contains(err.Error(), "not an ion of the list") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// Sources: the pair CaHCO3+ at 11.60 (NIST 46) instead of 6.27 lowers EC of a hard
// bicarbonate water; hydroxyapatite -7.208 (NIST 46) instead of -3.421 raises its index
// by 3.79.
func TestSolutionSpreadNamesWhatMovesEachFigure(t *testing.T) {
	const hard = "Ca=2 Mg=0.5 Na=0.8 Cl=1.4 SO4=0.25 DIC=4 P=0.1"
	if out := table(t, hard, withSpread); !strings.Contains(out, "CaHCO3+ of NIST 46, by -") || !strings.Contains(out, "hydroxyapatite of NIST 46, by +3.8") {
		t.Error(out)
	}
	d := told(t, hard, withSpread)
	ec := d["spread"].(map[string]any)["ec_ms_per_cm"].(map[string]any)
	low, high, here := ec["low"].(float64), ec["high"].(float64), d["ec_ms_per_cm"].(float64)
	if ec["moved_most_by"] != "CaHCO3+" || !(low < 0.99*here) || !(high >= here) {
		t.Errorf("EC %g, spread %v", here, ec)
	}
	if plain := told(t, hard); plain["spread"] != nil || plain["ec_ms_per_cm"] != d["ec_ms_per_cm"] {
		t.Error("asking for the spread changes the figures, or it is there unasked")
	}
}

// Source: the two published products, 3.787 apart.
func TestHydroxyapatiteIsNeverPrintedWithoutItsRange(t *testing.T) {
	const ions = "Ca=2 P=1 K=1 NO3=4"
	for _, line := range strings.Split(table(t, ions), "\n") {
		if strings.Contains(line, "hydroxyapatite") != strings.Contains(line, "by the published solubility products") {
			t.Errorf("%q", line)
		}
	}
	d := told(t, ions)
	index := d["saturation"].(map[string]any)["hydroxyapatite"].(float64)
	both := d["saturation_published"].(map[string]any)["hydroxyapatite"].(map[string]any)
	if !(math.Abs(both["high"].(float64)-index-3.787) < 0.001) || both["low"].(float64) != index {
		t.Errorf("index %g, range %v", index, both)
	}
}

// Source: the effect is the difference of the command's own two answers.
func TestNitratePairsSayWhatTheyChange(t *testing.T) {
	const ions = "NO3=15 K=6 Ca=5 Mg=2 SO4=2 P=1"
	without := told(t, ions)
	with := told(t, ions, withPairs)
	said := with["nitrate_pairs"].(map[string]any)["ec_change_ms_per_cm"].(float64)
	found := with["ec_ms_per_cm"].(float64) - without["ec_ms_per_cm"].(float64)
	if !(math.Abs(said-found) < 1e-6) || !(said < -0.01) || without["nitrate_pairs"] != nil {
		t.Errorf("said %g, found %g, without: %v", said, found, without["nitrate_pairs"])
	}
	if out := table(t, ions, withPairs); !strings.Contains(out, "nitrate pairs are counted; they change") || !strings.Contains(out, "EC               -0.0") {
		t.Error(out)
	}
}

// Boron is a total like the others: borax, 20 Na and 40 B, is the buffer of pH 9.18.
func TestSolutionKnowsBoron(t *testing.T) {
	d := told(t, "Na=20 B=40")
	if ph := d["ph"].(float64); !(math.Abs(ph-9.18) < 0.05) {
		t.Errorf("pH %g", ph)
	}
	if _, err := ReadIons([]string{"borate=1"}); err == nil || !strings.Contains(err.Error(), "did you mean B?") {
		t.Error(err)
	}
}

// Whatever a file holds, it is read or refused, and every row that is read has an answer.
func FuzzCases(f *testing.F) {
	f.Add("case,temp_c,mmol_per_kg_water,log10_pco2_atm,ph_from\na,25,K=2;Cl=1;NO3=1;P=0.5,-3.4,given 6.0 (K by charge)\n")
	f.Add("\ufeffcase,temp_c,totals_mmol_per_kgw,log10_pco2_atm,ph_mode\n,,,,fixed\n")
	f.Fuzz(func(t *testing.T, text string) {
		documents, failed, err := (&Question{}).Cases(strings.NewReader(text))
		if err != nil {
			return
		}
		for _, d := range documents {
			if (d.Error == "") != (d.PH != nil) || d.Error != "" && failed == nil {
				t.Errorf("%+v, %v", d, failed)
			}
		}
	})
}
