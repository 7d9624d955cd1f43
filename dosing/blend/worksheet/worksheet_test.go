package worksheet

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"strings"
	"testing"

	"leat/dosing/blend"
)

const sheets = "../../../testdata/blend/"

func sheetIn(t *testing.T, name string) string {
	t.Helper()
	text, err := os.ReadFile(sheets + name)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// jobOf is a named recipe from the stocks of the samples, in pure water.
func jobOf(t *testing.T, recipe string, ec float64) *Job {
	t.Helper()
	stocks, err := blend.ReadStocks(sheetIn(t, "stocks.csv"))
	if err != nil {
		t.Fatal(err)
	}
	r, known := blend.RecipeNamed(recipe)
	if !known {
		t.Fatalf("no recipe %q", recipe)
	}
	return &Job{Task: blend.Task{Recipe: r, EC: ec, Stocks: stocks}, Litres: 1000}
}

// inWater gives a job the sample's source water.
func inWater(t *testing.T, j *Job) *Job {
	t.Helper()
	entries, err := blend.ReadSheet(sheetIn(t, "water.csv"))
	if err != nil {
		t.Fatal(err)
	}
	a, err := blend.ReadAnalysis(entries)
	if err != nil {
		t.Fatal(err)
	}
	j.Water = a.Water().Content
	j.Task.Base = j.Water
	return j
}

// salted is a named recipe from salts.
func salted(t *testing.T, recipe, salts string) *Job {
	t.Helper()
	j := jobOf(t, recipe, 0)
	var err error
	if j.Task.Stocks, err = ReadSalts(salts); err != nil {
		t.Fatal(err)
	}
	return j
}

func analysisOf(t *testing.T, list string) blend.Analysis {
	t.Helper()
	entries, err := blend.ReadList(list)
	if err != nil {
		t.Fatal(err)
	}
	a, err := blend.ReadAnalysis(entries)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func corrected(t *testing.T, j *Job, c blend.Correction, estimate *blend.Analysis) *Correction {
	t.Helper()
	if c.Tolerance == 0 {
		c.Tolerance = 0.1
	}
	out, err := j.Correct(c, estimate)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func mixed(t *testing.T, j *Job) *Mixture {
	t.Helper()
	m, err := j.Mixture()
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func TestBlendPrintsATableToPinToTheWall(t *testing.T) {
	job := inWater(t, jobOf(t, "strawberry", 1.6))
	job.Litres = 1200
	out := mixed(t, job).Text()
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

// Source: testdata/published/solutions.csv, hoagland_1, from its four salts.
func TestBlendJSONHasThePromisedKeys(t *testing.T) {
	out, err := json.Marshal(mixed(t, salted(t, "hoagland-1", "calcium nitrate tetrahydrate, potassium nitrate, monopotassium phosphate, magnesium sulfate heptahydrate")).Document())
	if err != nil {
		t.Fatal(err)
	}
	var d map[string]any
	if err := json.Unmarshal(out, &d); err != nil {
		t.Fatal(err)
	}
	for _, key := range []string{"recipe", "source", "strength", "litres", "stocks", "elements", "ph", "ph_at_once", "ec25_ms_per_cm", "acid_needed_meq_per_l", "cations_meq_per_l", "anions_meq_per_l",
		"nh4_share_of_n", "saturation", "reasons", "alternatives", "notes", "order", "cautions"} {
		if _, ok := d[key]; !ok {
			t.Errorf("no %s", key)
		}
	}
	var typed mixDocument
	if err := json.Unmarshal(out, &typed); err != nil {
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

func TestTheAmountsAsATable(t *testing.T) {
	job := jobOf(t, "steiner", 0)
	job.Task.Stocks[0].Name = "=calcium"
	records, err := csv.NewReader(strings.NewReader(mixed(t, job).CSV())).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(records) != 10 || strings.Join(records[0], ",") != "stock,per_litre,in_all,unit,share" || records[1][0] != "'=calcium" {
		t.Errorf("%v", records)
	}
}

func TestLabSaysWhatToAddWhatToDumpAndWhetherToBelieveIt(t *testing.T) {
	job := inWater(t, jobOf(t, "lettuce", 2.1))
	entries, err := blend.ReadSheet(sheetIn(t, "tank.csv"))
	if err != nil {
		t.Fatal(err)
	}
	tank, err := blend.ReadAnalysis(entries)
	if err != nil {
		t.Fatal(err)
	}
	estimate := analysisOf(t, "K=220 mg/L, Ca=200 mg/L")
	good := corrected(t, job, blend.Correction{Tank: tank}, &estimate)
	out := good.Text()
	for _, want := range []string{"The analysis: good", "charge", "estimated", "By adding alone, 1000 L", "the tank holds 245 mg/L of Ca", "% of the tank", "refill with source water", "local code", "Gloves"} {
		if !strings.Contains(out, want) {
			t.Errorf("not said: %q in\n%s", want, out)
		}
	}
	if !strings.Contains(out, "to bring every macronutrient within 10 %; outside it stay Fe -") || strings.Contains(out, "everywhere") {
		t.Errorf("iron far off its target is said to be within 10 %% everywhere:\n%s", out)
	}
	out = corrected(t, job, blend.Correction{Tank: analysisOf(t, "NO3=185 mg/L, P=22 mg/L, K=190 mg/L, Ca=245 mg/L, Mg=62 mg/L, SO4=400 mg/L, pH=6.1, EC=2.4 mS/cm")}, nil).Text()
	if !strings.Contains(out, "have the analysis repeated") {
		t.Errorf("nitrogen read as nitrate is believed:\n%s", out)
	}
	if d := good.document(); d.Verdict != "good" || d.Dump == nil || !(*d.Dump > 0.5 && *d.Dump < 1) || d.After == nil || d.LongRun != nil {
		t.Errorf("%+v", d)
	}
}

func TestLabTellsNewStandingSharesFromTheAccount(t *testing.T) {
	job := jobOf(t, "strawberry", 1.6)
	before := analysisOf(t, "NO3-N=138 mg/L, NH4-N=7 mg/L, P=38 mg/L, K=203 mg/L, Ca=109 mg/L, Mg=27 mg/L, S=36 mg/L, pH=5.8")
	given, err := ReadGiven("calcium=1800,saltpetre=1900 mL,phosphate=1300,epsom=600,sulfate=100", job.Task.Stocks)
	if err != nil {
		t.Fatal(err)
	}
	out := corrected(t, job, blend.Correction{Before: &before, Given: given, TopUp: 500,
		Tank: analysisOf(t, "NO3-N=140 mg/L, NH4-N=2 mg/L, P=36 mg/L, K=150 mg/L, Ca=140 mg/L, Mg=32 mg/L, S=44 mg/L, pH=5.9, EC=1.65 mS/cm")}, nil).Text()
	if !strings.Contains(out, "Standing shares") || !strings.Contains(out, "→") {
		t.Errorf("no shares:\n%s", out)
	}
}

func TestMakingWritesOutGramsAndGivesNoInstructionForWhatFallsOut(t *testing.T) {
	job := salted(t, "lettuce", "common")
	job.Litres = 200
	making, err := job.Design(100, 15)
	if err != nil || making.Refused() != nil {
		t.Fatal(err, making.Refused())
	}
	for _, want := range []string{"Tank A, 200 L", "Tank B, 200 L", "of calcium nitrate tetrahydrate", "iron DTPA 11 %, last", "Store at", "at most", "Gloves and goggles"} {
		if out := making.Text(); !strings.Contains(out, want) {
			t.Errorf("not said: %q in\n%s", want, out)
		}
	}
	stocks, err := blend.ReadStocks("stock,holds,amount,unit\nall,calcium nitrate tetrahydrate,100,g/L\nall,magnesium sulfate heptahydrate,50,g/L\n")
	if err != nil {
		t.Fatal(err)
	}
	making, err = (&Job{Task: blend.Task{Stocks: stocks}, Litres: 100}).Make(15)
	if err != nil {
		t.Fatal(err)
	}
	if err := making.Refused(); err == nil || !strings.Contains(err.Error(), "must not be made") {
		t.Errorf("gypsum falls out, and it is not refused: %v", err)
	}
	if out := making.Text(); !strings.Contains(out, "NOT SO: ") || !strings.Contains(out, "gypsum") || strings.Contains(out, "Fill 70 L") {
		t.Error(out)
	}
	for _, tank := range making.document().Tanks {
		if !tank.Refused || len(tank.Steps) != 0 {
			t.Errorf("%+v", tank)
		}
	}
}

// Whatever is typed, it is read into as many stocks and volumes as it names, or refused.
func FuzzWordsOfACommandLine(f *testing.F) {
	for _, seed := range []string{"common", "potassium nitrate, grade 13-0-46 + 13 NO3-N", "nitric acid 38 % 1:10", "calcium=1200,bloom=900 mL", "sulfuric acid 1e2 % 1+9", "=,=%"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if stocks, err := ReadSalts(text); err == nil && len(stocks) != len(commonSalts) && len(stocks) != 1+strings.Count(text, ",") {
			t.Errorf("%q: %d stocks", text, len(stocks))
		}
		if s, err := ReadAcid(text); err == nil && s.Name == "" {
			t.Errorf("%q is an acid without a name", text)
		}
		volumes, err := ReadGiven(text, []blend.Stock{{Name: "calcium"}, {Name: "bloom"}})
		for _, v := range volumes {
			if err == nil && !(v >= 0) {
				t.Errorf("%q gives %g mL", text, v)
			}
		}
	})
}
