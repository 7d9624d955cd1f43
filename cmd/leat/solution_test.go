package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// solved runs leat solution and returns what it printed.
func solved(args ...string) (code int, stdout, stderr string) {
	var out, err bytes.Buffer
	code = dispatch(append([]string{"solution"}, args...), &out, &err)
	return code, out.String(), err.String()
}

func TestSolutionFlagsReachTheSolution(t *testing.T) {
	for _, c := range []struct{ args, want string }{
		{"-temp 20 -add HNO3=3 -add KOH=0.1,H3PO4=0.1 Ca=2 DIC=4", "mS/cm at 20 °C"},
		{"-add HNO3=3 Ca=2 DIC=4", "acid to stay"},
		{"-co2 400ppm Na=1", "open to 400 ppm CO2"},
		{"-co2 log10=-3.4 Na=1", "open to 398 ppm CO2"},
		{"-ph 6.0 K=1 Cl=1", "given"},
		{"-spread K=1 Cl=1", "over the published constants"},
		{"-nitrate-pairs K=1 NO3=1", "nitrate pairs are counted"},
		{"-json K=1 Cl=1", `"species_mmol"`},
		{"-cases ../../testdata/published/solution_cases.csv", `"case"`},
	} {
		if code, out, complaint := solved(strings.Fields(c.args)...); code != 0 || complaint != "" || !strings.Contains(out, c.want) {
			t.Errorf("leat solution %s: exit %d, %s; want %q in\n%s", c.args, code, complaint, c.want, out)
		}
	}
}

func TestSolutionCasesReportsARowItCannotSolve(t *testing.T) {
	file := filepath.Join(t.TempDir(), "cases.csv")
	text := "case,temp_c,mmol_per_kg_water,log10_pco2_atm,ph_from\ngood,25,K=1;Cl=1,,charge balance\nbad,25,K=-1;Cl=1,,charge balance\nworse,25,Kk=1,,charge balance\n"
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	code, out, complaint := solved("-cases", file)
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
	if code, _, _ = solved("-cases", filepath.Join(t.TempDir(), "none.csv")); code != 1 {
		t.Errorf("a missing file: exit %d", code)
	}
}

func TestSolutionRefusesWhatIsNoAmount(t *testing.T) {
	for _, args := range [][]string{
		{}, {"K"}, {"K=NaN"}, {"K=Inf"}, {"K=0x1p4"}, {"K=1_0"}, {"K="}, {"K=-1"}, {"K=1e9"}, {"K=1", "K=2"}, {"-temp", "warm", "K=1"}, {"-temp", "99", "K=1"},
		{"-ph", "20", "K=1"}, {"-ph", "0", "K=1"}, {"-ph", "NaN", "K=1"}, {"-co2", "400", "K=1"}, {"-co2", "-5ppm", "K=1"}, {"-add", "HBr=1", "K=1"}, {"-add", "HNO3=-1", "K=1"},
		{"-nonsense", "K=1"}, {"-cases", "x.csv", "K=1"},
	} {
		code, out, complaint := solved(args...)
		if code != 2 || out != "" || strings.Count(complaint, "\n") != 1 {
			t.Errorf("%v: exit %d, %q, %q", args, code, out, complaint)
		}
	}
}

func TestSolutionHelpAndFlagsAmongTheIons(t *testing.T) {
	code, out, _ := solved("-h")
	if code != 0 || !strings.Contains(out, "usage: leat solution") || !strings.Contains(out, "NO3 NH4 P K") {
		t.Errorf("exit %d, %s", code, out)
	}
	code, out, complaint := solved("K=1", "Cl=1", "-json")
	if code != 0 || !strings.HasPrefix(out, "{") {
		t.Errorf("exit %d, %s%s", code, out, complaint)
	}
}
