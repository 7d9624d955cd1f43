package blend

import (
	"os"
	"strings"
	"testing"
)

func seeds(f *testing.F) {
	for _, name := range []string{"stocks.csv", "water.csv", "tank.csv", "recipe.csv"} {
		text, err := os.ReadFile("../../testdata/blend/" + name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(string(text))
	}
	f.Add("what,amount,unit\nCa,1e400,mg/L\n")
	f.Add("stock,holds,amount,unit\na,grade 13-0-46 + 13 NO3-N,50,g/L\n")
	f.Add("Ca=61 mg/L, HCO3=180 mg/L, pH=7.4")
	f.Add("grade as elements 15.5-0-0 + 14.4 NO3-N + 1.1 NH4-N + 19 Ca + 6 Fe EDDHA")
}

// Whatever is typed, a reader answers with finite amounts that are not below zero,
// or with a fault that says something.
func FuzzStocks(f *testing.F) {
	seeds(f)
	f.Fuzz(func(t *testing.T, text string) {
		stocks, err := ReadStocks(text)
		if err != nil {
			if strings.TrimSpace(err.Error()) == "" {
				t.Error("a fault without words")
			}
			return
		}
		for _, s := range stocks {
			checkContent(t, s.Content)
		}
	})
}

func FuzzSheet(f *testing.F) {
	seeds(f)
	f.Fuzz(func(t *testing.T, text string) {
		for _, read := range []func(string) ([]Entry, error){ReadSheet, ReadList} {
			entries, err := read(text)
			if err != nil {
				continue
			}
			if a, err := ReadAnalysis(entries); err == nil {
				checkContent(t, a.Water().Content)
			}
			if r, err := ReadRecipe("fuzz", entries); err == nil {
				checkContent(t, r.Content())
			}
		}
	})
}

func FuzzGrade(f *testing.F) {
	seeds(f)
	f.Fuzz(func(t *testing.T, text string) {
		if each, _, err := ReadGrade(text); err == nil {
			checkContent(t, each)
		}
	})
}

// Whatever is written as a dilution, what is left of an acid is weaker than its label and
// not weaker than a thousandth, and what is printed is read again as the same.
func FuzzDilution(f *testing.F) {
	for _, text := range []string{"1:10", "1+9", " 1 : 2.5 ", "1:1", "1+1", "1:1e3", "10", "1:+9", "+", "1:0x1p-2"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		d, err := ReadDilution(text)
		if err != nil {
			if strings.TrimSpace(err.Error()) == "" || d.Stated() {
				t.Errorf("a fault without words, or beside a dilution: %v", d)
			}
			return
		}
		for name, r := range Reagents {
			label := r.molar(r.Strongest())
			if left, fault := d.Of(r, label); fault != nil || !(left < label && left > label/1001) {
				t.Errorf("%q leaves %v of %v mol/L of %s (%v)", text, left, label, name, fault)
			}
		}
		if again, err := ReadDilution(d.String()); err != nil || again != d {
			t.Errorf("%q is read again as %v (%v)", d, again, err)
		}
	})
}

func checkContent(t *testing.T, c Content) {
	t.Helper()
	if !c.finite() {
		t.Fatalf("no numbers: %v", c)
	}
	for s, v := range c {
		if v < 0 && Substance(s) != Rest {
			t.Fatalf("%s below zero: %v", Substance(s), v)
		}
	}
}
