package dosing

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"
)

// A pump that stops a moment early gives less than counts; one that runs a whole
// millisecond longer than it must gives more than was asked for.
func TestAPumpRunsAsLongAsItsVolumeTakesAndNoMillisecondLonger(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	for range 10000 {
		volume, perSecond := Volume(1+r.Int64N(int64(Litre))), Volume(1+r.Int64N(int64(100*Millilitre)))
		run := volume.RunTime(perSecond)
		gives := func(d time.Duration) int64 { return int64(perSecond) * d.Milliseconds() } // thousandths of a microlitre
		if gives(run) < 1000*int64(volume) || gives(run-time.Millisecond) >= 1000*int64(volume) || run%time.Millisecond != 0 {
			t.Fatalf("%s at %s a second: a run of %v", volume, perSecond, run)
		}
	}
	for _, none := range []time.Duration{Volume(0).RunTime(Millilitre), Volume(-1).RunTime(Millilitre), Millilitre.RunTime(0)} {
		if none != 0 {
			t.Errorf("what cannot run runs for %v", none)
		}
	}
}

func TestNoFigureIsMinusZero(t *testing.T) {
	for _, c := range []struct {
		v        float64
		decimals int
		figure   string
		signed   string
	}{{-0.3, 0, "0", "+0"}, {-0.004, 2, "0.00", "+0.00"}, {math.Copysign(0, -1), 1, "0.0", "+0.0"}, {0.3, 0, "0", "+0"}, {-0.6, 0, "-1", "-1"},
		{-0.005001, 2, "-0.01", "-0.01"}, {-10, 0, "-10", "-10"}, {5.8, 2, "5.80", "+5.80"}} {
		if got, signed := Figure(c.v, c.decimals), Signed(c.v, c.decimals); got != c.figure || signed != c.signed {
			t.Errorf("%g with %d decimals is %q and %q, want %q and %q", c.v, c.decimals, got, signed, c.figure, c.signed)
		}
	}
	for text, want := range map[string]string{PH(-0.001).String(): "0.00", Conductivity(-0.001).String(): "0.00 mS/cm", Celsius(-0.04).String(): "0.0 °C", Litres(-0.4).String(): "0 L"} {
		if text != want {
			t.Errorf("%q is shown, want %q", text, want)
		}
	}
}
