package safety

import (
	"strings"
	"testing"
	"time"

	"leat/dosing"
)

// fill opens the valve for a minute, while the level rises by so much in all.
func (f *farm) fill(litres float64) {
	level := f.input(0, dosing.QuantityLevel)
	f.set(0, dosing.QuantityTopUp, 1)
	for range 12 {
		f.pass(5 * time.Second)
		f.value[level] += litres / 12
	}
	f.set(0, dosing.QuantityTopUp, 0)
	f.pass(time.Minute)
}

// drink lets plants take so much within an hour.
func (f *farm) drink(litres float64) {
	for range 12 {
		f.value[f.input(0, dosing.QuantityLevel)] -= litres / 12
		f.pass(5 * time.Minute)
	}
}

func TestALevelThatDoesNotRiseWithTheWaterThatIsLetInIsStuck(t *testing.T) {
	f := newFarm(t)
	for range 2 {
		f.drink(20)
		f.fill(20)
	}
	if why := f.w.StuckLevel(0); why != "" {
		t.Fatalf("a level that fell and rose as it should: %q", why)
	}
	f.pass(time.Hour) // it stands at full while the plants drink on
	f.fill(0)
	if why := f.w.StuckLevel(0); !strings.Contains(why, "about 20 L") || !strings.Contains(why, "1000 L") {
		t.Errorf("20 L were let in and the level stood at 1000 L: %q", why)
	}
	if got := f.w.Volume(0); got != f.s.Tanks[0].MinVolume {
		t.Errorf("it is dosed as for %v L, where %v L may be all there is", got, f.s.Tanks[0].MinVolume)
	}
	if f.w.StuckLevel(1) != "" {
		t.Error("the other tank's gauge is blamed")
	}
	f.drink(20)
	if why := f.w.StuckLevel(0); why != "" {
		t.Errorf("the gauge came free: %q", why)
	}
}

func TestALevelThatMayStandStillIsNotStuck(t *testing.T) {
	for name, lives := range map[string]func(f *farm){
		"nobody drinks": func(f *farm) { f.pass(30 * time.Hour) },
		"the valve clicks": func(f *farm) {
			f.set(0, dosing.QuantityTopUp, 1)
			f.pass(5 * time.Second)
			f.set(0, dosing.QuantityTopUp, 0)
			f.pass(time.Minute)
		},
		"as much runs off as comes in": func(f *farm) { f.fill(-4); f.fill(7); f.fill(-7) },
		"a flood is out while it is let in": func(f *farm) {
			f.set(0, dosing.QuantityFlood, 1)
			f.pass(10 * time.Second)
			f.fill(0)
			f.set(0, dosing.QuantityFlood, 0)
			f.pass(5 * time.Minute)
		},
		"it is serviced": func(f *farm) { f.fill(0); f.w.Serviced(f.now, 0) },
	} {
		f := newFarm(t)
		f.drink(20)
		f.fill(20)
		lives(f)
		if why := f.w.StuckLevel(0); why != "" {
			t.Errorf("%s: %q", name, why)
		}
	}
}

func TestALevelThatNeverRoseWithTopUpIsNotJudged(t *testing.T) {
	f := newFarm(t)
	f.fill(0) // a trickle, as far as anybody knows
	if why := f.w.StuckLevel(0); why != "" {
		t.Errorf("nobody knows how fast water comes in: %q", why)
	}
}
