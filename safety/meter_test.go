package safety

import (
	"testing"
	"time"

	"leat/dosing"
)

// full is a tank whose account of acid is full and whose probe shows nothing.
func full(t *testing.T) *farm {
	f := carbonated(t)
	f.pour(6 * time.Hour)
	if more := f.pour(time.Hour); more > 0 {
		t.Fatalf("%s may still be given", more)
	}
	return f
}

func (f *farm) meter(q dosing.Quantity, value float64) Metered {
	m := BesideMeter(f.w, f.now, 0, q, value)
	m.Free(f.w, f.now, 0, q)
	return m
}

// What a hand meter that agrees lets be given is at most the account once more, in small doses
// first; and it agrees no more than twice in a day, four hours apart.
func TestAHandMeterThatAgreesFreesTheAccountOnceMoreAndSeldom(t *testing.T) {
	f := full(t)
	reads := f.w.tanks[0].group[dosing.QuantityPH].smooth
	if m := f.meter(dosing.QuantityPH, reads+0.05); !m.Agrees || !m.Freed {
		t.Fatalf("%+v", m)
	}
	if most, _ := f.g.Largest(f.now, 0, acidPump); most > accountMost/5 {
		t.Errorf("the first dose afterwards may be %s, want a small one", most)
	}
	if sum := f.pour(6 * time.Hour); sum == 0 || sum > accountMost*3/2 {
		t.Errorf("%s went in, want about %s once more", sum, accountMost)
	}
	if m := f.meter(dosing.QuantityPH, reads); !m.Freed {
		t.Fatalf("the second of the day, six hours later: %+v", m)
	}
	if m := f.meter(dosing.QuantityPH, reads); m.Freed {
		t.Errorf("at once again: %+v", m)
	}
	f.pour(5 * time.Hour)
	if m := f.meter(dosing.QuantityPH, reads); m.Freed || m.Kept == "" {
		t.Errorf("a third time in a day: %+v", m)
	}
}

func TestAHandMeterThatDisagreesFreesNothing(t *testing.T) {
	f := full(t)
	reads := f.w.tanks[0].group[dosing.QuantityPH].smooth
	for _, apart := range []float64{0.11, -0.2, 1, -3} {
		if m := f.meter(dosing.QuantityPH, reads+apart); m.Agrees || m.Freed || m.Stops != (apart > 0.3 || apart < -0.3) {
			t.Errorf("%+v apart: %+v", apart, m)
		}
	}
	if more := f.pour(time.Hour); more > 0 {
		t.Errorf("%s went in", more)
	}
}

// A probe that is not valid is no second witness, whatever it showed last.
func TestAHandMeterBesideAProbeThatIsNotValidFreesNothing(t *testing.T) {
	f := full(t)
	reads := f.w.tanks[0].group[dosing.QuantityPH].smooth
	f.set(0, dosing.QuantityPH, 13.9)
	f.pass(5 * time.Minute)
	if m := f.meter(dosing.QuantityPH, reads); m.Known || m.Agrees || m.Freed {
		t.Errorf("%+v", m)
	}
}

// EC's meter frees stock and never acid, pH's never stock.
func TestAHandMeterFreesOnlyWhatItMeasures(t *testing.T) {
	f := full(t)
	before := f.w.Unseen(0)
	f.meter(dosing.QuantityEC, f.w.tanks[0].group[dosing.QuantityEC].smooth)
	if after := f.w.Unseen(0); after.Acid != before.Acid {
		t.Errorf("unseen %+v, before %+v", after, before)
	}
}
