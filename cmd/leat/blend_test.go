package main

import (
	"bytes"
	"encoding/csv"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

const blendSheets = "../../testdata/blend/"

func blended(args ...string) (code int, stdout, stderr string) {
	var out, err bytes.Buffer
	code = dispatch(append([]string{"blend"}, args...), &out, &err)
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

func TestLabReadsTheSheetsOfItsFlags(t *testing.T) {
	common := []string{"lab", "-recipe", "strawberry", "-ec", "1.6", "-water", blendSheets + "water.csv", "-stocks", blendSheets + "stocks.csv", "-analysis", blendSheets + "tank.csv"}
	out := blendOK(t, append(common, "-estimate", "K=220 mg/L, Ca=200 mg/L", "-before", blendSheets+"tank.csv", "-given", "calcium=1800", "-topup", "500", "-tolerance", "12")...)
	for _, want := range []string{"The analysis: ", "estimated", "By adding alone, 1000 L", "tanding shares", "12 %"} {
		if !strings.Contains(out, want) {
			t.Errorf("not said: %q in\n%s", want, out)
		}
	}
	if out = blendOK(t, append(common, "-json")...); !strings.Contains(out, `"dump_share"`) {
		t.Error(out)
	}
}

func TestMakeWritesOutGramsAndRefusesWhatFallsOut(t *testing.T) {
	out := blendOK(t, "make", "-recipe", "lettuce", "-salts", "common", "-factor", "100", "-litres", "200")
	if !strings.Contains(out, "Tank A, 200 L") {
		t.Error(out)
	}
	path := filepath.Join(t.TempDir(), "bad.csv")
	if err := os.WriteFile(path, []byte("stock,holds,amount,unit\nall,calcium nitrate tetrahydrate,100,g/L\nall,magnesium sulfate heptahydrate,50,g/L\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	code, out, complaint := blended("make", "-stocks", path)
	if code != 1 || !strings.Contains(complaint, "must not be made") || !strings.Contains(out, "NOT SO: ") {
		t.Errorf("exit %d, %s\n%s", code, complaint, out)
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
