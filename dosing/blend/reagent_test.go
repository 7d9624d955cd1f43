package blend

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"
)

// apparent is the density model of Laliberté, J. Chem. Eng. Data 54 (2009) 1725: five
// coefficients of a solute, and the mass fraction that they were fitted to.
var apparent = map[string]struct{ c0, c1, c2, c3, c4, upTo float64 }{
	"nitric acid":           {0.272070788161643, -0.399605969016834, -2.33691977745914, 0.00662112384275969, -3089.01794099058, 0.70},
	"phosphoric acid":       {1288.25499332174, -4126.67487464815, -4.64682626086799, 0.00466168016728373, -944.459685828192, 0.85},
	"sulfuric acid":         {70.8395152347122, 142.352693909248, 0.68779459618793, 0.00649299683206703, 1667.23864629522, 0.78},
	"potassium hydroxide":   {821.119043254761, 1043.20173374381, 0.112873330222752, 0.00124023636407386, 539.630388368877, 0.50},
	"sodium hydroxide":      {319.020509469838, 528.592358475315, -0.102197896602724, 0.000350420706415566, 765.970470238438, 0.40},
	"potassium carbonate":   {2290.10867876218, 1038.77363895405, 0.109769327294915, 0.000497783340935823, -74.0786862142127, 0.36},
	"potassium bicarbonate": {0.0458479253730966, 0.0749127808255568, 0.505766905030703, 0.00643951863958203, 3163.65175558093, 0.30},
}

// The rows of our table are values of the model itself: halfway between two rows, where a straight line is furthest off, is
// what can fail.
func TestDensityBetweenTheRowsFollowsThePublishedModel(t *testing.T) {
	const temp, water = 20.0, 998.2
	for name, m := range apparent {
		r := Reagents[name]
		for i := 1; i < len(r.densities) && r.densities[i].percent <= 100*m.upTo; i++ {
			percent := (r.densities[i-1].percent + r.densities[i].percent) / 2
			w := percent / 100
			volume := (w + m.c2 + float64(m.c3*temp)) / ((float64(m.c0*w) + m.c1) * math.Exp(1e-6*(temp+m.c4)*(temp+m.c4)))
			want := 1e-3 / ((1-w)/water + float64(w*volume))
			if got, ok := r.Density(percent); !ok || math.Abs(got/want-1) > 0.001 {
				t.Errorf("%s %v %%: %.4f g/mL, the model %.4f", name, percent, got, want)
			}
		}
	}
}

// Source: testdata/published/acids.csv.
func TestStrengthFollowsFromMassPercentAsPublished(t *testing.T) {
	f, err := os.Open("../../testdata/published/acids.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows[1:] {
		r, known := ReagentNamed(row[0])
		percent, _ := strconv.ParseFloat(row[1], 64)
		want, _ := strconv.ParseFloat(row[4], 64)
		s, err := AcidStock("a", r, percent, 0, Dilution{})
		if !known || err != nil || math.Abs(s.Molar/want-1) > 0.005 {
			t.Errorf("%s %s %%: %.3f mol/L, published %s (%v)", row[0], row[1], s.Molar, row[4], err)
		}
		if back := r.PercentOf(s.Molar); math.Abs(back/percent-1) > 0.001 {
			t.Errorf("%s of %.3f mol/L is %.2f %%, not %s", row[0], s.Molar, back, row[1])
		}
	}
}
