package controller_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"leat/controller"
	"leat/safety"
)

// calibrate poses one step and fails unless it is accepted.
func (s *stage) calibrate(step, standard string) {
	s.t.Helper()
	a := s.Ask(controller.Request{Kind: controller.RequestCalibrate, Tank: north, By: "Ada", From: "page", Role: controller.RoleOperate,
		Calibrating: controller.Calibrating{Probe: "ph", Step: step, Standard: standard, Celsius: 25}})
	if !a.Accepted {
		s.t.Fatalf("%s %s: %s", step, standard, a.Text)
	}
}

func label(pH float64) string { return fmt.Sprintf("label:%.2f", pH) }

// refusesCalibration poses a step that must be refused.
func (s *stage) refusesCalibration(step, standard string, celsius float64) controller.Answer {
	s.t.Helper()
	a := s.Ask(controller.Request{Kind: controller.RequestCalibrate, Tank: north, By: "Ada", From: "page", Role: controller.RoleOperate,
		Calibrating: controller.Calibrating{Probe: "ph", Step: step, Standard: standard, Celsius: celsius}})
	if a.Accepted {
		s.t.Errorf("%s %s at %g °C: %s", step, standard, celsius, a.Text)
	}
	return a
}

func (s *stage) phOf() controller.InputView {
	for _, in := range s.view(north).Inputs {
		if in.Name == "ph" {
			return in
		}
	}
	s.t.Fatal("no probe ph")
	return controller.InputView{}
}

func TestAReadingIsCorrectedByItsCalibrationAndAfterARestartToo(t *testing.T) {
	s := dosingStage(t)
	s.calibrate("begin", "")
	if a := s.refusesCalibration("read", "7.00", 25); !a.Again {
		t.Errorf("before a minute of readings: %+v", a)
	}
	was := s.phOf()
	s.pass(2 * time.Minute)
	doses := s.Core.View(s.Now()).Pumps[0].Ever
	// The tank itself is the standard here: its label says a tenth less than the probe reads.
	tank := math.Round(s.phOf().Value*100) / 100
	said := label(tank - 0.1)
	s.refusesCalibration("read", "4.01", 25)
	s.refusesCalibration("read", said, 77)
	s.calibrate("read", said)
	s.calibrate("accept", "")
	s.Sync()
	s.pass(time.Minute)
	near := func(when string) {
		t.Helper()
		in := s.phOf()
		if math.Abs(in.Value-(tank-0.1)) > 0.05 || in.Calibration == nil || in.Calibration.By != "Ada" || in.Calibration.Due.IsZero() {
			t.Errorf("%s it reads %.3f, %+v; before %.3f", when, in.Value, in.Calibration, was.Value)
		}
	}
	near("after the calibration")
	if now := s.Core.View(s.Now()).Pumps[0].Ever; now != doses {
		t.Errorf("%v of acid were dosed meanwhile", now-doses)
	}
	s.restart(time.Minute)
	s.pass(time.Minute)
	near("after a restart")
}

func TestACalibrationThatNobodyGoesOnWithIsGivenUpAloudAndTheTankStaysWithheld(t *testing.T) {
	s := dosingStage(t)
	s.calibrate("begin", "")
	s.pass(20 * time.Minute)
	said := label(math.Round(s.phOf().Value*100) / 100)
	s.calibrate("read", said) // a step: the half hour begins anew
	s.pass(20 * time.Minute)
	if v := s.view(north); v.Calibrating != "ph" || v.Lapsed != "" || v.StepBy.Sub(s.Now().Wall) > 10*time.Minute {
		t.Fatalf("20 min after a step: calibrating %q, given up %q, by %s", v.Calibrating, v.Lapsed, v.StepBy)
	}
	doses := s.Core.View(s.Now()).Pumps[0].Ever
	s.pass(11 * time.Minute)
	if v := s.view(north); v.Calibrating != "" || v.Lapsed != "ph" {
		t.Errorf("31 min after a step: calibrating %q, given up %q", v.Calibrating, v.Lapsed)
	}
	if a, ok := s.alarm(north, safety.CauseMaintenance); !ok || a.Priority > safety.PriorityTonight {
		t.Errorf("nobody is called: %+v", a)
	}
	if last := s.notices[len(s.notices)-1]; !slices.ContainsFunc(s.notices, func(n noted) bool { return strings.HasPrefix(n.Text, "the calibration of ph was given up") }) {
		t.Errorf("it is not told; the last notice is %q", last.Text)
	}
	s.refusesCalibration("accept", "", 25)
	s.pass(2 * time.Hour)
	if now := s.Core.View(s.Now()).Pumps[0].Ever; now != doses {
		t.Errorf("%v of acid were dosed although nobody resumed", now-doses)
	}
	s.must(controller.RequestResume, "the probe is back")
	if v := s.view(north); v.Lapsed != "" {
		t.Error("after a resume it is still told as given up")
	}
	if _, held := s.hold(north, safety.CauseMaintenance); held {
		t.Error("a person resumed and the tank is still withheld")
	}
	s.calibrate("begin", "") // and it can be begun again
}
