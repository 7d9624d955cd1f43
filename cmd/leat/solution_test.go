package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// solution runs leat solution and returns what it printed.
func solution(args ...string) (code int, stdout, stderr string) {
	var out, err bytes.Buffer
	code = solutionCommand(args, &out, &err)
	return code, out.String(), err.String()
}

func solutionJSON(t *testing.T, args ...string) map[string]any {
	t.Helper()
	code, out, complaint := solution(append([]string{"-json"}, args...)...)
	if code != 0 || complaint != "" {
		t.Fatalf("leat solution -json %v: exit %d, %s", args, code, complaint)
	}
	var document map[string]any
	if err := json.Unmarshal([]byte(out), &document); err != nil {
		t.Fatalf("%v: %v", args, err)
	}
	return document
}

// Half-strength Hoagland of the reference table: pH 5.112, 1150.7 µS/cm.
func TestSolutionJSONHasThePromisedKeys(t *testing.T) {
	d := solutionJSON(t, "NO3=7.5", "K=3", "Ca=2.5", "Mg=1", "SO4=1", "P=0.5")
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
	d := solutionJSON(t, "-ph", "6.0", "NO3=7.5", "K=3", "Ca=2.5", "Mg=1", "SO4=1", "P=0.5")
	if d["ph"].(float64) != 6 || !(d["charge_error_meq"].(float64) < -0.02) {
		t.Errorf("pH %v, charge %v", d["ph"], d["charge_error_meq"])
	}
}

func TestSolutionOpensToAirAndAddsAcid(t *testing.T) {
	closed := solutionJSON(t, "Na=1", "DIC=1")
	ppm := solutionJSON(t, "-co2", "398.107ppm", "Na=1", "DIC=1")
	log := solutionJSON(t, "-co2", "log10=-3.4", "Na=1")
	if a, b := ppm["ph"].(float64), log["ph"].(float64); !(math.Abs(a-b) < 1e-4) || !(math.Abs(a-closed["ph"].(float64)) > 0.01) {
		t.Errorf("398.107 ppm %v, log10=-3.4 %v, closed %v", a, b, closed["ph"])
	}
	added := solutionJSON(t, "-add", "HNO3=0.5", "-add", "H3PO4=0.1", "Na=1", "DIC=1")
	written := solutionJSON(t, "Na=1", "DIC=1", "NO3=0.5", "P=0.1")
	if added["ph"] != written["ph"] || !(added["ph"].(float64) < closed["ph"].(float64)) {
		t.Errorf("added %v, written %v", added["ph"], written["ph"])
	}
	carbonate := solutionJSON(t, "-add", "K2CO3=1", "Na=1", "Cl=1")
	if p := carbonate["species_mmol"].(map[string]any)["K+"].(float64); !(p > 1.99) {
		t.Errorf("potassium of K2CO3 %v", p)
	}
}

func TestSolutionTableReadsAloud(t *testing.T) {
	code, out, complaint := solution("-temp", "20", "-add", "HNO3=3", "Ca=2", "Mg=0.5", "Na=0.8", "K=0.1", "Cl=0.9", "SO4=0.5", "DIC=4")
	if code != 0 || complaint != "" {
		t.Fatalf("exit %d, %s", code, complaint)
	}
	for _, want := range []string{"pH ", "by charge balance", "mS/cm at 20 °C", "meq/L per pH", "HCO3-", "calcite", "pH later", "acid to stay"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
}

// Every row of the reference file, in its order; pH within the row's tolerance.
func TestSolutionCasesSolvesTheReferenceFile(t *testing.T) {
	file := filepath.Join("..", "..", "testdata", "published", "solution_cases.csv")
	code, out, complaint := solution("-cases", file)
	if code != 0 || complaint != "" {
		t.Fatalf("exit %d, %s", code, complaint)
	}
	var documents []struct {
		Case string  `json:"case"`
		PH   float64 `json:"ph"`
		EC   float64 `json:"ec_ms_per_cm"`
	}
	if err := json.Unmarshal([]byte(out), &documents); err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(string(text)), "\n")[1:]
	if len(documents) != len(lines) {
		t.Fatalf("%d answers to %d rows", len(documents), len(lines))
	}
	for i, line := range lines {
		column := strings.Split(line, ",")
		want, err := decimal("ph", column[5])
		if err != nil || documents[i].Case != column[0] || !(math.Abs(documents[i].PH-want) <= 0.1) || !(documents[i].EC > 0) {
			t.Errorf("row %d: %+v, expected %s", i, documents[i], line)
		}
	}
}

// The reference solutions come under a header of their own, which must go on being read.
func TestSolutionCasesReadsTheHeaderOfTheReferenceSolutionsToo(t *testing.T) {
	rows := ",25,K=2;Cl=1;NO3=1;P=0.5,,%s 6.0 (K by charge)\n"
	answers := map[string]string{}
	for how, header := range map[string]string{"given": "case,temp_c,mmol_per_kg_water,log10_pco2_atm,ph_from\n", "fixed": "case,temp_c,totals_mmol_per_kgw,log10_pco2_atm,ph_mode\n"} {
		file := filepath.Join(t.TempDir(), "cases.csv")
		if err := os.WriteFile(file, []byte(header+fmt.Sprintf(rows, how)), 0o600); err != nil {
			t.Fatal(err)
		}
		code, out, complaint := solution("-cases", file)
		if code != 0 || complaint != "" {
			t.Fatalf("%s: exit %d, %s", how, code, complaint)
		}
		answers[how] = out
	}
	if answers["given"] != answers["fixed"] || !strings.Contains(answers["given"], `"ph":6,`) {
		t.Errorf("by our header %s, by the reference's %s", answers["given"], answers["fixed"])
	}
}

func TestSolutionCasesReportsARowItCannotSolve(t *testing.T) {
	file := filepath.Join(t.TempDir(), "cases.csv")
	text := "case,temp_c,mmol_per_kg_water,log10_pco2_atm,ph_from\ngood,25,K=1;Cl=1,,charge balance\nbad,25,K=-1;Cl=1,,charge balance\nworse,25,Kk=1,,charge balance\n"
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	code, out, complaint := solution("-cases", file)
	var documents []map[string]any
	if err := json.Unmarshal([]byte(out), &documents); err != nil || len(documents) != 3 {
		t.Fatalf("%v in %s", err, out)
	}
	if code != 1 || strings.Count(complaint, "\n") != 1 || !strings.Contains(complaint, "bad") {
		t.Errorf("exit %d, %q", code, complaint)
	}
	if documents[0]["ph"] == nil || documents[1]["error"] == nil || documents[1]["ph"] != nil {
		t.Errorf("%v", documents)
	}
	if code, _, _ = solution("-cases", filepath.Join(t.TempDir(), "none.csv")); code != 1 {
		t.Errorf("a missing file: exit %d", code)
	}
}

func TestAMisspelledIonGetsTheRightOneSuggested(t *testing.T) {
	for wrong, right := range map[string]string{
		"no3": "NO3", "NO3-": "NO3", "nitrat": "NO3", "Ca2+": "Ca", "Ca+2": "Ca", "calcum": "Ca", "PO4": "P", "H2PO4": "P",
		"HCO3": "DIC", "alkalinity": "DIC", "S04": "SO4", "sulphate": "SO4", "amonium": "NH4",
		"chlorid": "Cl", "silica": "Si", "magnesum": "Mg", "HNO3": "-add HNO3",
	} {
		code, out, complaint := solution(wrong + "=1")
		if code != 2 || out != "" || !strings.Contains(complaint, "did you mean "+right+"?") {
			t.Errorf("%s: exit %d, %s", wrong, code, complaint)
		}
	}
}

func TestAWrongIonIsNotTakenForAnotherThatIsWrittenAlike(t *testing.T) {
	for _, name := range []string{"KH", "NO2", "NO2-", "NO", "F", "Li", "Br", "Al", "Kl", "nitrite", "sulfite", "phosphite", "fluoride", "Co2+", "Fe3+", "bromide"} {
		code, out, complaint := solution(name + "=1")
		if code != 2 || out != "" || strings.Contains(complaint, "did you mean") || !strings.Contains(complaint, "not an ion of the list") {
			t.Errorf("%s: exit %d, %s", name, code, complaint)
		}
	}
}

func TestSolutionRefusesWhatIsNoAmount(t *testing.T) {
	for _, args := range [][]string{
		{}, {"K"}, {"K=NaN"}, {"K=Inf"}, {"K=0x1p4"}, {"K=1_0"}, {"K="}, {"K=-1"}, {"K=1e9"}, {"K=1", "K=2"}, {"-temp", "warm", "K=1"}, {"-temp", "99", "K=1"},
		{"-ph", "20", "K=1"}, {"-ph", "0", "K=1"}, {"-ph", "NaN", "K=1"}, {"-co2", "400", "K=1"}, {"-co2", "-5ppm", "K=1"}, {"-add", "HBr=1", "K=1"}, {"-add", "HNO3=-1", "K=1"},
		{"-nonsense", "K=1"}, {"-cases", "x.csv", "K=1"},
	} {
		code, out, complaint := solution(args...)
		if code != 2 || out != "" || strings.Count(complaint, "\n") != 1 {
			t.Errorf("%v: exit %d, %q, %q", args, code, out, complaint)
		}
	}
}

func TestSolutionHelpAndFlagsAmongTheIons(t *testing.T) {
	code, out, _ := solution("-h")
	if code != 0 || !strings.Contains(out, "usage: leat solution") || !strings.Contains(out, "NO3 NH4 P K") {
		t.Errorf("exit %d, %s", code, out)
	}
	code, out, complaint := solution("K=1", "Cl=1", "-json")
	if code != 0 || !strings.HasPrefix(out, "{") {
		t.Errorf("exit %d, %s%s", code, out, complaint)
	}
}

// Sources: the pair CaHCO3+ at 11.60 (NIST 46) instead of 6.27 lowers EC of a hard
// bicarbonate water; hydroxyapatite -7.208 (NIST 46) instead of -3.421 raises its index
// by 3.79.
func TestSolutionSpreadNamesWhatMovesEachFigure(t *testing.T) {
	hard := []string{"Ca=2", "Mg=0.5", "Na=0.8", "Cl=1.4", "SO4=0.25", "DIC=4", "P=0.1"}
	code, out, _ := solution(append([]string{"-spread"}, hard...)...)
	if code != 0 || !strings.Contains(out, "CaHCO3+ of NIST 46, by -") || !strings.Contains(out, "hydroxyapatite of NIST 46, by +3.8") {
		t.Errorf("exit %d:\n%s", code, out)
	}
	d := solutionJSON(t, append([]string{"-spread"}, hard...)...)
	ec := d["spread"].(map[string]any)["ec_ms_per_cm"].(map[string]any)
	low, high, here := ec["low"].(float64), ec["high"].(float64), d["ec_ms_per_cm"].(float64)
	if ec["moved_most_by"] != "CaHCO3+" || !(low < 0.99*here) || !(high >= here) {
		t.Errorf("EC %g, spread %v", here, ec)
	}
	if plain := solutionJSON(t, hard...); plain["spread"] != nil || plain["ec_ms_per_cm"] != d["ec_ms_per_cm"] {
		t.Error("asking for the spread changes the figures, or it is there unasked")
	}
}

// Source: the two published products, 3.787 apart.
func TestHydroxyapatiteIsNeverPrintedWithoutItsRange(t *testing.T) {
	ions := []string{"Ca=2", "P=1", "K=1", "NO3=4"}
	_, out, _ := solution(ions...)
	for _, line := range strings.Split(out, "\n") {
		if strings.Contains(line, "hydroxyapatite") != strings.Contains(line, "by the published solubility products") {
			t.Errorf("%q", line)
		}
	}
	d := solutionJSON(t, ions...)
	index := d["saturation"].(map[string]any)["hydroxyapatite"].(float64)
	both := d["saturation_published"].(map[string]any)["hydroxyapatite"].(map[string]any)
	if !(math.Abs(both["high"].(float64)-index-3.787) < 0.001) || both["low"].(float64) != index {
		t.Errorf("index %g, range %v", index, both)
	}
}

// Source: the effect is the difference of the command's own two answers.
func TestNitratePairsSayWhatTheyChange(t *testing.T) {
	ions := []string{"NO3=15", "K=6", "Ca=5", "Mg=2", "SO4=2", "P=1"}
	without := solutionJSON(t, ions...)
	with := solutionJSON(t, append([]string{"-nitrate-pairs"}, ions...)...)
	said := with["nitrate_pairs"].(map[string]any)["ec_change_ms_per_cm"].(float64)
	found := with["ec_ms_per_cm"].(float64) - without["ec_ms_per_cm"].(float64)
	if !(math.Abs(said-found) < 1e-6) || !(said < -0.01) || without["nitrate_pairs"] != nil {
		t.Errorf("said %g, found %g, without: %v", said, found, without["nitrate_pairs"])
	}
	_, out, _ := solution(append([]string{"-nitrate-pairs"}, ions...)...)
	if !strings.Contains(out, "nitrate pairs are counted; they change") || !strings.Contains(out, "EC               -0.0") {
		t.Error(out)
	}
}

// Boron is a total like the others: borax, 20 Na and 40 B, is the buffer of pH 9.18.
func TestSolutionKnowsBoron(t *testing.T) {
	d := solutionJSON(t, "Na=20", "B=40")
	if ph := d["ph"].(float64); !(math.Abs(ph-9.18) < 0.05) {
		t.Errorf("pH %g", ph)
	}
	if _, _, complaint := solution("borate=1"); !strings.Contains(complaint, "did you mean B?") {
		t.Error(complaint)
	}
}
