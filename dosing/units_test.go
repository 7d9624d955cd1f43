package dosing

import (
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
