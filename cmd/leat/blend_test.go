package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"leat/dosing/blend"
)

const blendSheets = "../../testdata/blend/"

func blended(args ...string) (code int, stdout, stderr string) {
	var out, err bytes.Buffer
	code = blendCommand(args, &out, &err)
	return code, out.String(), err.String()
}

func blendOK(t *testing.T, args ...string) string {
	t.Helper()
	code, out, complaint := blended(args...)
	if code != 0 || complaint != "" {
		t.Fatalf("leat blend %v: exit %d, %s", args, code, complaint)
	}
	return out
}

func TestBlendPrintsATableToPinToTheWall(t *testing.T) {
	out := blendOK(t, "-recipe", "strawberry", "-ec", "1.6", "-water", blendSheets+"water.csv", "-stocks", blendSheets+"stocks.csv", "-litres", "1200")
	for _, want := range []string{"strawberry, 1200 L, EC 1.60 mS/cm", "Sonneveld", "saltpetre", "per litre", "N as NO3", "target", "surplus", "once carbon dioxide has left", "ammonium",
		"brushite", "acid, into the water", "Gloves and goggles", "Silicate goes into the water first"} {
		if !strings.Contains(out, want) {
			t.Errorf("the table does not say %q:\n%s", want, out)
		}
	}
	for _, line := range strings.Split(out, "\n") {
		if strings.TrimRight(line, " ") != line {
			t.Errorf("trailing blanks: %q", line)
		}
	}
}

// A grower trusts what looks like a paper: wherever a source is printed, so is that nobody has read it there.
func TestARecipeFromMemorySaysSoWhereverItsSourceIsPrinted(t *testing.T) {
	const source = "Steiner; The universal nutrient solution; ISOSC Proc. 6th Congress (1984) 633 (from memory; to be confirmed there)"
	for _, args := range [][]string{{"list"}, {"-recipe", "steiner", "-salts", "common"}, {"-recipe", "steiner", "-salts", "common", "-json"},
		{"make", "-recipe", "steiner", "-salts", "common"}} {
		if out := blendOK(t, args...); !strings.Contains(out, source) {
			t.Errorf("leat blend %v does not say that the recipe is from memory:\n%s", args, out)
		}
	}
}

// Source: testdata/published/solutions.csv, hoagland_1, from its four salts.
func TestBlendJSONHasThePromisedKeys(t *testing.T) {
	out := blendOK(t, "-json", "-recipe", "hoagland-1", "-salts", "calcium nitrate tetrahydrate, potassium nitrate, monopotassium phosphate, magnesium sulfate heptahydrate")
	var d map[string]any
	if err := json.Unmarshal([]byte(out), &d); err != nil {
		t.Fatal(err)
	}
	for _, key := range []string{"recipe", "source", "strength", "litres", "stocks", "elements", "ph", "ph_at_once", "ec25_ms_per_cm", "acid_needed_meq_per_l", "cations_meq_per_l", "anions_meq_per_l",
		"nh4_share_of_n", "saturation", "reasons", "alternatives", "notes", "order", "cautions"} {
		if _, ok := d[key]; !ok {
			t.Errorf("no %s", key)
		}
	}
	var typed mixDocument
	if err := json.Unmarshal([]byte(out), &typed); err != nil {
		t.Fatal(err)
	}
	for symbol, want := range map[string]float64{"K": 234.6, "Ca": 200.4, "Mg": 48.6, "S": 64.1, "P": 31.0, "NO3-N": 210.1} {
		if got := *typed.Elements[symbol].Reached; math.Abs(got/want-1) > 0.005 {
			t.Errorf("%s %.2f mg/L, published %.1f", symbol, got, want)
		}
	}
	if len(typed.Cautions) != len(blend.Cautions) {
		t.Error("the JSON leaves out a caution")
	}
}

func TestBlendWritesTheAmountsAsCSV(t *testing.T) {
	path := filepath.Join(t.TempDir(), "amounts.csv")
	blendOK(t, "-recipe", "steiner", "-stocks", blendSheets+"stocks.csv", "-csv", path)
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	records, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(records) != 10 || strings.Join(records[0], ",") != "stock,per_litre,in_all,unit,share" {
		t.Errorf("%v", records)
	}
}

func TestBlendTakesStocksAndSetpointsFromTheConfiguration(t *testing.T) {
	out := blendOK(t, "-config", "../../testdata/config/good/plain.toml", "-recipe", "N=120 mg/L, P=25 mg/L, K=150 mg/L, Ca=90 mg/L, Mg=30 mg/L, S=40 mg/L")
	for _, want := range []string{"your recipe, 600 L, EC 1.50 mS/cm", "feed-a", "feed-b", "pH            6.0"} {
		if !strings.Contains(out, want) {
			t.Errorf("not said: %q in\n%s", want, out)
		}
	}
}

func TestLabSaysWhatToAddWhatToDumpAndWhetherToBelieveIt(t *testing.T) {
	common := []string{"lab", "-recipe", "lettuce", "-ec", "2.1", "-water", blendSheets + "water.csv", "-stocks", blendSheets + "stocks.csv"}
	out := blendOK(t, append(common, "-analysis", blendSheets+"tank.csv", "-estimate", "K=220 mg/L, Ca=200 mg/L")...)
	for _, want := range []string{"The analysis: good", "charge", "estimated", "By adding alone, 1000 L", "the tank holds 245 mg/L of Ca", "% of the tank", "refill with source water", "local code", "Gloves"} {
		if !strings.Contains(out, want) {
			t.Errorf("not said: %q in\n%s", want, out)
		}
	}
	if !strings.Contains(out, "to bring every macronutrient within 10 %; outside it stay Fe -") || strings.Contains(out, "everywhere") {
		t.Errorf("iron far off its target is said to be within 10 %% everywhere:\n%s", out)
	}
	out = blendOK(t, append(common, "-analysis", "NO3=185 mg/L, P=22 mg/L, K=190 mg/L, Ca=245 mg/L, Mg=62 mg/L, SO4=400 mg/L, pH=6.1, EC=2.4 mS/cm")...)
	if !strings.Contains(out, "have the analysis repeated") {
		t.Errorf("nitrogen read as nitrate is believed:\n%s", out)
	}
	var d labDocument
	if err := json.Unmarshal([]byte(blendOK(t, append(common, "-json", "-analysis", blendSheets+"tank.csv")...)), &d); err != nil {
		t.Fatal(err)
	}
	if d.Verdict != "good" || d.Dump == nil || !(*d.Dump > 0.5 && *d.Dump < 1) || d.After == nil || d.LongRun != nil {
		t.Errorf("%+v", d)
	}
}

func TestLabTellsNewStandingSharesFromTheAccount(t *testing.T) {
	out := blendOK(t, "lab", "-recipe", "strawberry", "-ec", "1.6", "-stocks", blendSheets+"stocks.csv",
		"-before", "NO3-N=138 mg/L, NH4-N=7 mg/L, P=38 mg/L, K=203 mg/L, Ca=109 mg/L, Mg=27 mg/L, S=36 mg/L, pH=5.8",
		"-analysis", "NO3-N=140 mg/L, NH4-N=2 mg/L, P=36 mg/L, K=150 mg/L, Ca=140 mg/L, Mg=32 mg/L, S=44 mg/L, pH=5.9, EC=1.65 mS/cm",
		"-given", "calcium=1800,saltpetre=1900,phosphate=1300,epsom=600,sulfate=100", "-topup", "500")
	if !strings.Contains(out, "Standing shares") || !strings.Contains(out, "→") {
		t.Errorf("no shares:\n%s", out)
	}
}

func TestMakeWritesOutGramsAndRefusesWhatFallsOut(t *testing.T) {
	out := blendOK(t, "make", "-recipe", "lettuce", "-salts", "common", "-factor", "100", "-litres", "200")
	for _, want := range []string{"Tank A, 200 L", "Tank B, 200 L", "of calcium nitrate tetrahydrate", "iron DTPA 11 %, last", "Store at", "at most", "Gloves and goggles"} {
		if !strings.Contains(out, want) {
			t.Errorf("not said: %q in\n%s", want, out)
		}
	}
	path := filepath.Join(t.TempDir(), "bad.csv")
	if err := os.WriteFile(path, []byte("stock,holds,amount,unit\nall,calcium nitrate tetrahydrate,100,g/L\nall,magnesium sulfate heptahydrate,50,g/L\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	code, out, complaint := blended("make", "-stocks", path)
	if code != 1 || !strings.Contains(complaint, "must not be made") || !strings.Contains(out, "NOT SO: ") || !strings.Contains(out, "gypsum") {
		t.Errorf("exit %d, %s\n%s", code, complaint, out)
	}
	if strings.Contains(out, "Fill 70 L") {
		t.Error("instructions are given for a tank that must not be made")
	}
	code, _, complaint = blended("make", "-recipe", "lettuce", "-salts", "common", "-factor", "900")
	if code != 1 || !strings.Contains(complaint, "weaker") {
		t.Errorf("900 times as strong: exit %d, %s", code, complaint)
	}
}

// Exit code 2 for wrong use, 1 for what is refused; one line on stderr that says
// what to change.
func TestBlendRefusalsSayWhatToChange(t *testing.T) {
	for _, c := range []struct {
		args string
		code int
		want string
	}{
		{"", 2, "name the stocks once"},
		{"-salts common", 2, "no -recipe"},
		{"-salts common -recipe nonesuch", 1, "neither a file nor one of hoagland-1"},
		{"-salts common,unobtainium -recipe steiner", 1, "leat blend list"},
		{"-salts common -recipe steiner -ec x", 2, "not a number"},
		{"-salts common -recipe steiner -ec 9", 1, "at most 6 mS/cm"},
		{"-salts common -recipe steiner -ph 9", 1, "usually 5.5 to 6.3"},
		{"-salts common -recipe steiner -nh4 20", 1, "at most 15 %"},
		{"-salts common -recipe steiner -litres 0", 2, "no tank"},
		{"-salts common -recipe steiner surplus", 2, "unexpected argument"},
		{"-salts common -recipe steiner -stocks x", 2, "once"},
		{"-stocks nonesuch.csv -recipe steiner", 1, "no such file"},
		{"-salts common -recipe steiner -acid vinegar", 2, "NAME PERCENT"},
		{"-salts common -recipe steiner -water Mgg=3", 1, "did you mean"},
		{"lab -salts common -recipe steiner", 2, "no -analysis"},
		{"lab -salts common -recipe steiner -analysis K=200 -topup 3", 1, "mg/L"},
		{"make -stocks ../../testdata/blend/stocks.csv -factor 100", 2, "-factor goes with -salts"},
	} {
		code, out, complaint := blended(strings.Fields(c.args)...)
		if code != c.code || !strings.Contains(complaint, c.want) || strings.Count(complaint, "\n") != 1 || out != "" {
			t.Errorf("leat blend %s: exit %d, %q, printed %q; want %d and %q", c.args, code, complaint, out, c.code, c.want)
		}
	}
	for _, args := range []string{"-h", "lab -h", "make -h", "list", "list -h"} {
		if code, out, complaint := blended(strings.Fields(args)...); code != 0 || out == "" || complaint != "" {
			t.Errorf("leat blend %s: exit %d, %s", args, code, complaint)
		}
	}
}
