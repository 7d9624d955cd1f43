package dosing

import (
	"math"
	"testing"

	"leat/dosing/chem"
)

func TestARawECWhoseRiseWasMeasuredIsBroughtTo25ByThatRise(t *testing.T) {
	thermal, err := NewThermal(chem.Totals{NO3: 10, K: 10})
	if err != nil {
		t.Fatal(err)
	}
	c := Compensation{Method: MethodMeasured, PerKelvin: 0.026}
	for _, celsius := range []float64{14, 20, 25, 30} {
		sent := 1.8 * (1 + 0.026*(celsius-25))
		if ec, ok := thermal.EC(c, sent, celsius); !ok || math.Abs(ec-1.8) > 1e-9 {
			t.Errorf("at %.0f °C %.3f mS/cm was sent and %.3f, %v made of it; want 1.8", celsius, sent, ec, ok)
		}
	}
	if _, ok := thermal.EC(c, 1.8, 60); ok {
		t.Error("compensated at 60 °C")
	}
	if c.String() != "measured 2.6 %/K" {
		t.Errorf("it calls itself %q", c)
	}
}
