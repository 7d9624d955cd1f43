package chem

import (
	"fmt"
	"math"
	"testing"
)

// The curve against speciations of the acidified solution itself.
func TestCurveAgreesWithTitratingTheSolution(t *testing.T) {
	var s Solver
	var ph, acid worst
	roll := dice(11)
	for n := 0; n < 60; n++ {
		totals := roll.solution(0.3 + roll.roll())
		switch n {
		case 0:
			totals = feed
		case 1:
			totals = hardWater
		}
		temp := 10 + 25*roll.roll()
		c := Conditions{TempC: temp, OnlyHere: true}
		curve, err := NewCurve(totals, temp)
		if err != nil {
			t.Fatal(err)
		}
		before := mustSolve(t, &s, totals, c)
		for _, meq := range []float64{-1, -0.3, -0.05, 0.05, 0.2, 0.7, 2} {
			after := totals.Add(Totals{NO3: 1}, meq)
			if meq < 0 {
				after = totals.Add(Totals{K: 1}, -meq)
			}
			r := mustSolve(t, &s, after, c)
			if r.PH < curveLowPH || r.PH > curveHighPH || before.PH > curveHighPH || before.PH < curveLowPH {
				continue
			}
			litre := meq * before.WaterPerLitre
			ph.see(curve.PHAfter(before.PH, litre)-r.PH, fmt.Sprintf("solution %d, pH %.2f, %+g meq", n, r.PH, meq))
			acid.see(curve.AcidNeeded(before.PH, r.PH)-litre, fmt.Sprintf("solution %d, pH %.2f, %+g meq", n, r.PH, meq))
		}
	}
	ph.print(t, "curve, pH after acid", "pH")
	acid.print(t, "curve, acid needed", "meq/L")
	if !(math.Abs(ph.by) < 0.01) || !(math.Abs(acid.by) < 0.005) {
		t.Error("the curve parts from the solution by more than 0.01 pH or 0.005 meq/L")
	}
}

func TestCurveIsMonotoneAndItsInverseLeadsBack(t *testing.T) {
	roll := dice(12)
	for n := 0; n < 40; n++ {
		totals := roll.solution(roll.roll())
		switch n {
		case 0:
			totals = Totals{} // pure water: the flattest there is
		case 1:
			totals = Totals{P: 20, K: 20}
		}
		curve, err := NewCurve(totals, 22)
		if err != nil {
			t.Fatal(err)
		}
		last := math.Inf(1)
		for ph := curveLowPH; ph <= curveHighPH; ph += 0.0137 {
			acid := curve.AcidNeeded(7, ph)
			if !(acid < last) {
				t.Fatalf("solution %d: acid from 7 to %.3f is %g, to the pH before %g", n, ph, acid, last)
			}
			last = acid
			if back := curve.PHAfter(7, acid); !(math.Abs(back-ph) < 1e-6) {
				t.Fatalf("solution %d: pH %.6f comes back as %.9f", n, ph, back)
			}
			if b := curve.Buffer(ph); !(b > 0) {
				t.Fatalf("solution %d: buffer %g at pH %.2f", n, b, ph)
			}
		}
	}
}

func TestCurveAtAndBeyondItsEnds(t *testing.T) {
	curve, err := NewCurve(feed, 22)
	if err != nil {
		t.Fatal(err)
	}
	if got := curve.AcidNeeded(6, 2); got != curve.AcidNeeded(6, curveLowPH) {
		t.Errorf("below the curve %g", got)
	}
	if got := curve.AcidNeeded(6, 12); got != curve.AcidNeeded(6, curveHighPH) {
		t.Errorf("above the curve %g", got)
	}
	if got := curve.PHAfter(6, 1e6); got != curveLowPH {
		t.Errorf("after a flood of acid pH %g", got)
	}
	if got := curve.PHAfter(6, -1e6); got != curveHighPH {
		t.Errorf("after a flood of base pH %g", got)
	}
	if got := curve.AcidNeeded(6, 6); got != 0 {
		t.Errorf("from 6 to 6 %g", got)
	}
	if down, up := curve.AcidNeeded(6.5, 5.8), curve.AcidNeeded(5.5, 5.8); !(down > 0 && up < 0) {
		t.Errorf("acid down %g, up %g", down, up)
	}
	nan := math.NaN()
	for _, got := range []float64{curve.AcidNeeded(nan, 6), curve.AcidNeeded(6, nan), curve.PHAfter(nan, 1), curve.PHAfter(6, nan), curve.Buffer(nan)} {
		if !math.IsNaN(got) {
			t.Errorf("no number in gives %g out", got)
		}
	}
	if _, err := NewCurve(feed, nan); err == nil {
		t.Error("a curve at no temperature")
	}
	bad := feed
	bad.Ca = -1
	if err := curve.Refill(bad, 22); err == nil {
		t.Error("a curve of less than no calcium")
	}
}

// The buffer capacity peaks at the pKa of what buffers: carbonic acid near 6.3,
// phosphate near 7.
func TestBufferPeaksAtThePKa(t *testing.T) {
	curve, err := NewCurve(Totals{Na: 3, DIC: 3}, 25)
	if err != nil {
		t.Fatal(err)
	}
	peak, at := 0.0, 0.0
	for ph := 5.0; ph < 8; ph += 0.01 {
		if b := curve.Buffer(ph); b > peak {
			peak, at = b, ph
		}
	}
	// Textbook: ln 10 / 4 of the total at the pKa, 0.576 x 3 mmol.
	if !(math.Abs(at-6.3) < 0.06) || !(math.Abs(peak-1.727) < 0.03) {
		t.Errorf("peak %.3f meq/L per pH at pH %.2f", peak, at)
	}
}
