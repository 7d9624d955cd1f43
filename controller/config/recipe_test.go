package config

import (
	"math"
	"os"
	"strings"
	"testing"

	"leat/deploy"
	"leat/dosing/blend"
)

func TestSampleIsSharedByItsRecipe(t *testing.T) {
	f := parsed(t, string(deploy.Sample))
	for id := range f.Settings.Tanks {
		plan := f.Settings.Tanks[id].Ratio
		if plan == nil {
			t.Fatalf("tank %d has no recipe", id)
		}
		if plan.Recipe.Name != "lettuce" || plan.EC != f.Settings.Tanks[id].EC.Value || plan.MaxNH4 != 0.10 || len(plan.Stocks) != len(f.Settings.Safety.Pumps) {
			t.Errorf("tank %d: %s at %g mS/cm, ammonium %g, %d stocks", id, plan.Recipe.Name, plan.EC, plan.MaxNH4, len(plan.Stocks))
		}
		// The daemon's gain and the blend's contents are of one liquid.
		for i := range plan.Stocks {
			if p := &f.Settings.Safety.Pumps[i]; plan.Stocks[i].Role != 0 && math.Abs(plan.Stocks[i].Content.Ions().K-p.Ions.K) > 1e-6 {
				t.Errorf("%s: %g and %g mmol/L of K", p.Name, plan.Stocks[i].Content[blend.K], p.Ions.K)
			}
		}
	}
	report := Check(f)
	r := report.Tanks[0].Recipe
	if r == nil || len(r.Stocks) != 11 {
		t.Fatalf("leat check tells no blend: %+v", r)
	}
	sum := 0.0
	for _, s := range r.Stocks {
		sum += s.Share
	}
	if math.Abs(sum-1) > 1e-9 {
		t.Errorf("the shares of the first blend sum to %g", sum)
	}
	for _, ion := range r.Ions {
		if ion.Target > 0 && math.Abs(ion.Reached/ion.Target-1) > 0.05 {
			t.Errorf("%s: %g of %g mg/L", ion.Name, ion.Reached, ion.Target)
		}
	}
	var text strings.Builder
	if err := report.Write(&text); err != nil || !strings.Contains(text.String(), "recipe lettuce") || !strings.Contains(text.String(), "mL per litre") {
		t.Errorf("leat check does not print the blend (%v)", err)
	}
}

func TestRecipesAreRefusedWithWhatToChange(t *testing.T) {
	for what, c := range map[string]struct{ old, new, problem, hint string }{
		"misspelt":             {`name = "lettuce" `, `name = "letuce" `, "no recipe that is known", `did you mean "lettuce"`},
		"named and listed":     {`name = "lettuce" `, "elements = { K = \"240 mg/L\" }\nname = \"lettuce\" ", "beside the name", "one of the two"},
		"nothing":              {`name = "lettuce" `, "# ", "asks for nothing", "lettuce"},
		"unknown element":      {`name = "lettuce" `, "elements = { Kalum = \"240 mg/L\" } # ", "no element", "K, Ca"},
		"no unit":              {`name = "lettuce" `, "elements = { K = \"240\" } # ", "unit", "mg/L"},
		"no amount":            {`name = "lettuce" `, "elements = { K = \"much\" } # ", "no amount", "160 mg/L"},
		"too much ammonium":    {`max_ammonium = "10 %"`, `max_ammonium = "30 %"`, "harms roots", "15 %"},
		"nitrogen without":     {"[tank.recipe.water]", "[tank.recipe.water]\nN = \"3 mg/L\"", "form", "NO3-N"},
		"two alkalinities":     {`HCO3 = "49 mg/L"`, `HCO3 = "180 mg/L"`, "alkalinity", "once"},
		"a share beside it":    {"role = \"stock\"\n", "role = \"stock\"\nshare = \"29 %\"\n", "beside a recipe", "leave it out"},
		"a stock not stated":   {"salts = { \"potassium nitrate\" = \"100 g/L\" }\n", "compatibility = \"neutral\"\nec_gain = \"0.13 mS/cm per mL/L\"\n", "has a recipe", "salts"},
		"an acid not stated":   {"reagent = \"nitric acid\"\nstrength = \"38 %\"", "reagent = \"secret\"\nstrength = \"7 meq/mL\"", "has a recipe", "nitric acid"},
		"water above setpoint": {`Na = "8.4 mg/L"`, `Na = "900 mg/L"`, "EC", "softer water"},
	} {
		_, err := Parse("farm.toml", []byte(changed(t, string(deploy.Sample), c.old, c.new)), stranger())
		if err == nil {
			t.Errorf("%s: taken", what)
			continue
		}
		found := false
		for _, f := range faultsOf(err) {
			found = found || strings.Contains(f.Error(), c.problem) && strings.Contains(f.Error(), c.hint) && f.Line > 0
		}
		if !found {
			t.Errorf("%s: %v; want %q and %q with a line", what, err, c.problem, c.hint)
		}
	}
}

func TestOwnElementsAreARecipeToo(t *testing.T) {
	f := parsed(t, changed(t, string(deploy.Sample), `name = "lettuce" `,
		"elements = { \"NO3-N\" = \"170 mg/L\", \"NH4-N\" = \"10 mg/L\", P = \"40 mg/L\", K = \"275 mg/L\", Ca = \"115 mg/L\", Mg = \"20 mg/L\", S = \"25 mg/L\" } # "))
	plan := f.Settings.Tanks[0].Ratio
	if want := plan.Recipe.Wants[blend.Mg]; math.Abs(want.Amount-20/24.305) > 1e-6 {
		t.Errorf("Mg is wanted at %g mmol/L", want.Amount)
	}
	warned := false
	for _, w := range f.Warnings {
		warned = warned || strings.Contains(w, "none of iron and traces") || strings.Contains(w, "none of iron")
	}
	if !warned {
		t.Errorf("a recipe without micronutrients is not warned of: %q", f.Warnings)
	}
}

func TestTopUpThatNobodyCountsIsWarnedOf(t *testing.T) {
	f := parsed(t, changed(t, string(deploy.Sample), "[tank.input.top_up]\n", "[tank.input.top_up]\nnot_fitted = \"by hand\"\n"))
	found := 0
	for _, w := range f.Warnings {
		if strings.Contains(w, "is not counted") {
			found++
		}
	}
	if found != 1 {
		t.Errorf("%d warnings of one tank: %q", found, f.Warnings)
	}
}

func TestAnotherRecipeIsTakenByARunningDaemon(t *testing.T) {
	old, fresh := parsed(t, string(deploy.Sample)), parsed(t, changed(t, string(deploy.Sample), `name = "lettuce" `, `name = "hoagland-2" `))
	changes, refusals := Compare(old, fresh)
	if len(refusals) > 0 {
		t.Errorf("refused: %q", refusals)
	}
	found := false
	for _, c := range changes {
		found = found || strings.Contains(c, `tank "north": recipe`)
	}
	if !found {
		t.Errorf("the change is not told: %q", changes)
	}
}

const softTap = "Ca = \"12 mg/L\"\nMg = \"2.5 mg/L\"\nNa = \"8.4 mg/L\"\nCl = \"13 mg/L\"\nHCO3 = \"49 mg/L\"\npH = \"7.4\"\n"

const hardTap = `Ca = "104 mg/L"
Mg = "12 mg/L"
Na = "18 mg/L"
Cl = "30 mg/L"
SO4 = "35 mg/L"
HCO3 = "310 mg/L"
pH = "7.3"
`

// onWater is the sample farm on another source water.
func onWater(t *testing.T, water, alkalinity string) string {
	t.Helper()
	text := string(deploy.Sample)
	for range 2 {
		text = changed(t, text, softTap, water)
		text = changed(t, text, "alkalinity = \"0.8 meq/L\"", "alkalinity = \""+alkalinity+"\"")
	}
	return text
}

// The farm that was told to run four fifths of iron stock on hard water.
func TestTheFirstBlendOnHardWaterHoldsEveryMicronutrientToItsTarget(t *testing.T) {
	r := check("farm.toml", []byte(onWater(t, hardTap, "5.08 meq/L")), stranger())
	if !r.OK {
		t.Fatal(r.Faults)
	}
	for _, tank := range r.Tanks {
		for _, ion := range tank.Recipe.Ions {
			switch ion.Name {
			case "Fe", "Mn", "Zn", "B", "Cu", "Mo":
				if off := math.Abs(ion.Reached/ion.Target - 1); off > 0.05 {
					t.Errorf("tank %s: %s reaches %.3g mg/L, target %.3g", tank.Name, ion.Name, ion.Reached, ion.Target)
				}
			default:
				if off := math.Abs(ion.Reached/ion.Target - 1); ion.Target > 0 && (off > 0.0101) != (ion.Why != "") {
					t.Errorf("tank %s: %s is %.1f %% off, and why not nearer is %q", tank.Name, ion.Name, 100*off, ion.Why)
				}
			}
		}
	}
	out := printed(t, r)
	for _, want := range []string{"why not nearer", "water brings it, and it stays in surplus"} {
		if !strings.Contains(out, want) {
			t.Errorf("not printed: %q", want)
		}
	}
}

// The daemon reads its file by the same door.
func TestAFirstBlendOfWeakStocksIsRefusedWithTheStrengthThatWouldDo(t *testing.T) {
	weak := changed(t, onWater(t, hardTap, "5.08 meq/L"), `"iron DTPA 11 %" = "12 g/L"`, `"iron DTPA 11 %" = "0.15 g/L"`)
	_, err := Parse("farm.toml", []byte(weak), stranger())
	if err == nil || !strings.Contains(err.Error(), "iron alone 13.5 %, and at most 10 % may be") || !strings.Contains(err.Error(), "make iron") || !strings.Contains(err.Error(), "times as strong") {
		t.Errorf("%v", err)
	}
}

func TestAFarmWithoutStatedWaterIsToldWhatIsTaken(t *testing.T) {
	text := strings.Replace(changed(t, string(deploy.Sample), softTap, ""), "[tank.recipe.water]", "# ", 1)
	for old, want := range map[string]string{
		"alkalinity = \"0.8 meq/L\"\n": "an alkalinity of 3 meq/L (a usual tap) with 60.1 mg/L of Ca beside it, and none of Mg, Na",
		"":                             "an alkalinity of 0.8 meq/L (top_up.alkalinity) with 16 mg/L of Ca",
	} {
		f := parsed(t, changed(t, text, old, ""))
		if warnings := strings.Join(f.Warnings, "\n"); !strings.Contains(warnings, want) {
			t.Errorf("not warned of: %q in\n%s", want, warnings)
		}
	}
	minimal, err := os.ReadFile("../../deploy/minimal.toml")
	if err != nil {
		t.Fatal(err)
	}
	if f := parsed(t, string(minimal)); !strings.Contains(strings.Join(f.Warnings, "\n"), "no source water is stated") {
		t.Errorf("a farm that shares by hand is not told what water is taken: %q", f.Warnings)
	}
}
