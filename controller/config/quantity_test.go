package config

import (
	"math"
	"strings"
	"testing"
	"time"
)

func TestUnitsAreConvertedAndNothingElseIsTaken(t *testing.T) {
	for text, want := range map[string]float64{"1200 L": 1200, "1.2 m3": 1200, "  1200L ": 1200, "0.5 m³": 500} {
		var m measured[waterKind]
		if err := m.UnmarshalText([]byte(text)); err != nil || m.value != want {
			t.Errorf("%q: %v, %v", text, m.value, err)
		}
	}
	for _, text := range []string{"", "L", "1200", "1200 gal", "1,200 L", "-5 L", "+5 L", "NaN L", "Inf L", "1e3 L", "0x10 L", "1_000 L", "1.2.3 L", "--5 L", ". L", "12 L L"} {
		var m measured[waterKind]
		if err := m.UnmarshalText([]byte(text)); err == nil {
			t.Errorf("%q taken as %v L", text, m.value)
		} else if !strings.Contains(err.Error(), "1200 L") {
			t.Errorf("%q: %v does not say how to write it", text, err)
		}
	}
}

func TestTimesNeedAUnit(t *testing.T) {
	for text, want := range map[string]time.Duration{"90s": 90 * time.Second, "90 s": 90 * time.Second, "1h30m": 90 * time.Minute, "2 min": 2 * time.Minute, "10 d": 240 * time.Hour, "250ms": 250 * time.Millisecond} {
		var s span
		if err := s.UnmarshalText([]byte(text)); err != nil || s.or(0) != want {
			t.Errorf("%q: %v, %v", text, s.or(0), err)
		}
	}
	for _, text := range []string{"90", "0", "-5s", "1 fortnight", "s"} {
		var s span
		if err := s.UnmarshalText([]byte(text)); err == nil {
			t.Errorf("%q taken as %v", text, s.or(0))
		}
	}
}

func TestPHIsWrittenWithOrWithoutItsName(t *testing.T) {
	for _, text := range []string{"5.8", "pH 5.8", " pH5.8 "} {
		var p ph
		if err := p.UnmarshalText([]byte(text)); err != nil || p.value != 5.8 {
			t.Errorf("%q: %v, %v", text, p.value, err)
		}
	}
	for _, text := range []string{"58", "-1", "5,8", "NaN", "", "5.8 mS/cm"} {
		var p ph
		if err := p.UnmarshalText([]byte(text)); err == nil {
			t.Errorf("%q taken as %v", text, p.value)
		}
	}
}

// 1 °dKH is 10 mg/L of CaO and 17.85 mg/L of CaCO3.
func TestAlkalinityInFourUnitsIsTheSameWater(t *testing.T) {
	for _, text := range []string{"2 meq/L", "100.09 mg/L CaCO3", "122.04 mg/L HCO3", "5.608 °dKH"} {
		var m measured[alkalineKind]
		if err := m.UnmarshalText([]byte(text)); err != nil || math.Abs(m.value-2) > 1e-3 {
			t.Errorf("%q: %v meq/L, %v", text, m.value, err)
		}
	}
}

func TestAFigureThatIsRoundedToPassStillPasses(t *testing.T) {
	for _, v := range []float64{12.349, 0.0019999, 999.9, 1, 1234567.8, 3.1e-5} {
		var low, high measured[doseKind]
		if err := low.UnmarshalText([]byte(below(v) + " mL")); err != nil || !(low.value <= v && low.value > 0.98*v) {
			t.Errorf("below(%v) = %s, %v", v, below(v), err)
		}
		if err := high.UnmarshalText([]byte(above(v) + " mL")); err != nil || !(high.value >= v && high.value < 1.02*v) {
			t.Errorf("above(%v) = %s, %v", v, above(v), err)
		}
	}
}

func TestNearestKnownWordIsOneThatCouldBeMeant(t *testing.T) {
	known := []string{"volume", "min_volume", "max_volume", "watchdog"}
	for word, want := range map[string]string{"wathcdog": "watchdog", "Volume": "volume", "voluem": "volume", "zzz": "", "min_volum": "min_volume"} {
		if got := nearest(word, known); got != want {
			t.Errorf("nearest(%q) = %q, want %q", word, got, want)
		}
	}
}
