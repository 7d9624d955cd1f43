package line_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"leat/dosing"
	"leat/safety"
	"leat/safety/line"
)

var farm = line.Settings{MinOxygen: 5, HarmOxygen: 3, WarmWater: 26, MaxFilter: 50,
	Lamp: line.Lamp{Chamber: 3, Layer: 2, New: 25, Dose: 100, Transmittance: 0.7, Life: 9000 * time.Hour},
	Zones: []line.Zone{{Name: "bench", Floods: true, Holds: 260, Longest: 30 * time.Minute, Roots: time.Hour},
		{Name: "channels", Holds: 60, MinFlow: 10, Longest: 2 * time.Minute, Roots: 30 * time.Minute}}}

// good are readings of a line at which nothing is wrong.
func good() map[dosing.Quantity]float64 {
	return map[dosing.Quantity]float64{dosing.QuantityOxygen: 8, dosing.QuantityTemperature: 20, dosing.QuantityFilterPressure: 20, dosing.QuantityUVIntensity: 24,
		dosing.QuantityLampHours: 500, dosing.QuantityLineFlow: 20, dosing.QuantityUVTransmittance: 70, dosing.QuantityZoneFlow: 30, dosing.QuantityZoneLevel: 0}
}

// play runs a line for some time, a step every five seconds, and returns what stands at the end.
func play(l *line.Line, from, lasts time.Duration, value func(q dosing.Quantity, at time.Duration) float64) []line.Finding {
	zones := map[dosing.Quantity]int{dosing.QuantityZoneFlow: 1, dosing.QuantityZoneLevel: 0}
	for at := from; at <= from+lasts; at += 5 * time.Second {
		var readings []line.Reading
		for q := range good() {
			zone, of := zones[q]
			if !of {
				zone = -1
			}
			v := value(q, at)
			readings = append(readings, line.Reading{Name: q.String(), Quantity: q, Zone: zone, Value: v, Valid: !math.IsNaN(v)})
		}
		l.Update(dosing.Instant{Up: at}, readings)
	}
	return l.Findings()
}

func with(q dosing.Quantity, v float64) func(dosing.Quantity, time.Duration) float64 {
	return func(of dosing.Quantity, _ time.Duration) float64 {
		if of == q {
			return v
		}
		return good()[of]
	}
}

func TestALineInOrderCallsNobody(t *testing.T) {
	l := line.New(farm)
	if found := play(l, 0, 2*time.Hour, with(dosing.QuantityNone, 0)); len(found) != 0 {
		t.Errorf("%+v", found)
	}
	if figures := l.Figures(); len(figures) < 5 {
		t.Errorf("%+v", figures)
	}
}

func TestEachTroubleOfTheLineIsNamedWithTheMinutesThatRootsHave(t *testing.T) {
	for name, c := range map[string]struct {
		quantity dosing.Quantity
		value    float64
		lasts    time.Duration
		cause    safety.Cause
		words    string
		roots    time.Duration
	}{
		"low oxygen":        {dosing.QuantityOxygen, 4.2, time.Minute, safety.CauseOxygenLow, "46 % of what air gives", -1},
		"hardly any oxygen": {dosing.QuantityOxygen, 2.5, time.Minute, safety.CauseOxygenLow, "roots suffer now", 0},
		"warm":              {dosing.QuantityTemperature, 28, time.Minute, safety.CauseWaterWarm, "at most 7.8 mg/L", -1},
		"film stopped":      {dosing.QuantityZoneFlow, 0, 10 * time.Minute, safety.CauseFilmStopped, "20 min left before roots suffer", 20 * time.Minute},
		"bench stands":      {dosing.QuantityZoneLevel, 200, 40 * time.Minute, safety.CauseFloodNotDrained, "20 min left before roots suffer", 20 * time.Minute},
		"clogged":           {dosing.QuantityFilterPressure, 70, time.Minute, safety.CauseFilterClogged, "70 kPa", -1},
		"lamp out":          {dosing.QuantityUVIntensity, 0.4, time.Minute, safety.CauseUVLampOut, "a new one gives 25", -1},
		"lamp weak":         {dosing.QuantityUVIntensity, 10, time.Minute, safety.CauseUVDoseLow, "asked for", -1},
		"too much water":    {dosing.QuantityLineFlow, 60, time.Minute, safety.CauseUVDoseLow, "that is met at", -1},
		"turbid":            {dosing.QuantityUVTransmittance, 15, time.Minute, safety.CauseUVDoseLow, "asked for", -1},
		"old lamp":          {dosing.QuantityLampHours, 9001, time.Minute, safety.CauseUVLampOld, "9000 is its life", -1},
		"blind":             {dosing.QuantityOxygen, math.NaN(), time.Minute, safety.CauseWatchedInvalid, "oxygen", -1},
	} {
		l := line.New(farm)
		found := play(l, 0, c.lasts, with(c.quantity, c.value))
		if len(found) != 1 || found[0].Cause != c.cause || !strings.Contains(found[0].Words, c.words) || found[0].Roots != c.roots {
			t.Errorf("%s: %+v", name, found)
		}
		if found := play(l, c.lasts, time.Minute, with(dosing.QuantityNone, 0)); len(found) != 0 {
			t.Errorf("%s is over, and yet: %+v", name, found)
		}
	}
}

func TestAFloodAndAPauseOfUsualLengthCallNobody(t *testing.T) {
	l := line.New(farm)
	if found := play(l, 0, 25*time.Minute, with(dosing.QuantityZoneLevel, 260)); len(found) != 0 {
		t.Errorf("%+v", found)
	}
	l = line.New(farm)
	if found := play(l, 0, time.Minute, with(dosing.QuantityZoneFlow, 0)); len(found) != 0 {
		t.Errorf("%+v", found)
	}
}

func TestOxygenThatFallsIsToldBeforeItIsLow(t *testing.T) {
	l := line.New(farm)
	// 0.1 mg/L a minute: from 8 to 3 in 50 minutes; after 20 minutes half an hour is left.
	found := play(l, 0, 20*time.Minute, func(q dosing.Quantity, at time.Duration) float64 {
		if q == dosing.QuantityOxygen {
			return 8 - 0.1*at.Minutes()
		}
		return good()[q]
	})
	if len(found) != 1 || found[0].Cause != safety.CauseOxygenLow || (found[0].Roots-30*time.Minute).Abs() > time.Minute {
		t.Errorf("%+v", found)
	}
}

func TestWithoutLevelInTheBenchTheFloodSwitchTells(t *testing.T) {
	l := line.New(farm)
	for at := time.Duration(0); at <= 35*time.Minute; at += 5 * time.Second {
		l.Update(dosing.Instant{Up: at}, []line.Reading{{Name: "flood", Quantity: dosing.QuantityFlood, Zone: -1, Value: 1, Valid: true}})
	}
	if found := l.Findings(); len(found) != 1 || found[0].Cause != safety.CauseFloodNotDrained {
		t.Errorf("%+v", found)
	}
}

func TestTheUVDoseIsIntensityTimesTimeTimesWhatTheWaterLetsThrough(t *testing.T) {
	// 3 L at 20 L/min stay 9 s; clear water: 9 s × 25 mW/cm².
	if got := line.Dose(25, 3, 2, 1, 20); math.Abs(got-225) > 1e-9 {
		t.Errorf("clear water: %g", got)
	}
	// 70 % a centimetre, two of them: (1 − 0.49) ÷ (−ln 0.49) = 0.715 of it.
	if got := line.Dose(25, 3, 2, 0.7, 20); math.Abs(got-225*0.51/0.71335) > 0.01 {
		t.Errorf("70 %%: %g", got)
	}
	if !math.IsInf(line.Dose(25, 3, 2, 0.7, 0), 1) {
		t.Error("water that stands has no end of it")
	}
	if line.Did(20) != "" || !strings.Contains(line.Did(250), "virus") || !strings.Contains(line.Did(75), "low-pressure") {
		t.Error("published doses")
	}
}
