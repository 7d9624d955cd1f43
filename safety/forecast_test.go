package safety

import (
	"math"
	"testing"
	"time"
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
		base Priority
		harm time.Duration
		want Priority
	}{
		{PriorityRecord, NotInSight, PriorityRecord},
		{PriorityRecord, 7 * time.Hour, PriorityRecord},
		{PriorityRecord, 5 * time.Hour, PriorityTonight},
		{PriorityTomorrow, 59 * time.Minute, PriorityNow},
		{PriorityTomorrow, 0, PriorityNow},
		{PriorityNow, NotInSight, PriorityNow},
	} {
		if got := c.base.Rise(c.harm); got != c.want {
			t.Errorf("%s with harm in %v: %s, want %s", c.base, c.harm, got, c.want)
		}
	}
}
