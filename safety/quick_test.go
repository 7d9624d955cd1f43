package safety

import (
	"testing"
	"time"

	"leat/dosing"
)

func TestDosesAreJudgedByTheQuickWater(t *testing.T) {
	largest := func(slow float64) dosing.Volume {
		f := newFarm(t, func(s *Settings) { s.Tanks[0].Slow, s.Tanks[0].Exchange, s.Tanks[0].MinVolume = slow, time.Hour, 950 })
		f.pass(10 * time.Minute)
		most, cause := f.g.Largest(f.now, 0, calciumPump)
		if cause != CauseNone {
			t.Fatalf("slow %g: %s", slow, cause)
		}
		return most
	}
	if one, two := largest(0), largest(0.6); two > one*41/100 || two < one*39/100 {
		t.Errorf("%s of stock at once in one water, %s where 60 %% are slow", one, two)
	}
}
