package controller_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"leat/controller"
	"leat/controller/sim"
	"leat/dosing/chem"
)

// askTitration asks for a titration of the first tank.
func (s *stage) askTitration() controller.Answer {
	return s.Ask(controller.Request{Kind: controller.RequestTitrate, Tank: north, Role: controller.RoleEngineer, By: "ada"})
}

// titrating is a stage whose first tank is titrated some time after the start.
func titrating(t *testing.T, o sim.Options) *stage {
	t.Helper()
	s := newStage(t, &scenario{options: func(to *sim.Options) { *to = o }})
	s.Arm()
	s.pass(20 * time.Minute)
	if a := s.askTitration(); !a.Accepted {
		t.Fatalf("refused: %s", a.Text)
	}
	s.pass(2 * time.Second)
	if !s.view(north).Titrating {
		t.Fatalf("accepted, and none is under way: %q %v", s.view(north).Titration, s.view(north).Holds)
	}
	return s
}

// titrated runs until no titration is under way and returns what came of it.
func (s *stage) titrated() string {
	if !s.until(8*time.Hour, func() bool { return !s.Core.Titrating(north) }) {
		s.t.Fatal("no end in eight hours")
	}
	s.pass(2 * time.Second) // its row
	return s.view(north).Titration
}

// trueBuffer is that of the water as it is, meq/L per pH.
func (s *stage) trueBuffer() float64 {
	truth := s.farm.Truth(north)
	curve, err := chem.NewCurve(truth.Ions, truth.Celsius)
	if err != nil {
		s.t.Fatal(err)
	}
	return curve.Buffer(truth.PH)
}

func TestTitrationFindsWhatTheWaterTrulyBuffers(t *testing.T) {
	results := 0
	for seed := uint64(1); seed <= 4; seed++ {
		for _, startPH := range []float64{6.15, 5.5} {
			s := titrating(t, sim.Options{Seed: seed, StartPH: startPH, StartECShare: 1, StartHour: 22})
			before := s.farm.Truth(north).PH
			words := s.titrated()
			what := fmt.Sprintf("seed %d from pH %.2f: %s", seed, startPH, words)
			if moved := math.Abs(s.farm.Truth(north).PH - before); moved > 0.4 {
				t.Errorf("%s; pH moved by %.2f", what, moved)
			}
			if !strings.HasPrefix(words, "buffer ") {
				t.Log(what)
				continue
			}
			results++
			// Settled is what the loops use from then on.
			v, plant := s.view(north).Settled, s.file.Settings.Safety.Tanks[north].Tank
			found := controller.CommissionedBuffer(plant, s.farm.Truth(north).PH) / plant.BufferScale * v.BufferScale
			if off := math.Log(found / s.trueBuffer()); math.Abs(off) > 0.45 || v.BufferScaleSpread > 0.35 {
				t.Errorf("%s; the loops use %.3f ± %.2f meq/L per pH, truly %.3f", what, found, v.BufferScaleSpread, s.trueBuffer())
			}
		}
	}
	if results < 6 {
		t.Errorf("%d of 8 titrations found anything", results)
	}
}

func TestTitrationOfAPumpThatGivesNothingFindsNothing(t *testing.T) {
	s := titrating(t, sim.Options{Seed: 3, StartPH: 6.15, StartECShare: 1, StartHour: 22, DeadPumps: true})
	if words := s.titrated(); !strings.HasPrefix(words, "ended without a result") {
		t.Errorf("dead pumps were measured: %s", words)
	}
}

func TestWhileATankIsTitratedItGetsNothingElse(t *testing.T) {
	s := titrating(t, sim.Options{Seed: 2, StartPH: 6.15, StartECShare: 0.7, StartHour: 22})
	orders := len(s.orders)
	s.titrated()
	given := 0
	for _, o := range s.orders[orders:] {
		switch {
		case o.tank == north && o.pump != acidNorth:
			t.Errorf("pump %d was ordered at %s", o.pump, o.at.Up)
		case o.tank == north:
			given++
		}
	}
	if given < 3 || given > 6 {
		t.Errorf("%d doses", given)
	}
	orders = len(s.orders)
	s.pass(20 * time.Minute)
	if len(s.orders) == orders {
		t.Error("dosing did not go on afterwards, with EC far below its setpoint")
	}
}

func TestAPauseACleaningAndARestartEndATitration(t *testing.T) {
	for name, end := range map[string]func(s *stage){
		"pause":    func(s *stage) { s.must(controller.RequestPause, "") },
		"observe":  func(s *stage) { s.must(controller.RequestObserve, "") },
		"service":  func(s *stage) { s.must(controller.RequestServiced, "") },
		"cleaning": func(s *stage) { s.must(controller.RequestCleaning, "") },
		"restart":  func(s *stage) { s.restart(20 * time.Second) },
	} {
		s := titrating(t, sim.Options{Seed: 3, StartPH: 6.15, StartECShare: 1, StartHour: 22})
		end(s)
		s.pass(3 * time.Second)
		if v := s.view(north); v.Titrating || strings.HasPrefix(v.Titration, "buffer") {
			t.Errorf("%s: %+v", name, v.Titration)
		}
	}
}

func TestWhatATitrationFoundOutlivesARestartButNoServiceAndAges(t *testing.T) {
	s := titrating(t, sim.Options{Seed: 1, StartPH: 6.15, StartECShare: 1, StartHour: 22})
	words := s.titrated()
	if !strings.HasPrefix(words, "buffer ") {
		t.Fatal(words)
	}
	s.restart(time.Minute)
	s.pass(2 * time.Minute)
	if after := s.view(north); !strings.HasPrefix(after.Titration, "buffer ") || after.Settled.BufferScaleSpread > 0.35 {
		t.Errorf("after the restart %q, ± %.2f", after.Titration, after.Settled.BufferScaleSpread)
	}
	s.must(controller.RequestServiced, "")
	s.pass(2 * time.Minute)
	if after := s.view(north); after.Titration != "" || after.Settled.BufferScaleSpread < 0.5 {
		t.Errorf("after a service %q, ± %.2f", after.Titration, after.Settled.BufferScaleSpread)
	}
	s.restart(time.Minute)
	s.pass(2 * time.Minute)
	if after := s.view(north); after.Titration != "" {
		t.Errorf("it came back: %q", after.Titration)
	}
}

func TestTitrationIsRefusedWhereNoDoseMayGo(t *testing.T) {
	s := newStage(t, &scenario{})
	if a := s.askTitration(); a.Accepted || !strings.Contains(a.Text, "arm it first") {
		t.Errorf("while observing: %+v", a)
	}
	s.Arm()
	s.pass(20 * time.Minute)
	if a := s.Ask(controller.Request{Kind: controller.RequestTitrate, Tank: north, Role: controller.RoleOperate, By: "ben"}); a.Accepted {
		t.Error("an operator may not")
	}
	if a := s.askTitration(); !a.Accepted {
		t.Fatalf("refused: %s", a.Text)
	}
	s.pass(5 * time.Second)
	if a := s.askTitration(); a.Accepted || !strings.Contains(a.Text, "under way") {
		t.Errorf("a second one: %+v", a)
	}
}
