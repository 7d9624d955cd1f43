package loop

import (
	"math"
	"testing"
	"time"

	"leat/dosing"
)

func TestAFloodMakesBothEstimatesUnsureByItsShareAndTeachesNothing(t *testing.T) {
	tank := dosing.Tank{Volume: 100, DeadTime: 20 * time.Second, TimeConstant: 30 * time.Second, BufferScale: 1}
	l := NewLoops(0, tank, nil, straight{}, dosing.NewTotals(0, 1))
	l.ph.vv, l.ec.vv = 1e-4, 1e-4
	read := func(q dosing.Quantity, value float64, up time.Duration) {
		r, err := dosing.NewReading(0, q, value, dosing.Instant{Up: up}, 0, false)
		if err != nil {
			t.Fatal(err)
		}
		l.Read(r, dosing.QualityGood)
	}
	read(dosing.QuantityFlood, 1, 0)
	up := time.Duration(0)
	for _, level := range []float64{80, 60, 60, 60, 65, 70, 80, 90, 100} {
		up += 10 * time.Second
		if up < 40*time.Second {
			read(dosing.QuantityFlood, 1, up)
		} else if up == 40*time.Second {
			read(dosing.QuantityFlood, 0, up)
		}
		read(dosing.QuantityLevel, level, up)
	}
	if want := 1e-4 + 0.4*0.4*dosing.HarmBand.PH*dosing.HarmBand.PH; math.Abs(l.ph.vv-want) > 1e-9 {
		t.Errorf("pH is unsure by a variance of %g, want %g", l.ph.vv, want)
	}
	if l.ec.vv <= 1e-4 {
		t.Error("EC is as sure as before")
	}
	if l.frozen != up+tank.FloodWait() {
		t.Errorf("learning stands still until %v, want %v", l.frozen, up+tank.FloodWait())
	}
}
