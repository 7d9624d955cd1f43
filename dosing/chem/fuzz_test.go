package chem

import (
	"errors"
	"math"
	"strings"
	"testing"
)

// FuzzSolve: any composition and temperature ends in a solution that adds up
// or in a typed error; up to an ionic strength of 1 mol/kg it must be solved.
func FuzzSolve(f *testing.F) {
	f.Add(13.0, 0.8, 1.2, 6.5, 4.0, 1.6, 2.0, 1.0, 1.0, 0.5, 0.0, 22.0, 0.0, 0.0)
	f.Add(0.0, 0.0, 0.0, 0.1, 2.0, 0.5, 0.5, 0.8, 0.9, 4.0, 0.0, 25.0, 0.0, 0.0)
	f.Add(0.0, 0.0, 0.0, 3.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.5, 10.0, 0.0, 0.0)
	f.Add(0.0, 0.0, 0.0, 0.0, 0.0, 200.0, 200.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
	f.Add(100.0, 0.0, 200.0, 0.0, 0.0, 0.0, 50.0, 0.0, 0.0, 0.0, 0.0, 50.0, 0.0, 0.0)
	f.Add(1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 20.0, 0.0, 420e-6)
	f.Add(math.NaN(), 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 25.0, 0.0, 0.0)
	f.Add(0.0, 0.0, 0.0, 1000.0, 0.0, 0.0, 0.0, 0.0, 1000.0, 0.0, 0.0, 25.0, 6.0, 0.0)
	f.Fuzz(func(t *testing.T, no3, nh4, p, k, ca, mg, so4, na, cl, dic, si, temp, ph, co2 float64) {
		totals := Totals{no3, nh4, p, k, ca, mg, so4, na, cl, dic, si, si}
		c := Conditions{TempC: temp, FixedPH: ph, Open: co2 != 0, CO2Atm: co2}
		var s Solver
		var r Result
		err := s.Solve(&totals, c, &r)
		if err != nil {
			checkRefusal(t, totals, c, err)
			return
		}
		if !(r.PH > -3 && r.PH < 17 && r.EC >= 0 && r.EC25 >= 0 && r.IonicStrength >= 0 && r.Buffer > 0) || math.IsInf(r.EC, 0) {
			t.Errorf("%+v at %+v: pH %g, EC %g, ionic strength %g, buffer %g", totals, c, r.PH, r.EC, r.IonicStrength, r.Buffer)
		}
		if r.IonicStrength > 0.5 && !r.Warnings.Has(BeyondModel) {
			t.Errorf("ionic strength %g without a warning", r.IonicStrength)
		}
		back := totalsOf(&r)
		for _, ion := range Ions {
			if ion == "DIC" && c.Open {
				continue
			}
			if got, want := *back.Ion(ion), *totals.Ion(ion); !(math.Abs(got-want) <= 1e-5*want+1e-9) {
				t.Errorf("%+v at %+v: %s %g of %g", totals, c, ion, got, want)
			}
		}
		again, _ := r, s.Solve(&totals, c, &r)
		if !(math.Abs(again.PH-r.PH) < 1e-5) {
			t.Errorf("%+v at %+v: pH %.8f cold, %.8f warm", totals, c, again.PH, r.PH)
		}
	})
}

// FuzzTableColumns: whatever stands in a column of the tables is read as finite numbers
// or refused with words.
func FuzzTableColumns(f *testing.F) {
	for _, text := range []string{"-", "at25 12.346 heat -14.770", "at25 1.08", "curve 0 9.64e-3 -136", "size 5.4 slope 0.1", "by charge", "", "at25", "heat 3", "size -1", "curve NaN",
		"at25 1 at25 2", "curve", "slope 1e400"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if k, err := readLogK(text); err == nil {
			for _, v := range k {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					t.Errorf("%q is read as %v", text, k)
				}
			}
		} else if strings.TrimSpace(err.Error()) == "" {
			t.Errorf("%q is refused without words", text)
		}
		if g, err := readActivity(text, 1); err == nil && !(g.size >= 0 && !math.IsInf(g.size, 0) && math.Abs(g.slope) <= math.MaxFloat64) {
			t.Errorf("%q is read as %+v", text, g)
		}
	})
}

func checkRefusal(t *testing.T, totals Totals, c Conditions, err error) {
	t.Helper()
	var input *InputError
	var lost *ConvergenceError
	switch {
	case errors.As(err, &input):
		if totals.check() == nil && c.check() == nil {
			t.Errorf("%+v at %+v refused: %v", totals, c, err)
		}
	case errors.As(err, &lost):
		all := totals.NO3 + totals.NH4 + totals.K + totals.Na + totals.Cl + totals.P + totals.DIC + totals.Si + 4*(totals.Ca+totals.Mg+totals.SO4)
		// Open to air at a given alkaline pH carbonate comes in without bound.
		boundless := c.Open && c.FixedPH > 8.5
		if all < 2000 && !boundless { // twice the ionic strength of 1 mol/kg, if all were ions
			t.Errorf("%+v at %+v: %v", totals, c, err)
		}
	default:
		t.Errorf("an error of no known kind: %v", err)
	}
}
