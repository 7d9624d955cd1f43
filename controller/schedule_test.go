package controller_test

import (
	"math"
	"testing"
	"time"

	"leat/controller"
	"leat/dosing"
)

func TestAWeekFromOneECToAnotherIsEvenAndEndsThere(t *testing.T) {
	s := controller.Schedule{Zone: time.UTC, Stages: []controller.Stage{{Name: "young", From: evening, EC: 1.2},
		{Name: "growth", From: evening.Add(24 * time.Hour), EC: 2.2, Over: 168 * time.Hour, PH: 5.9}}}
	at := func(hours float64) controller.Scheduled {
		return s.At(evening.Add(time.Duration(hours*float64(time.Hour))), 5.8, 1.6, func(string) bool { return false })
	}
	for hours, want := range map[float64]float64{-1: 1.6, 0: 1.2, 24: 1.2, 24 + 84: 1.7, 24 + 168: 2.2, 999: 2.2} {
		if got := at(hours).EC; math.Abs(got-want) > 1e-9 {
			t.Errorf("after %g h EC %g, want %g", hours, got, want)
		}
	}
	if v := at(24 + 84); math.Abs(v.PH-5.85) > 1e-9 || !v.Moving || v.Stage != "growth" {
		t.Errorf("half way %+v", v)
	}
}

func TestTheNightHasItsOwnSetpointByTheClockOfTheStation(t *testing.T) {
	zone := time.FixedZone("far", 5*3600)
	s := controller.Schedule{Zone: zone, DayBegins: 6 * time.Hour, DayEnds: 22 * time.Hour,
		Stages: []controller.Stage{{Name: "growth", From: evening, EC: 1.8, NightEC: 2.1}}}
	for hour, want := range map[int]float64{5: 2.1, 6: 1.8, 21: 1.8, 22: 2.1, 23: 2.1} {
		if got := s.At(time.Date(2031, 3, 4, hour, 0, 0, 0, zone), 5.8, 1.6, func(string) bool { return false }).EC; got != want {
			t.Errorf("at %d o'clock EC %g, want %g", hour, got, want)
		}
	}
}

func TestASetpointFollowsItsScheduleWithinItsRampAndAPersonsStands(t *testing.T) {
	s := newStage(t, &scenario{settings: func(c *controller.Settings) {
		c.Tanks[north].Schedule = controller.Schedule{Zone: time.UTC, Stages: []controller.Stage{
			{Name: "young", From: evening.Add(-time.Hour), EC: 1.9}, {Name: "growth", From: evening.Add(2 * time.Hour), EC: 2.3, Over: 4 * time.Hour}}}
	}})
	last, fastest := s.view(north).EC.Working, 0.0
	for minute := range 7 * 60 {
		s.pass(time.Minute)
		now := s.view(north).EC
		fastest, last = max(fastest, now.Working-last), now.Working
		if minute == 60 && (now.Source != "schedule" || math.Abs(now.Working-1.9) > 1e-9) {
			t.Errorf("after an hour %+v", now)
		}
	}
	if now := s.view(north).EC; math.Abs(now.Working-2.3) > 1e-9 || fastest > 0.3/60+1e-6 {
		t.Errorf("at the end %+v, fastest %.4f in a minute", now, fastest)
	}
	if a := s.wish(dosing.QuantityEC, 2.1, nil); !a.Accepted {
		t.Fatal(a.Text)
	}
	s.pass(time.Hour)
	if now := s.view(north).EC; now.Final != 2.1 || now.Source == "schedule" {
		t.Errorf("a person's setpoint was taken back: %+v", now)
	}
}
