package controller_test

import (
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"leat/controller"
)

func (s *stage) measured(runs string) controller.Answer {
	return s.Ask(controller.Request{Kind: controller.RequestPumpRate, Pump: 0, Runs: runs, By: "Ada", From: "page", Role: controller.RoleOperate})
}

func TestAMeasuredRateIsComparedAndChangesNoOrder(t *testing.T) {
	s := newStage(t, &scenario{})
	configured := 60 * s.file.Settings.Safety.Pumps[0].PerSecond.Millilitres()
	before := s.file.Settings.Safety.Pumps[0].PerSecond
	for runs, want := range map[string]string{rateText(configured): "as configured", rateText(0.8 * configured): "write rate =", rateText(9 * configured): "another size", "1=1": "let it run"} {
		if !strings.Contains(runs, "=") {
			runs = "60=" + runs
		}
		a := s.measured(runs)
		if !strings.Contains(a.Text, want) || a.Accepted != (want == "as configured" || want == "write rate =") {
			t.Errorf("%s: %+v, want %q", runs, a, want)
		}
	}
	if s.file.Settings.Safety.Pumps[0].PerSecond != before {
		t.Error("a measured rate changed how long a dose runs")
	}
	s.measured("60=" + rateText(0.8*configured))
	s.Sync()
	s.restart(time.Minute)
	if v := s.Core.View(s.Now()).Pumps[0]; math.Abs(60*v.Measured-0.8*configured) > 0.02*configured {
		t.Errorf("after a restart %g mL/min was measured", 60*v.Measured)
	}
}

func TestANewTubeBeginsItsHoursAnew(t *testing.T) {
	s := dosingStage(t)
	acid := func() controller.PumpView { return s.Core.View(s.Now()).Pumps[0] }
	if !s.until(3*time.Hour, func() bool { return acid().TubeRan > 0 }) {
		t.Fatal("no acid in three hours")
	}
	s.pass(time.Minute)
	a := s.Ask(controller.Request{Kind: controller.RequestNewTube, Pump: 0, By: "Ada", From: "page", Role: controller.RoleOperate})
	if !a.Accepted || acid().TubeRan != 0 {
		t.Errorf("%+v, then %v", a, acid().TubeRan)
	}
	s.Sync()
	s.restart(time.Minute)
	if ran := acid().TubeRan; ran > time.Minute {
		t.Errorf("after a restart the new tube ran %v", ran)
	}
}

func rateText(v float64) string { return strconv.FormatFloat(v, 'f', 3, 64) }
