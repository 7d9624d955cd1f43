package blend

import (
	"math"
	"strings"
	"testing"

	"leat/dosing"
	"leat/dosing/chem"
)

func findings(all []Finding) (refused, watched string) {
	for _, f := range all {
		if f.Refused {
			refused += f.Text + "\n"
		} else {
			watched += f.Text + "\n"
		}
	}
	return refused, watched
}

func portionsOf(t *testing.T, lines string) []Portion {
	t.Helper()
	return stocksOf(t, lines)[0].Made
}

// Handbook limits: gypsum 2.4 g/L at 20 °C, saturation of gypsum and brushite from
// the chemistry; solubilities of testdata/published/salts.csv.
func TestWhatMayNotShareATankIsRefusedWithItsReason(t *testing.T) {
	for lines, want := range map[string]string{
		"a,calcium nitrate tetrahydrate,100,g/L\na,magnesium sulfate heptahydrate,50,g/L\n":                             "gypsum falls out",
		"a,calcium nitrate tetrahydrate,100,g/L\na,monopotassium phosphate,20,g/L\n":                                    "calcium phosphate (brushite) falls out",
		"a,potassium silicate,100,g/L\na,potassium nitrate,20,g/L\n":                                                    "silicate stands alone",
		"a,potassium sulfate,130,g/L\n":                                                                                 "more than dissolves",
		"a,potassium nitrate,200,g/L\na,potassium sulfate,50,g/L\n":                                                     "all salts together need",
		"a,magnesium sulfate heptahydrate,120,g/L\na,monoammonium phosphate,100,g/L\na,dipotassium phosphate,200,g/L\n": "struvite",
		"a,dipotassium phosphate,47,g/L\na,magnesium sulfate heptahydrate,60,g/L\n":                                     "newberyite",
		"a,zinc sulfate heptahydrate,0.2,g/L\na,dipotassium phosphate,20,g/L\n":                                         "Zn phosphate falls out",
		"a,manganese sulfate monohydrate,2,g/L\na,dipotassium phosphate,20,g/L\n":                                       "Mn phosphate falls out",
		"a,copper sulfate pentahydrate,0.1,g/L\na,dipotassium phosphate,20,g/L\n":                                       "Cu phosphate falls out",
		"a,iron(II) sulfate heptahydrate,2,g/L\na,monopotassium phosphate,20,g/L\n":                                     "vivianite",
	} {
		refused, _ := findings(Judge(portionsOf(t, lines), 15))
		if !strings.Contains(refused, want) {
			t.Errorf("%q: refused %q, want %q", lines, refused, want)
		}
	}
	for _, lines := range []string{
		"a,calcium nitrate tetrahydrate,100,g/L\na,potassium nitrate,50,g/L\na,iron DTPA 11 %,2,g/L\n",
		"a,monopotassium phosphate,30,g/L\na,magnesium sulfate heptahydrate,60,g/L\na,potassium nitrate,40,g/L\n",
		// Monopotassium phosphate makes a stock of about pH 4.3, in which the metals stay.
		"a,monopotassium phosphate,20,g/L\na,magnesium sulfate heptahydrate,70,g/L\na,zinc sulfate heptahydrate,0.03,g/L\na,manganese sulfate monohydrate,0.2,g/L\n",
		"a,iron DTPA 11 %,2,g/L\na,dipotassium phosphate,20,g/L\n",
		"a,iron(II) sulfate heptahydrate,2,g/L\n",
	} {
		if refused, _ := findings(Judge(portionsOf(t, lines), 15)); refused != "" {
			t.Errorf("%q is refused: %s", lines, refused)
		}
	}
	// So dilute that nothing falls out: both ways of judging agree.
	if refused, _ := findings(Judge(portionsOf(t, "a,calcium nitrate tetrahydrate,0.5,g/L\na,magnesium sulfate heptahydrate,0.4,g/L\n"), 20)); refused != "" {
		t.Errorf("a feed solution is refused: %s", refused)
	}
}

func TestAnAlkalinePhosphateStockIsToldHowMuchAcidItWants(t *testing.T) {
	refused, _ := findings(Judge(portionsOf(t, "a,dipotassium phosphate,47,g/L\na,magnesium sulfate heptahydrate,60,g/L\n"), 15))
	// Dipotassium phosphate wants a proton for each phosphate: 47 g/L are 270 mmol/L.
	if !strings.Contains(refused, "acidify it to pH 4.5") || !strings.Contains(refused, "meq of nitric or phosphoric acid") {
		t.Errorf("refused %q", refused)
	}
	var c Content
	for _, p := range portionsOf(t, "a,dipotassium phosphate,47,g/L\na,magnesium sulfate heptahydrate,60,g/L\n") {
		c = c.Plus(p.Each, p.Grams)
	}
	c[NO3] += 270
	if r, ok := solution(c, 15); !ok || r.PH > 5 || r.Saturation[chem.Newberyite] > 0 {
		t.Errorf("acidified: pH %.2f, newberyite %+.2f", r.PH, r.Saturation[chem.Newberyite])
	}
}

func TestDrainsJustAboveBrushiteAreNotWarnedOf(t *testing.T) {
	portions := []Portion{{Name: "feed", Grams: 1, Each: Content{Ca: 4, P: 1.6, NO3: 8, K: 1.9}}}
	r, _ := solution(portions[0].Each, 25)
	if si := r.Saturation[chem.Brushite]; !(si > 0 && si < chem.BrushiteClear) || r.Warnings.Has(chem.BrushiteForms) {
		t.Errorf("brushite %+.2f, warned %v", si, r.Warnings.Has(chem.BrushiteForms))
	}
}

func TestColdStoreHoldsLess(t *testing.T) {
	lines := "a,potassium nitrate,250,g/L\n"
	if refused, _ := findings(Judge(portionsOf(t, lines), 20)); refused != "" {
		t.Errorf("at 20 °C: %s", refused)
	}
	// 209 g/L at 10 °C (testdata/published/salts.csv, note of the row).
	if refused, _ := findings(Judge(portionsOf(t, lines), 10)); !strings.Contains(refused, "209 g/L") {
		t.Errorf("at 10 °C: %q", refused)
	}
	made, err := Make(stocksOf(t, lines), 10, 20)
	if err != nil {
		t.Fatal(err)
	}
	// 250 of 209 + 10.7·(T − 10): 13.8 °C.
	if made[0].Coldest != 14 {
		t.Errorf("store at %g °C or warmer", made[0].Coldest)
	}
}

func TestSaltsAreSpreadSoThatCalciumNeverMeetsSulfateOrPhosphate(t *testing.T) {
	salts := salted(t, "calcium nitrate tetrahydrate", "potassium nitrate", "monopotassium phosphate", "magnesium sulfate heptahydrate", "potassium sulfate", "ammonium nitrate",
		"iron DTPA 11 %", "manganese sulfate monohydrate", "zinc sulfate heptahydrate", "boric acid", "copper sulfate pentahydrate", "sodium molybdate dihydrate", "potassium silicate")
	for _, name := range []string{"lettuce", "strawberry", "steiner", "hoagland-1"} {
		recipe := named(t, name)
		recipe.Wants[Si] = Want{Stated: true, Amount: 0.5, Weight: 1}
		m := mixed(t, Task{Recipe: recipe, Stocks: append(append([]Stock{}, salts...), stocksOf(t, "nitric,nitric acid,38,%\n")...)})
		const factor, litres = 100, 200
		tanks, err := Design(m, factor, litres, 15)
		if err != nil {
			t.Fatal(err)
		}
		var all Content
		for _, tank := range tanks {
			if tank.Refused() {
				refused, _ := findings(tank.Findings)
				t.Errorf("%s: tank %s: %s", name, tank.Name, refused)
			}
			for _, p := range tank.Portions {
				all = all.Plus(p.Each, p.Grams/factor)
				if p.Group == dosing.GroupSilicate && len(tank.Portions) > 1 {
					t.Errorf("%s: silicate shares tank %s", name, tank.Name)
				}
			}
		}
		// Nothing is lost on the way into the tanks: 1:factor gives the mixture again.
		for i := range m.Task.Stocks {
			if m.Task.Stocks[i].acidic() {
				all = all.Plus(m.Task.Stocks[i].perUnit(), m.Amounts[i])
			}
		}
		for _, s := range macros {
			if math.Abs(all[s]-m.Reached[s]) > 0.003*m.Reached[s]+1e-9 {
				t.Errorf("%s: tanks hold %.4f of %s, the mixture %.4f", name, all[s], s, m.Reached[s])
			}
		}
	}
}

func TestSilicateCountsAsTheBaseItIs(t *testing.T) {
	row := append(salted(t, "potassium nitrate", "potassium silicate"), stocksOf(t, "nitric,nitric acid,38,%\n")...)
	m := mixed(t, Task{Recipe: wants(t, "K=250 mg/L, Si=28 mg/L"), Stocks: row})
	// Potassium silicate brings 1–2 meq of base with a mmol of Si, by its K2O to SiO2.
	acid := m.Amounts[2] * row[2].Molar
	if si := m.Reached[Si]; acid < si || acid > 2.05*si {
		t.Errorf("%.3f meq/L of acid for %.3f mmol/L of Si", acid, si)
	}
	if math.Abs(m.Settled.PH-5.8) > 0.03 {
		t.Errorf("pH %.2f", m.Settled.PH)
	}
}

func TestChelateGoesInLastAndSilicateFirst(t *testing.T) {
	made, err := Make(stocksOf(t, "a,iron DTPA 11 %,2,g/L\na,calcium nitrate tetrahydrate,100,g/L\na,boric acid,1,g/L\na,potassium nitrate,30,g/L\n"), 50, 15)
	if err != nil {
		t.Fatal(err)
	}
	steps := strings.Join(made[0].Steps, "\n")
	order := []string{"Fill 35 L", "potassium nitrate", "calcium nitrate", "boric acid", "iron DTPA", "Fill up to 50 L"}
	at := -1
	for _, word := range order {
		next := strings.Index(steps, word)
		if next <= at {
			t.Errorf("%q out of order in:\n%s", word, steps)
		}
		at = next
	}
	if !strings.Contains(steps, "100.0 g of iron DTPA") || !strings.Contains(steps, "5.000 kg of calcium nitrate") {
		t.Errorf("grams:\n%s", steps)
	}
}

func TestEveryMixingInstructionHasItsCaution(t *testing.T) {
	all := strings.Join(Cautions, "\n")
	for _, word := range []string{"Gloves and goggles", "Acid goes into water", "chlorine", "Silicate goes into the water first and alone", "local", "safety data sheet"} {
		if !strings.Contains(all, word) {
			t.Errorf("the cautions do not say %q", word)
		}
	}
}
