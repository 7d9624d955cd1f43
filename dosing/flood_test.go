package dosing

import (
	"math"
	"testing"
	"time"
)

// flooding plays levels every five seconds: out until drained, then home over the drain.
func flooding(f *Flood, gauge func(i int) float64, out, drain time.Duration, share float64, from time.Duration, until time.Duration) (home time.Duration) {
	for up := from; up < from+until; up += 5 * time.Second {
		gone := share
		if since := up - from - out; since >= 0 {
			gone = share * max(0, 1-float64(since)/float64(max(drain, time.Second)))
		} else {
			f.Out(up)
		}
		f.Level(100*(1-gone)+gauge(int(up/(5*time.Second))), 100, up)
		if home == 0 && !f.Away() {
			home = up - from - out
		}
	}
	return home
}

func TestAFloodIsHomeWhenTheLevelRestsNotWhenTheSwitchGoesBack(t *testing.T) {
	quiet := func(int) float64 { return 0 }
	for _, drain := range []time.Duration{0, time.Minute, 4 * time.Minute} {
		var f Flood
		home := flooding(&f, quiet, 5*time.Minute, drain, 0.3, time.Minute, 20*time.Minute)
		if home < drain || home > drain+40*time.Second {
			t.Errorf("drained in %v, taken for home after %v", drain, home)
		}
	}
}

func TestASlowDrainOfASmallBenchIsNoRest(t *testing.T) {
	var f Flood
	if home := flooding(&f, func(int) float64 { return 0 }, 5*time.Minute, 5*time.Minute, 0.06, 0, 20*time.Minute); home < 5*time.Minute {
		t.Errorf("taken for home after %v of 5 min", home)
	}
}

func TestARoughGaugeStillComesToRest(t *testing.T) {
	rough := func(i int) float64 { return 0.5 * math.Sin(float64(i)*2.3) } // a span of 1 % of the volume
	var f Flood
	for up := time.Duration(0); up < 10*time.Minute; up += 5 * time.Second {
		f.Level(100+rough(int(up/(5*time.Second))), 100, up)
	}
	home := flooding(&f, rough, 5*time.Minute, 3*time.Minute, 0.3, 10*time.Minute, 30*time.Minute)
	if home < 150*time.Second || home > 6*time.Minute {
		t.Errorf("home after %v, drained in 3 min", home)
	}
}

func TestWhatCameHomeIsCountedFromTheLowestLevel(t *testing.T) {
	var f Flood
	f.Out(0)
	for i, level := range []float64{90, 70, 60, 75} {
		f.Level(level, 100, time.Duration(i)*10*time.Second)
	}
	if got := f.Returned(); got != 15 {
		t.Errorf("%.1f L are home, want 15", got)
	}
	if f.Within(time.Hour, time.Hour) != true || (&Flood{}).Within(time.Hour, 0) {
		t.Error("away is within any wait, and no flood within none")
	}
}
