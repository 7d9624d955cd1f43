package loop

import (
	"testing"
	"time"
)

// A float valve opens because a bench has taken the water: what it lets in shows only once that is home.
func TestTopUpWhileAFloodIsOutIsCountedOnceTheWaterIsHome(t *testing.T) {
	for _, c := range []struct {
		name         string
		valve        bool
		home, counts float64
	}{
		{"30 L came in meanwhile", true, 1030, 30},
		{"the bench kept ten of them", true, 1020, 20},
		{"the valve stayed shut", false, 1004, 0},
	} {
		w, up, sum := topUp{}, time.Duration(0), 0.0
		tell := func(level float64) {
			up += 10 * time.Second
			w.flood.Level(level, 1000, up)
			sum += w.litres(level, up)
		}
		for range 30 {
			tell(1000)
		}
		w.flood.Out(up)
		for _, level := range []float64{950, 850, 800} {
			tell(level)
		}
		w.valve(c.valve, up)
		for range 6 {
			w.flood.Out(up)
			tell(800 + (c.home-1000)/2)
		}
		w.valve(false, up)
		for _, level := range []float64{900, 980, c.home, c.home, c.home, c.home, c.home, c.home} {
			tell(level)
		}
		if w.flood.Away() {
			t.Fatalf("%s: the water never came home", c.name)
		}
		if sum != c.counts {
			t.Errorf("%s: %.0f L are counted, want %.0f", c.name, sum, c.counts)
		}
	}
}
