package safety

import (
	"testing"
	"time"

	"leat/dosing"
)

func TestLimitsOfAllPumpsAreThoseOfEach(t *testing.T) {
	for name, s := range scenarios {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			var change []func(*Settings)
			if s.change != nil {
				change = append(change, s.change)
			}
			f := newFarm(t, change...)
			f.wantSameLimits("before")
			s.begin(f)
			f.pass(s.after)
			f.wantSameLimits("tripped")
		})
	}
}

func (f *farm) wantSameLimits(when string) {
	f.t.Helper()
	most, causes := make([]dosing.Volume, pumpCount), make([]Cause, pumpCount)
	for tank := range f.s.Tanks {
		f.w.Evaluate(f.now)
		f.g.Limits(f.now, dosing.TankID(tank), most, causes)
		some := false
		for p := range pumpCount {
			volume, cause := f.g.Largest(f.now, dosing.TankID(tank), p)
			if most[p] != volume || causes[p] != cause {
				f.t.Errorf("%s, tank %d, pump %d: %s and %s, alone %s and %s", when, tank, p, most[p], causes[p], volume, cause)
			}
			some = some || volume > 0
			switch a := f.g.Allowance(f.now, dosing.TankID(tank), p); {
			case a.Most != volume:
				f.t.Errorf("%s, tank %d, pump %d: a person is told %s, the planner %s", when, tank, p, a.Most, volume)
			case volume == 0 && a.By != cause:
				f.t.Errorf("%s, tank %d, pump %d: a person is told %s, the planner %s", when, tank, p, a.By, cause)
			case volume > 0 && a.Words == "":
				f.t.Errorf("%s, tank %d, pump %d: at most %s by %s, without words", when, tank, p, a.Most, a.By)
			}
		}
		if when == "before" && !some {
			f.t.Errorf("tank %d: nothing may be dosed before", tank)
		}
	}
}

func TestLimitsGiveNothingToWhatTheyCannotJudge(t *testing.T) {
	f := newFarm(t)
	most, causes := []dosing.Volume{1}, []Cause{CauseNone}
	f.g.Limits(f.now, 0, most, causes)
	if most[0] != 0 || causes[0] == CauseNone {
		t.Errorf("a row of the wrong length: %v %v", most, causes)
	}
	var g *Gate
	most[0] = 1
	g.Limits(f.now, 0, most, causes)
	if most[0] != 0 {
		t.Error("no gate allows something")
	}
}

func TestLimitsOfAllPumpsKnowTheWrongWayAndTheWaits(t *testing.T) {
	for name, change := range map[string]func(*farm){
		"pH below":         func(f *farm) { f.w.Aim(0, dosing.Target{PH: 6.5, EC: 2}) },
		"pH above":         func(f *farm) { f.w.Aim(0, dosing.Target{PH: 5.1, EC: 2}) },
		"EC above":         func(f *farm) { f.w.Aim(0, dosing.Target{PH: 5.8, EC: 1}) },
		"no setpoint":      func(f *farm) { f.w.Aim(0, dosing.Target{}) },
		"acid just given":  func(f *farm) { f.gave(0, acidPump, dosing.Millilitre) },
		"stock just given": func(f *farm) { f.gave(0, calciumPump, 5*dosing.Millilitre) },
		"a dose is open":   func(f *farm) { f.open(1, calciumPump, 5*dosing.Millilitre) },
		"a pump for the other tank alone": func(f *farm) {
			f.s.Pumps[basePump].Serves = dosing.TankSet(0).With(1)
		},
	} {
		f := newFarm(t)
		f.noise = 0
		f.pass(10 * time.Second)
		change(f)
		f.wantSameLimits(name)
	}
}
