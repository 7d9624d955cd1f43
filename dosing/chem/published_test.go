package chem

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

// published reads one of the published tables, whose sources stand in their
// own rows, as a list of column → text.
func published(t testing.TB, name string) []map[string]string {
	t.Helper()
	f, err := os.Open("../../testdata/published/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) < 2 {
		t.Fatalf("%s holds no rows", name)
	}
	var all []map[string]string
	for _, row := range rows[1:] {
		named := map[string]string{}
		for i, column := range rows[0] {
			named[column] = row[i]
		}
		all = append(all, named)
	}
	return all
}

func number(t testing.TB, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// salt reads "Ca=2;NO3=4".
func salt(t testing.TB, text string) (totals Totals) {
	t.Helper()
	for _, word := range strings.Split(text, ";") {
		name, amount, _ := strings.Cut(word, "=")
		ion := totals.Ion(name)
		if ion == nil {
			t.Fatalf("no ion %q", name)
		}
		*ion = number(t, amount)
	}
	return totals
}

// worst remembers the largest deviation of a set and where it was.
type worst struct {
	by    float64
	where string
	n     int
}

func (w *worst) see(by float64, where string) {
	w.n++
	if !(math.Abs(by) <= math.Abs(w.by)) {
		w.by, w.where = by, where
	}
}

func (w *worst) print(t testing.TB, set, unit string) {
	t.Helper()
	t.Logf("%-42s worst of %3d: %+.4g %s at %s", set, w.n, w.by, unit, w.where)
}

func mustSolve(t testing.TB, s *Solver, totals Totals, c Conditions) Result {
	t.Helper()
	var r Result
	if err := s.Solve(&totals, c, &r); err != nil {
		t.Fatalf("%+v at %+v: %v", totals, c, err)
	}
	return r
}

// feed is an ordinary tank: all main ions, a little bicarbonate, pH about 5.9.
var feed = Totals{NO3: 13, NH4: 0.8, P: 1.2, K: 6.5, Ca: 4, Mg: 1.6, SO4: 2, Na: 1, Cl: 1, DIC: 0.5}

// hardWater is the reference's "water A": 4 meq/L of bicarbonate.
var hardWater = Totals{Ca: 2, Mg: 0.5, Na: 0.8, K: 0.1, Cl: 0.9, SO4: 0.5, DIC: 4}

// A table that nobody can trace back is no reference.
func TestEveryPublishedTableIsNamedWithItsSourceAndItsTerms(t *testing.T) {
	const folder = "../../testdata/published/"
	files, err := os.ReadDir(folder)
	if err != nil || len(files) < 10 {
		t.Fatalf("%d files (%v)", len(files), err)
	}
	named, err := os.ReadFile(folder + "README.md")
	if err != nil {
		t.Fatal(err)
	}
	terms, err := os.ReadFile(folder + "NOTICE.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range files {
		if strings.HasSuffix(file.Name(), ".csv") && !strings.Contains(string(named), "`"+file.Name()+"`") {
			t.Errorf("%s is not in README.md", file.Name())
		}
	}
	data, err := os.ReadDir("data")
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range data {
		if !strings.Contains(string(terms), "`"+file.Name()+"`") {
			t.Errorf("%s is not in NOTICE.md", file.Name())
		}
	}
}
