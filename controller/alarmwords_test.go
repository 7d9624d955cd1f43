package controller_test

import (
	"math"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"testing"
	"time"

	"leat/controller"
	"leat/controller/metrics"
	"leat/dosing"
	"leat/safety"
	"leat/safety/alarm"
)

func TestAcknowledgingWhatIsAcknowledgedSaysSoAndWritesNothing(t *testing.T) {
	s := newStage(t, &scenario{})
	s.Arm()
	s.pass(12 * time.Minute)
	s.tap(north, dosing.QuantityLeak, says("1"))
	s.pass(2 * time.Minute)
	ask := controller.Request{Kind: controller.RequestAcknowledge, Tank: north, Role: controller.RoleOperate, Cause: safety.CauseLeak}
	if a := s.Ask(ask); !a.Accepted || !strings.Contains(a.Text, "acknowledged; its interlock is not lifted") {
		t.Fatalf("%+v", a)
	}
	notices, rows := len(s.notices), 0
	seen := s.Seen
	s.Seen = func(now dosing.Instant, e *controller.Event, out *controller.Output) {
		seen(now, e, out)
		rows += len(out.Append)
	}
	for range 10 {
		if a := s.Ask(ask); !strings.Contains(a.Text, "acknowledged already") {
			t.Fatalf("once more it says %q", a.Text)
		}
	}
	if len(s.notices) != notices || rows != 0 {
		t.Errorf("%d lines for the log and %d rows were written about nothing", len(s.notices)-notices, rows)
	}
}

// With the probes silent nobody knows what happens; what is known is how fast it went.
func TestBlindIsNotCalmTheForecastRunsOnAtTheDriftLastSeen(t *testing.T) {
	s := newStage(t, &scenario{})
	if v := s.view(north); v.LeavesHarm != alarm.Unforeseen || !math.IsNaN(s.gauge("leat_leaves_harm_band_seconds{station=\"row\",tank=\"north\"}")) {
		t.Errorf("before anything was read the forecast is %v", v.LeavesHarm)
	}
	s.Arm()
	s.pass(3 * time.Hour)
	for range 60 { // the drift seen last must be one that leads out of the band
		if s.view(north).Settled.DriftPH > 0.05 {
			break
		}
		s.pass(time.Minute)
	}
	s.tap(north, dosing.QuantityPH, nothing)
	s.tap(north, dosing.QuantityEC, nothing)
	s.pass(5 * time.Minute)
	first := s.view(north)
	if first.Settled.Known || first.LeavesHarm < 0 {
		t.Fatalf("known %v, leaves its harm band in %v: no forecast to run on", first.Settled.Known, first.LeavesHarm)
	}
	s.pass(time.Hour)
	later := s.view(north)
	if gone := first.LeavesHarm - later.LeavesHarm; (gone - time.Hour).Abs() > 2*time.Minute {
		t.Errorf("an hour of blindness later the forecast went from %v to %v", first.LeavesHarm, later.LeavesHarm)
	}
	alarm, ok := s.alarm(north, safety.CausePHStale)
	if !ok || alarm.Priority > safety.PriorityTonight {
		t.Fatalf("%+v", alarm)
	}
	told := alarm.Text
	s.pass(2 * time.Hour)
	if alarm, _ = s.alarm(north, safety.CausePHStale); alarm.Text == told {
		t.Errorf("two hours later the alarm still reads %q", told)
	}
	if got := s.gauge("leat_leaves_harm_band_seconds{station=\"row\",tank=\"north\"}"); math.IsInf(got, 0) || math.IsNaN(got) {
		t.Errorf("the metric reads %v while nobody sees pH", got)
	}
}

func TestNobodyIsToldOfHisOwnPauseStopOrCleaning(t *testing.T) {
	for _, kind := range []controller.RequestKind{controller.RequestPause, controller.RequestStop, controller.RequestCleaning} {
		s := newStage(t, &scenario{})
		s.Arm()
		s.pass(time.Hour)
		from := s.Now().Up
		if a := s.Ask(controller.Request{Kind: kind, Tank: north, Role: controller.RoleEngineer, By: "grower", From: "page"}); !a.Accepted {
			t.Fatal(a.Text)
		}
		s.pass(100 * time.Minute)
		for _, n := range s.notices {
			if n.at.Up >= from && n.Kind == controller.NoticeAlarm && n.Active && n.Tank == north {
				t.Errorf("%s: %s later somebody is called: %s", kind, n.at.Up-from, n.Text)
			}
		}
	}
}

// gauge is a series as it is scraped now.
func (s *stage) gauge(series string) float64 {
	s.t.Helper()
	answer := httptest.NewRecorder()
	view := s.Core.View(s.Now())
	metrics.New("row", func() *controller.View { return view }).Handler().ServeHTTP(answer, httptest.NewRequest(http.MethodGet, "/metrics", nil))
	for line := range strings.Lines(answer.Body.String()) {
		if value, found := strings.CutPrefix(strings.TrimSpace(line), series+" "); found {
			v, err := strconv.ParseFloat(value, 64)
			if err != nil {
				s.t.Fatal(err)
			}
			return v
		}
	}
	s.t.Fatalf("no series %s", series)
	return 0
}
