package controller_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"leat/controller"
	"leat/dosing"
	"leat/safety"
	"leat/safety/ledger"
)

// onTheWay asks for something while the disk is slow, so that its row waits.
func (s *stage) onTheWay(kind controller.RequestKind, note string) {
	s.t.Helper()
	s.SlowDisk = true
	if a := s.ask(kind, note); a.Text != "" {
		s.t.Fatalf("%s was answered before it was written: %+v", kind, a)
	}
}

// diskCatchesUp lets all that waits become durable.
func (s *stage) diskCatchesUp() {
	s.SlowDisk = false
	s.Sync()
}

func TestLessThatIsAskedForLaterIsNotUndoneByMoreThatWasAskedForEarlier(t *testing.T) {
	for _, c := range []struct {
		before      []controller.RequestKind
		more, less  controller.RequestKind
		stays       safety.Cause // what withholds afterwards
		staysAsWell safety.Cause
	}{
		{nil, controller.RequestArm, controller.RequestObserve, safety.CauseObserving, 0},
		{nil, controller.RequestArm, controller.RequestStop, safety.CauseOperatorStop, 0},
		{nil, controller.RequestArm, controller.RequestCleaning, safety.CauseObserving, safety.CauseCleaning},
		{[]controller.RequestKind{controller.RequestArm, controller.RequestPause}, controller.RequestResume, controller.RequestMaintenance, safety.CauseOperatorPause, safety.CauseMaintenance},
		{[]controller.RequestKind{controller.RequestArm, controller.RequestMaintenance}, controller.RequestResume, controller.RequestPause, safety.CauseOperatorPause, safety.CauseMaintenance},
		{[]controller.RequestKind{controller.RequestArm, controller.RequestCleaning}, controller.RequestConfirmWater, controller.RequestCleaning, safety.CauseSolutionUnconfirmed, safety.CauseCleaning},
		{[]controller.RequestKind{controller.RequestArm, controller.RequestCleaning}, controller.RequestConfirmWater, controller.RequestPause, safety.CauseSolutionUnconfirmed, safety.CauseCleaning},
		{[]controller.RequestKind{controller.RequestArm, controller.RequestStop}, controller.RequestClear, controller.RequestStop, safety.CauseOperatorStop, 0},
	} {
		name := c.more.String() + " then " + c.less.String()
		s := newStage(t, &scenario{settings: func(c *controller.Settings) { c.ReArm = true }})
		s.pass(20 * time.Minute)
		for _, kind := range c.before {
			s.must(kind, "looked")
		}
		s.onTheWay(c.more, "looked")
		s.ask(c.less, "")
		if !slices.ContainsFunc(s.Answers, func(a controller.Answer) bool {
			return a.Kind == c.more && !a.Accepted && strings.Contains(a.Text, "cancelled")
		}) {
			t.Errorf("%s: whoever asked for more does not hear that it was cancelled: %+v", name, s.Answers)
		}
		s.diskCatchesUp()
		at := s.Now().Up
		for _, when := range []string{"live", "after a restart"} {
			for _, cause := range []safety.Cause{c.stays, c.staysAsWell} {
				if _, ok := s.hold(north, cause); !ok && cause != 0 {
					t.Errorf("%s, %s: %s does not withhold doses", name, when, cause)
				}
			}
			s.pass(20 * time.Minute)
			if s.dosed(north, at, allPumps...) {
				t.Errorf("%s, %s: it was dosed", name, when)
			}
			s.restart(time.Minute)
		}
	}
}

func TestClearDoesNotLiftAStopThatCameAfterItWasAskedFor(t *testing.T) {
	s := dosingStage(t)
	s.must(controller.RequestStop, "")
	s.onTheWay(controller.RequestClear, "the row looked at")
	s.tap(north, dosing.QuantityLeak, says("1"))
	s.pass(40 * time.Second)
	if hold, ok := s.hold(north, safety.CauseLeak); !ok || hold.Action != safety.Stop {
		t.Fatalf("the leak does not stop the tank: %+v", s.view(north).Holds)
	}
	s.tap(north, dosing.QuantityLeak, nil)
	s.diskCatchesUp()
	s.pass(time.Minute)
	for _, when := range []string{"live", "after a restart"} {
		for _, cause := range []safety.Cause{safety.CauseLeak, safety.CauseOperatorStop} {
			if _, ok := s.hold(north, cause); !ok {
				t.Errorf("%s: the clear of before lifted %s", when, cause)
			}
		}
		s.restart(time.Minute)
		s.pass(time.Minute)
	}
}

func TestStopOfASharedPumpClearedThroughAnotherTankDoesNotReturn(t *testing.T) {
	s := newStage(t, &scenario{})
	s.Arm()
	s.inject("stock-empty", 0, calcium)
	s.inject("stock-empty", 0, potassiumNitrate)
	if !s.until(8*time.Hour, func() bool { _, ok := s.hold(nursery, safety.CauseNoResponse); return ok }) {
		t.Skip("no pump of both tanks stopped")
	}
	a := s.Ask(controller.Request{Kind: controller.RequestClear, Tank: nursery, Note: "refilled", By: "Ada", From: "page", Role: controller.RoleEngineer})
	if !a.Accepted {
		t.Fatal(a.Text)
	}
	for _, when := range []string{"live", "after a restart"} {
		for _, id := range []dosing.TankID{north, nursery} {
			if h, ok := s.hold(id, safety.CauseNoResponse); ok {
				t.Errorf("%s: tank %d: %s of %s", when, id, h.Text, h.Pump)
			}
		}
		s.restart(time.Minute)
	}
}

func TestDoseOfACrashedRunIsNotCountedAsOpenForEver(t *testing.T) {
	s := dosingStage(t)
	s.SlowDisk = true
	pump := -1 // whichever is due next: with a slow disk it stays the only one
	if !s.until(20*time.Minute, func() bool {
		pump = slices.IndexFunc(s.Core.View(s.Now()).Pumps, func(p controller.PumpView) bool { return p.OpenOrder != "" })
		return pump >= 0
	}) {
		t.Fatal("no dose began")
	}
	s.restart(time.Minute)
	for _, p := range s.Core.View(s.Now()).Pumps {
		if p.Doses[ledger.OutcomeOpen] != 0 || p.Volume[ledger.OutcomeOpen] != 0 {
			t.Errorf("%s: %d doses (%s) open after the restart", p.Name, p.Doses[ledger.OutcomeOpen], p.Volume[ledger.OutcomeOpen])
		}
	}
	if s.Core.View(s.Now()).Pumps[pump].Doses[ledger.OutcomeUncertain] == 0 {
		t.Error("the dose is not counted as uncertain")
	}
}

func TestAnswersAreMadeFromTheStateAfterTheChange(t *testing.T) {
	s := newStage(t, &scenario{})
	s.pass(time.Minute)
	says := func(kind controller.RequestKind, accepted bool, parts ...string) {
		t.Helper()
		a := s.ask(kind, "looked")
		if a.Accepted != accepted || slices.ContainsFunc(parts, func(p string) bool { return !strings.Contains(a.Text, p) }) {
			t.Errorf("%s: %v, %q; want %v and %q", kind, a.Accepted, a.Text, accepted, parts)
		}
	}
	says(controller.RequestArm, true, "armed, but held now: Just started")
	s.pass(20 * time.Minute)
	says(controller.RequestObserve, true, "observing")
	says(controller.RequestPause, true, "paused")
	says(controller.RequestResume, true, "resumed; observing")
	says(controller.RequestResume, false, "nothing is paused; observing")
	says(controller.RequestArm, true, "armed: it doses")
	says(controller.RequestPause, true, "paused")
	says(controller.RequestStop, true, "stopped")
	says(controller.RequestServiced, true, "noted", "a stop is lifted by clear alone")
	says(controller.RequestResume, true, "resumed", "a stop is lifted by clear alone")
	says(controller.RequestResume, false, "nothing is paused", "a stop is lifted by clear alone")
	says(controller.RequestConfirmWater, true, "confirmed", "a stop is lifted by clear alone")
	says(controller.RequestClear, true, "cleared; observing")
}

func TestAnswersOnASlowAFullAndAFailedDisk(t *testing.T) {
	s := newStage(t, &scenario{})
	s.pass(20 * time.Minute)
	r := controller.Request{Kind: controller.RequestArm, Tank: north, By: "Ada", From: "page", Role: controller.RoleEngineer}
	s.SlowDisk = true
	s.Ask(r)
	s.pass(3 * time.Second)
	if a := s.Answers[len(s.Answers)-1]; !a.Accepted || !strings.Contains(a.Text, "takes effect when it is written to the ledger") {
		t.Errorf("slow disk: %+v", a)
	}
	if mode := s.view(north).Mode; mode != safety.ModeObserving {
		t.Errorf("%s before it is written", mode)
	}
	s.diskCatchesUp()
	if a := s.Answers[len(s.Answers)-1]; !a.Accepted || !strings.Contains(a.Text, "armed: it doses") {
		t.Errorf("once written: %+v", a)
	}

	s.store.FailNth(1, ledger.FaultFull)
	r.Kind = controller.RequestPause
	if a := s.Ask(r); !a.Accepted || !strings.Contains(a.Text, "a restart before that would forget it") {
		t.Errorf("pause on a full disk: %+v", a)
	}
	if _, ok := s.hold(north, safety.CauseOperatorPause); !ok {
		t.Error("the pause is not in force")
	}
	for _, kind := range []controller.RequestKind{controller.RequestResume, controller.RequestClear, controller.RequestArm, controller.RequestConfirmWater, controller.RequestSetpoint} {
		r.Kind, r.Note, r.Quantity, r.Value = kind, "looked", dosing.QuantityPH, 5.9
		if a := s.Ask(r); a.Accepted || !strings.Contains(a.Text, "the ledger is full") {
			t.Errorf("%s on a full disk: %+v", kind, a)
		}
	}
	s.pass(10 * time.Second)
	if a := s.ask(controller.RequestResume, ""); !a.Accepted {
		t.Errorf("with room again: %+v", a)
	}

	s.store.FailNth(1, ledger.FaultFailed)
	if a := s.ask(controller.RequestMaintenance, ""); !a.Accepted || !strings.Contains(a.Text, "a restart forgets it") {
		t.Errorf("maintenance on a failed disk: %+v", a)
	}
	if a := s.ask(controller.RequestArm, ""); a.Accepted || !strings.Contains(a.Text, "the ledger is failed") {
		t.Errorf("arm on a failed disk: %+v", a)
	}
	if tank := s.Core.Remembered(s.Now()).Tanks[north]; tank.Mode != safety.ModeObserving || tank.Disarmed != "the ledger is failed" {
		t.Errorf("after a failed disk it is %s (%s); only a restart and a person may arm it", tank.Mode, tank.Disarmed)
	}
}

func TestAppendThatFailsIsAnsweredAsAFailure(t *testing.T) {
	s := newStage(t, &scenario{})
	s.pass(20 * time.Minute)
	s.store.FailNth(1, ledger.FaultFailed)
	if a := s.ask(controller.RequestArm, ""); a.Accepted || !strings.Contains(a.Text, "does not take effect") {
		t.Errorf("%+v", a)
	}
}

func TestFloodOfValidAsksWritesAFewRowsAndTheNewestWins(t *testing.T) {
	s := newStage(t, &scenario{recipe: true})
	s.pass(time.Minute)
	for _, slow := range []bool{false, true} {
		s.SlowDisk = slow
		rows, from := s.store.Len(), s.Now().Up
		last := 0.0
		for i := range 20_000 {
			last = 5.7 + 0.2*float64(i%1000)/1000
			s.wish(dosing.QuantityPH, last, nil)
			s.wish(dosing.QuantityEC, 1.8+0.2*float64(i%1000)/1000, nil)
			if i%1000 == 0 {
				s.pass(time.Second)
			}
		}
		if n := s.store.Len() - rows; n > 20 {
			t.Errorf("slow disk %v: %d rows in %v", slow, n, s.Now().Up-from)
		}
		s.diskCatchesUp()
		s.pass(2 * time.Minute)
		if got := s.view(north).PH.Final; got != last {
			t.Errorf("slow disk %v: setpoint %g, the newest wish is %g", slow, got, last)
		}
		s.pass(2 * time.Minute)
	}
}

func TestTankThatIsNotArmedAgainCallsAPersonUntilOneSpeaks(t *testing.T) {
	for _, word := range []controller.RequestKind{controller.RequestArm, controller.RequestObserve, controller.RequestStop} {
		s := dosingStage(t)
		for range 2 { // a second restart does not make it quiet
			s.restart(time.Minute)
			s.pass(15 * time.Minute)
			a, ok := s.alarm(north, safety.CauseDisarmed)
			if !ok || a.Priority != safety.PriorityTonight || !strings.Contains(a.Text, "restarted") || a.Advice == "" {
				t.Fatalf("%s: %+v", word, s.view(north).Alarms)
			}
		}
		s.must(word, "looked")
		s.pass(2 * time.Minute)
		if a, ok := s.alarm(north, safety.CauseDisarmed); ok && a.State.Stands() {
			t.Errorf("%s: the alarm goes on: %+v", word, a)
		}
		s.restart(time.Minute)
		s.pass(time.Minute)
		if a, ok := s.alarm(north, safety.CauseDisarmed); ok != (word == controller.RequestArm) {
			t.Errorf("%s, then a restart: %v %+v", word, ok, a)
		}
	}
}

func TestFourStartsInTenMinutesEndInObservingAndSaySo(t *testing.T) {
	s := newStage(t, &scenario{settings: func(c *controller.Settings) { c.ReArm = true }})
	s.Arm()
	for range 3 {
		s.pass(time.Minute)
		if mode := s.view(north).Mode; mode == safety.ModeObserving {
			t.Fatal("observing before the fourth start")
		}
		s.restart(time.Second)
	}
	s.pass(15 * time.Minute)
	if mode := s.view(north).Mode; mode != safety.ModeObserving {
		t.Errorf("%s after four starts in ten minutes", mode)
	}
	if a, ok := s.alarm(north, safety.CauseDisarmed); !ok || !strings.Contains(a.Text, "started 4 times in ten minutes") {
		t.Errorf("%+v", s.view(north).Alarms)
	}
}
