package config

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"leat/deploy"
)

func printed(t *testing.T, r Report) string {
	t.Helper()
	var b strings.Builder
	if err := r.Write(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestCheckPrintsWhatAGrowerMustKnowBeforeTheFirstDrop(t *testing.T) {
	text := printed(t, check("leat.toml", deploy.Sample, stranger()))
	for _, words := range []string{
		`Tank "north": 1400 L`, `Tank "nursery": 180 L`, "worst demand", "limited by", "on-time limit", "container gives", "Not fitted", "north, redox: no redox probe on this farm",
		"its whole container, 0.8 L", "Acid into water", "Gloves", "goggles", "bund", "hard-wired stop", "backflow", "local", "No fault found",
	} {
		if !strings.Contains(text, words) {
			t.Errorf("no %q in\n%s", words, text)
		}
	}
	for i, line := range strings.Split(text, "\n") {
		if strings.TrimRight(line, " ") != line {
			t.Errorf("line %d ends in spaces: %q", i+1, line)
		}
	}
}

func TestARefusedSizeIsShownWithTheFiguresBehindIt(t *testing.T) {
	body, err := os.ReadFile(filepath.Join(files, "bad", "acid_too_strong.toml"))
	if err != nil {
		t.Fatal(err)
	}
	r := check("acid_too_strong.toml", body, stranger())
	if r.OK || len(r.Faults) == 0 || len(r.Tanks) != 1 || len(r.Pumps) != 4 {
		t.Fatalf("report %+v", r)
	}
	if hang := r.Pumps[0].Effects[0].HangPH; !(hang > 0.3) {
		t.Errorf("refused at %v pH", hang)
	}
	text := printed(t, r)
	if !strings.Contains(text, "refused, 1 fault") || strings.Contains(text, "No fault found") {
		t.Errorf("text:\n%s", text)
	}
}

func TestReportIsOneJSONDocumentWithoutNaN(t *testing.T) {
	for name, body := range map[string][]byte{"sample": deploy.Sample, "rubbish": []byte("x = 1"), "plain": []byte(good(t, "plain.toml"))} {
		r := check(name, body, stranger())
		text, err := json.Marshal(&r)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		var back map[string]any
		if err := json.Unmarshal(text, &back); err != nil || back["ok"] != r.OK {
			t.Errorf("%s: %v, ok %v", name, err, back["ok"])
		}
		for _, key := range []string{"faults", "warnings"} {
			if _, isList := back[key].([]any); !isList {
				t.Errorf("%s: %s is %T, a list even when empty", name, key, back[key])
			}
		}
	}
}

// Strong acid far beyond the buffer: what is left is its own hydrogen ion, so a
// container of w litres of 7.435 mol/L in V litres ends near pH -log10(w·7.435/V)
// less what the buffers took. Worked by hand for the sample: 0.8 L in 1000 L is
// 5.95 meq/L; about 1.7 meq/L goes into phosphate and carbonate on the way.
func TestDrainedAcidContainerEndsWhereTheHydrogenIonSays(t *testing.T) {
	r := Check(parsed(t, string(deploy.Sample)))
	ph := *r.Pumps[0].Effects[0].WholePH
	left := 0.8*7.435/1.0008 - 1.7
	want := -math.Log10(left/1000) + 0.06 // activity coefficient of H at I = 0.03
	if math.Abs(ph-want) > 0.15 {
		t.Errorf("pH %.2f, by hand %.2f", ph, want)
	}
}

func TestWaivedStopHalvesWhatTheCapsCanCarry(t *testing.T) {
	base := changed(t, good(t, "plain.toml"), `stop = { not_fitted = "bench test, a person stands beside it" }`, "stop = {}")
	with := Check(parsed(t, changed(t, base, `reagent = "potassium carbonate"`, "reagent = \"potassium carbonate\"\nhourly_cap = \"233 mL\"\ndaily_cap = \"1624 mL\"")))
	without := Check(parsed(t, changed(t, good(t, "plain.toml"), `reagent = "potassium carbonate"`, "reagent = \"potassium carbonate\"\nhourly_cap = \"233 mL\"\ndaily_cap = \"1624 mL\"")))
	a, b := with.Tanks[0].Sustainable[1], without.Tanks[0].Sustainable[1]
	if a.LimitedBy != "the daily cap" || b.LimitedBy != "the daily cap" || math.Abs(a.PerHour-2*b.PerHour) > 1e-9 {
		t.Errorf("with a stop input %+v, without %+v", a, b)
	}
}

func TestANodeWithoutTheFullContractGetsHalfTheCaps(t *testing.T) {
	base := good(t, "plain.toml")
	full := Check(parsed(t, base)).Tanks[0].Sustainable[1]
	text := changed(t, base, `contract = "full"`, `contract = "timed"`)
	timed := check("farm.toml", []byte(text), stranger()).Tanks[0].Sustainable[1]
	if full.LimitedBy != "the daily cap" || math.Abs(full.PerHour-2*timed.PerHour) > 1e-9 {
		t.Errorf("full contract %+v, timed %+v", full, timed)
	}
}

// A steady stream keeps rate × (θ + τ) in transit; 0.30 pH of it at the gate's
// buffer floor is the most (safety/doc.go). Worked by hand for a slow tank.
func TestSlowMixingLimitsWhatCanBeSustained(t *testing.T) {
	base := good(t, "plain.toml")
	text := changed(t, base, `time_constant = "2 min"`, `time_constant = "40 min"`)
	r := check("farm.toml", []byte(text), stranger())
	acid := r.Tanks[0].Sustainable[0]
	want := 0.30 * 0.35 * math.Exp(-0.55) / (1.5 + 40) * 60
	if acid.LimitedBy != "what may be in transit" || math.Abs(acid.PerHour/want-1) > 1e-6 {
		t.Errorf("acid %+v, by hand %v meq/L/h", acid, want)
	}
}
