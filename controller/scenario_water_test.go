package controller_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"leat/controller"
	"leat/controller/sim"
	"leat/dosing"
	"leat/safety"
)

// What the scenario files cannot show, because the water itself must answer; and what
// no input can bring about.

var (
	acids    = []dosing.PumpID{acidNorth}
	stocks   = []dosing.PumpID{calcium, potassiumNitrate, magnesiumNitrate, phosphate, magnesiumSulfate, potassiumSulfate, ammonium, iron, traces}
	allPumps = append([]dosing.PumpID{acidNorth, baseNorth}, stocks...)
)

func confirmAndArm(s *stage) {
	s.must(controller.RequestConfirmWater, "nutrient solution, no disinfectant, rinsed")
	s.ask(controller.RequestClear, "looked")
	s.must(controller.RequestArm, "")
}

// reconfigure gives the daemon changed settings, whole.
func (s *stage) reconfigure(change func(*controller.Settings)) {
	fresh := s.file.Settings
	fresh.Tanks = slices.Clone(fresh.Tanks)
	fresh.Safety.Tanks = slices.Clone(fresh.Safety.Tanks)
	fresh.Safety.Pumps = slices.Clone(fresh.Safety.Pumps)
	fresh.Safety.Caps = slices.Clone(fresh.Safety.Caps)
	fresh.Version += "+"
	change(&fresh)
	s.Step(controller.Event{Kind: controller.EventSettings, Settings: &fresh})
}

// stands waits until a cause stops what it reaches, and checks its names.
func (s *stage) stands(cause safety.Cause, scope safety.Scope, within time.Duration) {
	s.t.Helper()
	if !s.until(within, func() bool { h, ok := s.hold(north, cause); return ok && h.Action == safety.Stop && h.Scope == scope }) {
		s.t.Fatalf("%s does not stop the %s within %s; there is: %s", cause, scope, within, s.holds(north))
	}
	s.pass(time.Second)
	s.namedAlike(north, cause)
}

// called waits until a person is called of what stops nothing, and checks its names.
func (s *stage) called(cause safety.Cause, within time.Duration) {
	s.t.Helper()
	if !s.until(within, func() bool { _, ok := s.alarm(north, cause); return ok }) {
		s.t.Fatalf("no alarm %s within %s", cause, within)
	}
	s.namedAlike(north, cause)
}

func TestAStockRefilledFiveTimesTooStrongIsFoundAndPHGoesOn(t *testing.T) {
	s := dosingStage(t)
	s.inject("stock-strong", 0)
	s.stands(safety.CauseTooStrong, safety.ScopeNutrients, 2*time.Hour)
	from := s.Now().Up
	s.pass(2 * time.Hour)
	if s.dosed(north, from, stocks...) || !s.dosed(north, from, acids...) {
		t.Error("a stock was dosed, or pH was left alone")
	}
	if _, stands := s.hold(north, safety.CauseTooStrong); !stands {
		t.Error("it cleared without a person")
	}
}

func TestAWeldedContactIsFoundByTheWaterItMoves(t *testing.T) {
	s := dosingStage(t)
	s.inject("pump-stuck-on", 9*time.Minute)
	s.stands(safety.CauseUnexplainedChange, safety.ScopeTank, 8*time.Minute)
	from := s.Now().Up
	s.pass(8 * time.Minute)
	if s.dosed(north, from, allPumps...) {
		t.Error("it was dosed into water that runs away")
	}
}

func TestAGroundLoopIsLeftOutAndPHIsKept(t *testing.T) {
	s := dosingStage(t)
	s.inject("ground-loop", 0)
	s.called(safety.CauseGroundLoop, 2*time.Hour)
	from := s.Now().Up
	s.pass(2 * time.Hour)
	if !s.dosed(north, from, acidNorth) {
		t.Error("an alarm that stops nothing stopped the acid")
	}
	if truth := s.farm.Truth(north); math.Abs(truth.PH-s.view(north).PH.Working) > dosing.WarnBand.PH {
		t.Errorf("pH %.2f, wanted %.2f: what was left out was believed", truth.PH, s.view(north).PH.Working)
	}
}

func TestAcidThatWorksFiveTimesWeakerIsToldAndDosedOn(t *testing.T) {
	s := newStage(t, &scenario{settings: func(c *controller.Settings) { c.Safety.Tanks[north].BufferScale *= 0.2 }})
	s.Arm()
	s.called(safety.CauseBufferScale, 8*time.Hour)
	if s.view(north).Mode == safety.ModeStopped {
		t.Error("it stopped the tank")
	}
}

func TestAcidThatBringsMorePhosphateThanIsTakenIsTold(t *testing.T) {
	acidSurplus(t, &scenario{cause: safety.CauseSurplus, recipe: true, text: phosphoricAcid,
		options: func(o *sim.Options) { o.StartPH, o.StartECShare, o.Pace, o.StartHour = 5.8, 1, 5, 8 }})
}

// No daemon can be made to forget a check from outside; that it trips when one is
// forgotten is tested where the checks are, in package safety. Here a view that holds
// it is shown.
func TestACheckThatWasNotMadeIsNamedAlike(t *testing.T) {
	s := newStage(t, &scenario{})
	view := s.Core.View(s.Now())
	row := safety.Of(safety.CauseInputNotEvaluated)
	view.Tanks[north].Holds = append(view.Tanks[north].Holds, controller.HoldView{Cause: row.Cause, Action: row.Action, Scope: row.Scope, Text: row.Text, Clears: row.Clears})
	s.pageNames(view, row.Cause, row.Text)
	s.stateNames(view, north, row.Cause, row.Text)
	if got := metric(t, view, "leat_interlock_active", "north", row.Cause); got != 1 {
		t.Errorf("the metric is %g", got)
	}
}

func TestTheFirstSecondsSayJustStartedNotTheStopIsPressed(t *testing.T) {
	st := newStage(t, &scenario{})
	for range 8 {
		for id := range st.file.Settings.Tanks {
			if view := st.view(dosing.TankID(id)); view.Cause != safety.CauseStarting {
				t.Errorf("%s at %s: %s", view.Name, st.Now().Up, view.Reason)
			}
		}
		st.pass(time.Second)
	}
}
