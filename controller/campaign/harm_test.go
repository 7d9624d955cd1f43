package campaign

import (
	"math"
	"testing"
	"time"

	"leat/dosing"
)

// steady is a titration curve of one buffer capacity, meq/L per pH.
type steady float64

func (b steady) AcidNeeded(from, to float64) float64 { return float64(b) * (from - to) }
func (b steady) PHAfter(from, acid float64) float64  { return from - acid/float64(b) }
func (b steady) Buffer(float64) float64              { return float64(b) }

// collapsing is one that has only a tenth of its buffer left below pH 4.5.
type collapsing struct{ steady }

func (c collapsing) AcidNeeded(from, to float64) float64 {
	return float64(c.steady) * (from - to) / 10
}

func TestHarmIsWhatDosesAddedToTheDistanceFromTheSetpoint(t *testing.T) {
	target := dosing.Target{PH: 5.8, EC: 2}
	trace := &Trace{Curves: []dosing.Titration{collapsing{steady(0.5)}}}
	at := func(ph, ec, twinPH, twinEC float64, twinned bool) Sample {
		return Sample{At: time.Duration(len(trace.Samples)) * sampleEvery, PH: ph, EC: ec, TwinPH: twinPH, TwinEC: twinEC, Twinned: twinned, Target: target}
	}
	for _, c := range []struct {
		name   string
		s      Sample
		ph, ec float64
	}{
		{"before the fault nothing counts", at(3, 5, 0, 0, false), 0, 0},
		{"plants drove both waters", at(6.8, 2, 6.8, 2, true), 0, 0},
		{"doses held the water better than it would have stood", at(5.9, 2, 7, 2, true), 0, 0},
		{"acid drove it", at(5.2, 2.1, 5.7, 2.0, true), 0.5, 0.1},
		{"the other way", at(6.5, 1.7, 5.8, 2.0, true), 0.7, 0.3},
		{"below 4.5 by the acid that it took", at(3.5, 2, 5.8, 2, true), 1.3 + 0.1, 0},
	} {
		trace.Samples = []Sample{c.s}
		got := trace.harm()
		if math.Abs(got.PH-c.ph) > 1e-9 || math.Abs(got.EC-c.ec) > 1e-9 {
			t.Errorf("%s: %.3f pH and %.3f mS/cm, want %.3f and %.3f", c.name, got.PH, got.EC, c.ph, c.ec)
		}
	}
}
