package safety

import (
	"math"
	"strings"
	"testing"
	"time"

	"leat/dosing"
)

// days gives the readings of so many hours: the water warms and cools by 3 °C, plants take
// 0.01 mS/cm an hour by night and twice that by day, stock is given for it, and EC is read
// with a slope that is off by wrong. Each block of ten minutes is told to see.
func days(hours int, wrong float64, see func(ec, celsius, given float64)) {
	ec := 2.0
	for step := range hours * 6 {
		hour := float64(step) / 6
		celsius, takes, given := 20+3*math.Sin(2*math.Pi*hour/24), 0.01, 0.0
		if math.Mod(hour, 24) < 14 {
			takes = 0.02
		}
		ec -= takes / 6
		if ec*(1+wrong*(celsius-25)) < 1.98 {
			given = 0.01
		}
		ec += given
		see(ec*(1+wrong*(celsius-25)), celsius, given)
	}
}

func TestEcThatFollowsTheDaysWarmthIsToldAsAWrongCompensation(t *testing.T) {
	for _, c := range []struct {
		name  string
		wrong float64
		sure  bool
	}{
		{"corrected twice", -0.02, true},
		{"never corrected", 0.02, true},
		{"a slope that is off by a thousandth", 0.001, false},
		{"right", 0, false},
	} {
		h, up := warmth{}, time.Duration(0)
		days(26, c.wrong, func(ec, celsius, given float64) {
			up += warmthBlock
			h.given = given
			h.block(up, ec, celsius, 1, 0, 0, time.Minute)
			h.began = up
		})
		if h.sure() != c.sure || math.Abs(h.x[2]-c.wrong) > 0.005 {
			t.Errorf("%s: %.4f per °C, give or take %.4f; sure %v", c.name, h.x[2], math.Sqrt(h.p[2][2]), h.sure())
		}
	}
}

func TestWaterThatKeepsItsTemperatureTellsNothingOfACompensation(t *testing.T) {
	h, up := warmth{}, time.Duration(0)
	days(30, 0, func(ec, celsius, given float64) {
		up += warmthBlock
		h.given = given
		h.block(up, ec-0.01*(celsius-20), 20, 1, 0, 0, time.Minute) // what it swings by is not the warmth
		h.began = up
	})
	if h.sure() {
		t.Errorf("at an even 20 °C: %.4f per °C", h.x[2])
	}
}

func TestAServiceForgetsWhatIsThoughtOfACompensation(t *testing.T) {
	f := newFarm(t)
	f.noise, f.every = 0.003, 10
	f.drift(0, dosing.QuantityEC, 2.2)
	f.pass(10 * time.Minute)
	days(26, -0.02, func(ec, celsius, given float64) {
		f.set(0, dosing.QuantityTemperature, celsius)
		f.set(0, dosing.QuantityEC, ec)
		if given > 0 {
			f.w.tanks[0].expect(10*dosing.Millilitre, &f.s.Pumps[calciumPump])
		}
		f.pass(10 * time.Minute)
	})
	if got := f.w.Miscompensated(0); !strings.Contains(got, "twice") || !strings.Contains(got, "north ec") || f.w.Miscompensated(1) != "" {
		t.Errorf("EC that falls by 2 %% per °C: %q; of the other tank: %q", got, f.w.Miscompensated(1))
	}
	f.w.Serviced(f.now, 0)
	if got := f.w.Miscompensated(0); got != "" {
		t.Errorf("a person mended it, and it stands: %q", got)
	}
}
