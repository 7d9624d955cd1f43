package blend

import (
	"math"
	"os"
	"strings"
	"testing"

	"leat/dosing/chem"
)

func stocksOf(t *testing.T, lines string) []Stock {
	t.Helper()
	stocks, err := ReadStocks("stock,holds,amount,unit\n" + lines)
	if err != nil {
		t.Fatal(err)
	}
	return stocks
}

func wants(t *testing.T, list string) Recipe {
	t.Helper()
	entries, err := ReadList(list)
	if err != nil {
		t.Fatal(err)
	}
	r, err := ReadRecipe("test", entries)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func waterOf(t *testing.T, list string) Content {
	t.Helper()
	entries, err := ReadList(list)
	if err != nil {
		t.Fatal(err)
	}
	a, err := ReadAnalysis(entries)
	if err != nil {
		t.Fatal(err)
	}
	return a.Water().Content
}

func says(t *testing.T, texts []string, want string) {
	t.Helper()
	if !strings.Contains(strings.Join(texts, "\n"), want) {
		t.Errorf("not said: %q, but:\n%s", want, strings.Join(texts, "\n"))
	}
}

func TestItSaysInWordsWhyAnElementCannotBeMet(t *testing.T) {
	row := "calcium,calcium nitrate tetrahydrate,120,g/L\npotash,potassium nitrate,80,g/L\n"
	recipe := "NO3-N=150 mg/L, K=200 mg/L, Ca=40 mg/L"

	m := mixed(t, Task{Recipe: wants(t, recipe), Stocks: stocksOf(t, row), Base: waterOf(t, "Ca=61 mg/L, HCO3=120 mg/L")})
	says(t, m.Reasons, "water brings 61 mg/L of Ca, target 40 mg/L")
	says(t, m.Reasons, "there is no acid among the stocks")

	m = mixed(t, Task{Recipe: wants(t, recipe+", Mg=30 mg/L"), Stocks: stocksOf(t, row)})
	says(t, m.Reasons, "no stock carries Mg")

	m = mixed(t, Task{Recipe: wants(t, "K=200 mg/L, Mg=40 mg/L, S=12 mg/L, NO3-N=71 mg/L"), Stocks: stocksOf(t, row+"epsom,magnesium sulfate heptahydrate,100,g/L\n")})
	says(t, m.Reasons, "no stock carries Mg without S, which is")

	m = mixed(t, Task{Recipe: wants(t, recipe), Stocks: stocksOf(t, row+"potash,at most,2,mL/L\n")})
	says(t, m.Reasons, "potash stands at the most you allow")

	m = mixed(t, Task{Recipe: wants(t, "NO3-N=120 mg/L, NH4-N=40 mg/L"), Stocks: stocksOf(t, "an,ammonium nitrate,80,g/L\npotash,potassium nitrate,80,g/L\n")})
	says(t, m.Reasons, "ammonium is held at 10 % of nitrogen")

	m = mixed(t, Task{Recipe: wants(t, "NO3=5 mmol/L, P=1 mmol/L, K=20 mmol/L, Ca=2 mmol/L, Mg=1 mmol/L, S=1 mmol/L"), Stocks: stocksOf(t, row)})
	says(t, m.Remarks, "the recipe itself does not balance: cations 26.00, anions 8.00")
}

func TestNothingPassesWhatTheRecipeNeverLetsPass(t *testing.T) {
	recipe := wants(t, "K=300 mg/L, NO3-N=60 mg/L")
	recipe.Wants[Cl] = Want{Limited: true, Most: 2}
	m := mixed(t, Task{Recipe: recipe, Stocks: stocksOf(t, "chloride,potassium chloride,100,g/L\nnitrate,potassium nitrate,100,g/L\n"), Base: waterOf(t, "Na=12 mg/L, Cl=18 mg/L")})
	if m.Reached[Cl] > 2+1e-9 {
		t.Errorf("Cl %.4f mmol/L, never above 2", m.Reached[Cl])
	}
	says(t, m.Reasons, "K comes to")
}

func TestAmmoniumStaysAtATenthOfNitrogenAndIsRefusedAboveFifteenPerCent(t *testing.T) {
	row := stocksOf(t, "an,ammonium nitrate,80,g/L\nas,ammonium sulfate,50,g/L\npotash,potassium nitrate,80,g/L\n")
	for _, most := range []float64{0.02, 0.10, 0.15} {
		m := mixed(t, Task{Recipe: wants(t, "N=160 mg/L, NH4-N=80 mg/L"), Stocks: row, MaxNH4: most})
		if share := m.Reached[NH4] / m.Reached.Nitrogen(); share > most+1e-9 {
			t.Errorf("ammonium %.4f of nitrogen, at most %g", share, most)
		}
	}
	if _, err := Solve(Task{Recipe: wants(t, "N=160 mg/L"), Stocks: row, MaxNH4: 0.2}); err == nil {
		t.Error("20 % is not refused")
	}
}

// The acid is chosen so that its nutrient fits: phosphoric where P is short, nitric
// where nitrogen is, and it is counted.
func TestAcidIsChosenByTheNutrientItBringsAndCounted(t *testing.T) {
	acids := "nitric,nitric acid,38,%\nphosphoric,phosphoric acid,59,%\nsulfuric,sulfuric acid,37,%\n"
	water := waterOf(t, "Ca=80 mg/L, HCO3=240 mg/L")
	salts := "calcium,calcium nitrate tetrahydrate,120,g/L\npotash,potassium nitrate,80,g/L\nsop,potassium sulfate,60,g/L\nepsom,magnesium sulfate heptahydrate,100,g/L\n"
	m := mixed(t, Task{Recipe: named(t, "strawberry"), Base: water, Stocks: stocksOf(t, salts+acids)})
	// There is no phosphate stock: all P must come from phosphoric acid, the rest of
	// the acid from others.
	if math.Abs(m.Off(P)) > 0.02 {
		t.Errorf("P %.2f %% off", 100*m.Off(P))
	}
	if math.Abs(m.Settled.PH-5.8) > 0.02 {
		t.Errorf("pH settles at %.3f", m.Settled.PH)
	}
	phosphoric := m.Task.Stocks[5]
	if got := phosphoric.perUnit()[P] * m.Amounts[5]; math.Abs(got/m.Reached[P]-1) > 0.02 {
		t.Errorf("phosphoric acid brings %.3f of %.3f mmol/L P", got, m.Reached[P])
	}
	// With phosphoric acid alone its phosphorus overshoots, and that is said.
	m = mixed(t, Task{Recipe: named(t, "strawberry"), Base: water, Stocks: stocksOf(t, salts+"phosphoric,phosphoric acid,59,%\n")})
	says(t, m.Reasons, "take another acid, or split it over two")
}

func TestAcidAndBaseAreNeverGivenTogether(t *testing.T) {
	row := stocksOf(t, "potash,potassium nitrate,80,g/L\nphosphate,monopotassium phosphate,50,g/L\nnitric,nitric acid,38,%\nlye,potassium hydroxide,30,%\n")
	for _, water := range []string{"Ca=80 mg/L, HCO3=240 mg/L", "Na=1 mg/L, HCO3=2 mg/L"} {
		m := mixed(t, Task{Recipe: wants(t, "K=250 mg/L, P=31 mg/L"), Base: waterOf(t, water), Stocks: row})
		if m.Amounts[2] > 0 && m.Amounts[3] > 0 {
			t.Errorf("%s: %.3f mL/L acid and %.3f base", water, m.Amounts[2], m.Amounts[3])
		}
	}
}

func TestAlternativesAreNamedWhereTwoSaltsServe(t *testing.T) {
	m := mixed(t, Task{Recipe: wants(t, "K=200 mg/L, NO3-N=71.6 mg/L"), Stocks: stocksOf(t, "one,potassium nitrate,90,g/L\ntwo,potassium nitrate,45,g/L\n")})
	says(t, m.Alternatives, "one can be left out")
	says(t, m.Alternatives, "with more of two")
}

func TestRoundingGoesToWholeSmallestDosesAndAcidDownward(t *testing.T) {
	row := stocksOf(t, "potash,potassium nitrate,80,g/L\npotash,smallest dose,7,mL\nnitric,nitric acid,38,%\nnitric,smallest dose,5,mL\n")
	m := mixed(t, Task{Recipe: wants(t, "K=200 mg/L"), Base: waterOf(t, "Ca=40 mg/L, HCO3=122 mg/L"), Stocks: row})
	rounded, volumes, err := m.Rounded(50)
	if err != nil {
		t.Fatal(err)
	}
	for i, step := range []float64{7, 5} {
		if whole := volumes[i] / step; math.Abs(whole-math.Round(whole)) > 1e-9 {
			t.Errorf("%s %.3f mL is not a whole number of %g mL", row[i].Name, volumes[i], step)
		}
	}
	if volumes[1] > 50*m.Amounts[1] {
		t.Error("acid was rounded up")
	}
	if rounded.Settled.PH < m.Settled.PH {
		t.Error("rounding acid down cannot lower pH")
	}
}

func TestSolutionThatWouldDropPhosphateIsWarnedOf(t *testing.T) {
	m := mixed(t, Task{Recipe: named(t, "lettuce"), PH: 7.5, Stocks: append(salted(t, "calcium nitrate tetrahydrate", "potassium nitrate", "monopotassium phosphate", "ammonium nitrate", "magnesium sulfate heptahydrate", "iron DTPA 11 %"),
		stocksOf(t, "lye,potassium hydroxide,30,%\n")...)})
	if !(m.Settled.Saturation[chem.Brushite] > 0) {
		t.Fatalf("brushite at pH %.2f is %.2f: the case is no case", m.Settled.PH, m.Settled.Saturation[chem.Brushite])
	}
	says(t, m.Remarks, "brushite is supersaturated")
	says(t, m.Remarks, "iron DTPA")
}

func TestWaterSaltierThanTheECAskedIsRefusedWithAdvice(t *testing.T) {
	_, err := Solve(Task{Recipe: named(t, "steiner"), EC: 0.5, Base: waterOf(t, "Ca=160 mg/L, Na=60 mg/L, Cl=100 mg/L, HCO3=300 mg/L"), Stocks: salted(t, "potassium nitrate")})
	if err == nil || !strings.Contains(err.Error(), "softer water") {
		t.Errorf("%v", err)
	}
}

// The example sheets of testdata are those of the documents; each must be read.
func TestTheExampleSheetsBlend(t *testing.T) {
	read := func(name string) string {
		text, err := os.ReadFile("../../testdata/blend/" + name)
		if err != nil {
			t.Fatal(err)
		}
		return string(text)
	}
	stocks, err := ReadStocks(read("stocks.csv"))
	if err != nil {
		t.Fatal(err)
	}
	entries, err := ReadSheet(read("recipe.csv"))
	if err != nil {
		t.Fatal(err)
	}
	recipe, err := ReadRecipe("basil", entries)
	if err != nil {
		t.Fatal(err)
	}
	if entries, err = ReadSheet(read("water.csv")); err != nil {
		t.Fatal(err)
	}
	water, err := ReadAnalysis(entries)
	if err != nil {
		t.Fatal(err)
	}
	m := mixed(t, Task{Recipe: recipe, Stocks: stocks, Base: water.Water().Content, EC: recipe.EC})
	if m.Worst() > 0.1 || math.Abs(m.Settled.EC25-1.8) > 0.01 || math.Abs(m.Settled.PH-5.8) > 0.05 {
		t.Errorf("worst %.3f, EC %.3f, pH %.3f\n%s", m.Worst(), m.Settled.EC25, m.Settled.PH, strings.Join(m.Reasons, "\n"))
	}
}

func TestNoAlternativeIsOfferedThatMissesMore(t *testing.T) {
	m := mixed(t, Task{Recipe: named(t, "steiner"), Stocks: stocksOf(t, "calcium,calcium nitrate tetrahydrate,120,g/L\npotash,potassium nitrate,80,g/L\nepsom,magnesium sulfate heptahydrate,100,g/L\nphosphate,monopotassium phosphate,50,g/L\n")})
	if len(m.Alternatives) != 0 {
		t.Errorf("every one of the four is needed, yet: %v", m.Alternatives)
	}
}

func TestAStockThatHoldsNothingAskedForIsNotGivenToThinTheWater(t *testing.T) {
	stocks := stocksOf(t, `calcium,calcium nitrate tetrahydrate,150,g/L
kno3,potassium nitrate,100,g/L
mkp,monopotassium phosphate,120,g/L
mgso4,magnesium sulfate heptahydrate,120,g/L
iron,iron DTPA 11 %,12,g/L
salt,sodium chloride,50,g/L`)
	m := mixed(t, Task{Recipe: wants(t, "NO3-N=170 mg/L, P=40 mg/L, K=275 mg/L, Ca=115 mg/L, Mg=20 mg/L, S=25 mg/L"), EC: 1.8,
		Base: waterOf(t, "Ca=12 mg/L, Mg=2.5 mg/L, Na=8.4 mg/L, Cl=13 mg/L, HCO3=49 mg/L, pH=7.4"), Stocks: stocks})
	for i, s := range m.Task.Stocks {
		if holdsNone := s.Name == "iron" || s.Name == "salt"; holdsNone && m.Amounts[i] > 0 {
			t.Errorf("%s: %.1f mL/L, though the recipe asks for nothing in it", s.Name, m.Amounts[i])
		}
	}
}
