package controller_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"leat/controller"
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
