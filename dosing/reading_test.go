package dosing

import (
	"math"
	"strings"
	"testing"
)

// What no instrument can read never becomes a reading, whoever asks for one.
func TestAReadingIsANumberThatTheQuantityCanHave(t *testing.T) {
	for q := QuantityPH; q < QuantityCount; q++ {
		bounds := physicalRange[q]
		for value, fault := range map[float64]string{bounds[0]: "", bounds[1]: "", math.NaN(): "not a number", math.Inf(1): "not a number", math.Inf(-1): "not a number",
			math.Nextafter(bounds[0], math.Inf(-1)): "outside", math.Nextafter(bounds[1], math.Inf(1)): "outside"} {
			if _, err := NewReading(0, q, value, Instant{}, 0, false); (err == nil) != (fault == "") || err != nil && !strings.Contains(err.Error(), fault) {
				t.Errorf("%s of %g: %v", q, value, err)
			}
		}
	}
	for _, q := range []Quantity{QuantityNone, QuantityCount} {
		if _, err := NewReading(0, q, 1, Instant{}, 0, false); err == nil {
			t.Errorf("a reading of quantity %d", q)
		}
	}
}
