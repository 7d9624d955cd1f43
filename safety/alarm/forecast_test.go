package alarm

import (
	"math"
	"testing"
	"time"

	"leat/safety"
)

func TestForecastSaysWhenABandIsLeft(t *testing.T) {
	for _, c := range []struct {
		name                       string
		value, target, half, drift float64
		want                       time.Duration
	}{
		{"rising toward the upper edge", 5.9, 5.8, 0.5, 0.1, 4 * time.Hour},
		{"falling from above crosses the whole band", 5.9, 5.8, 0.5, -0.1, 6 * time.Hour},
		{"outside now", 6.4, 5.8, 0.5, -1, 0},
		{"no drift", 5.8, 5.8, 0.5, 0, NotInSight},
		{"so slow that it says nothing", 5.8, 5.8, 0.5, 1e-6, NotInSight},
		{"no reading cannot be shown to be inside", math.NaN(), 5.8, 0.5, 0, 0},
		{"no drift known", 5.8, 5.8, 0.5, math.NaN(), 0},
	} {
		got := Leaves(c.value, c.target, c.half, c.drift)
		if diff := got - c.want; diff > time.Second || diff < -time.Second || (got < 0) != (c.want < 0) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

func TestSoonerIgnoresWhatIsNotInSight(t *testing.T) {
	if got := Sooner(NotInSight, time.Hour); got != time.Hour {
		t.Errorf("got %v, want 1h", got)
	}
	if got := Sooner(2*time.Hour, 0); got != 0 {
		t.Errorf("got %v, want 0", got)
	}
	if got := Sooner(NotInSight, NotInSight); got != NotInSight {
		t.Errorf("got %v, want not in sight", got)
	}
}

func TestHoldRisesToTonightAndToNowAsHarmComesNearer(t *testing.T) {
	for _, c := range []struct {
		base safety.Priority
		harm time.Duration
		want safety.Priority
	}{
		{safety.PriorityLog, NotInSight, safety.PriorityLog},
		{safety.PriorityLog, 7 * time.Hour, safety.PriorityLog},
		{safety.PriorityLog, 5 * time.Hour, safety.PriorityTonight},
		{safety.PriorityTomorrow, 59 * time.Minute, safety.PriorityNow},
		{safety.PriorityTomorrow, 0, safety.PriorityNow},
		{safety.PriorityNow, NotInSight, safety.PriorityNow},
	} {
		if got := c.base.Rise(c.harm); got != c.want {
			t.Errorf("%s with harm in %v: %s, want %s", c.base, c.harm, got, c.want)
		}
	}
}

func TestForecastsReadAsAPersonSaysThem(t *testing.T) {
	for _, c := range []struct {
		warn, harm time.Duration
		want       string
	}{
		{NotInSight, NotInSight, ""}, {Unforeseen, Unforeseen, ""},
		{0, 0, "pH or EC is outside its harm band"},
		{0, 119 * time.Second, "pH or EC leaves its harm band in a minute or two"},
		{0, 2 * time.Minute, "pH or EC leaves its harm band in 2 min"},
		{0, 119*time.Minute + 29*time.Second, "pH or EC leaves its harm band in 119 min"},
		{0, 2 * time.Hour, "pH or EC leaves its harm band in 2 h"},
		{0, NotInSight, "pH or EC is outside its warn band"},
		{47 * time.Hour, NotInSight, "pH or EC leaves its warn band in 47 h"},
		{48 * time.Hour, NotInSight, "pH or EC leaves its warn band in 2 days"},
		{6 * 24 * time.Hour, NotInSight, "pH or EC leaves its warn band in 6 days"},
	} {
		if got := forecastWords(c.warn, c.harm); got != c.want {
			t.Errorf("warn in %s, harm in %s: %q, want %q", c.warn, c.harm, got, c.want)
		}
	}
}

func TestForecastsEndWhereTheySay(t *testing.T) {
	for base, c := range map[time.Duration]safety.Priority{time.Hour: safety.PriorityTonight, time.Hour - 1: safety.PriorityNow, 6 * time.Hour: safety.PriorityLog, 6*time.Hour - 1: safety.PriorityTonight} {
		if got := safety.PriorityLog.Rise(base); got != c {
			t.Errorf("harm in %s: %s, want %s", base, got, c)
		}
	}
	if got := Sooner(NotInSight, Unforeseen); got != NotInSight {
		t.Errorf("of what is not in sight and what nobody foresees: %v", got)
	}
	for hours, seen := range map[float64]bool{167: true, 169: false} {
		if got := Leaves(5.8, 5.8, 0.5, 0.5/hours); (got > 0) != seen {
			t.Errorf("in %g hours: %v", hours, got)
		}
	}
}
