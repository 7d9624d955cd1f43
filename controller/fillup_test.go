package controller_test

import (
	"strings"
	"testing"
	"time"

	"leat/controller"
	"leat/controller/sim"
	"leat/dosing/ratio"
)

// askFill asks for a fill of the first tank, and approves it where it is told to.
func (s *stage) askFill(approve bool) controller.Answer {
	r := controller.Request{Kind: controller.RequestFill, Tank: north, Role: controller.RoleEngineer, By: "ada"}
	a := s.Ask(r)
	if approve {
		r.Confirm = a.Confirm
		a = s.Ask(r)
	}
	return a
}

// halfChanged is a stage whose first tank was half dumped and filled up with source water.
func halfChanged(t *testing.T, recipe, rearm bool) *stage {
	t.Helper()
	s := newStage(t, &scenario{recipe: recipe, settings: func(c *controller.Settings) { c.ReArm = rearm },
		options: func(o *sim.Options) { *o = sim.Options{Seed: 5, StartPH: 5.9, StartECShare: 1, StartHour: 22} }})
	s.Arm()
	s.pass(10 * time.Minute)
	s.must(controller.RequestPause, "half is dumped")
	s.farm.Replace(north, 0.5)
	s.pass(10 * time.Minute)
	if a := s.Ask(controller.Request{Kind: controller.RequestConfirmWater, Tank: north, Role: controller.RoleEngineer, By: "ada", Water: ratio.WaterSource, Replaced: 0.5,
		Note: "water or nutrient solution, no disinfectant, rinsed"}); !a.Accepted {
		t.Fatal(a.Text)
	}
	s.ask(controller.RequestClear, "looked")
	s.must(controller.RequestArm, "")
	s.must(controller.RequestResume, "")
	s.pass(3 * time.Minute)
	return s
}

func TestApprovedFillBringsHalfATankBack(t *testing.T) {
	for _, recipe := range []bool{false, true} {
		s := halfChanged(t, recipe, false)
		before := s.farm.Truth(north)
		offered := s.askFill(false)
		if offered.Accepted || offered.Confirm == "" || !strings.Contains(offered.Text, "Added in all: ") {
			t.Fatalf("recipe %v: no plan to approve: %s", recipe, offered.Text)
		}
		if recipe && !strings.Contains(offered.Text, "NO3-N ") {
			t.Errorf("the plan of a recipe names no ions: %s", offered.Text)
		}
		s.pass(5 * time.Second)
		if s.view(north).Filling {
			t.Fatal("a plan that nobody approved is carried out")
		}
		if a := s.askFill(true); !a.Accepted {
			t.Fatal(a.Text)
		}
		orders, acidFirst, stock := len(s.orders), true, false
		if !s.until(11*time.Hour, func() bool { return !s.view(north).Filling }) {
			t.Fatalf("recipe %v: no end in 11 h: %s", recipe, s.view(north).Fill)
		}
		for _, o := range s.orders[orders:] {
			if o.tank != north {
				continue
			}
			if stock = stock || o.pump != acidNorth && o.pump != baseNorth; !stock && o.pump == baseNorth {
				acidFirst = false
			}
		}
		if !acidFirst || !stock {
			t.Errorf("recipe %v: base before stocks, or no stock at all", recipe)
		}
		after, words := s.farm.Truth(north), s.view(north).Fill
		if want := s.view(north).EC.Final; !strings.HasPrefix(words, "done: ") || after.SettledEC < 0.85*want || after.SettledEC > want+0.1 || after.PH < 5.5 || after.PH > 6.2 {
			t.Errorf("recipe %v: EC %.2f → %.2f, wanted %.2f, pH %.2f: %s", recipe, before.EC, after.SettledEC, want, after.PH, words)
		}
	}
}

// A restart neither forgets what a fill has given nor lets it go on where nobody armed the tank.
func TestFillOverARestart(t *testing.T) {
	for _, rearm := range []bool{true, false} {
		s := halfChanged(t, false, rearm)
		if a := s.askFill(true); !a.Accepted {
			t.Fatal(a.Text)
		}
		s.until(2*time.Hour, func() bool { return s.dosed(north, 0, stocks...) && !strings.Contains(s.view(north).Fill, "acid") })
		s.restart(20 * time.Second)
		s.pass(20 * time.Second)
		if got := s.view(north).Filling; got != rearm {
			t.Errorf("armed again %v, and after the restart it fills: %v %q", rearm, got, s.view(north).Fill)
		}
		if !rearm {
			s.must(controller.RequestArm, "")
			s.pass(10 * time.Second)
			if s.view(north).Filling {
				t.Error("arming brought back a fill that had ended")
			}
		}
	}
}

// Less beats more: what stops the tank ends its fill for good.
func TestWhatStopsATankEndsItsFill(t *testing.T) {
	for _, kind := range []controller.RequestKind{controller.RequestStop, controller.RequestObserve, controller.RequestCleaning} {
		s := halfChanged(t, false, false)
		if a := s.askFill(true); !a.Accepted {
			t.Fatal(a.Text)
		}
		s.pass(time.Minute)
		s.must(kind, "")
		s.pass(3 * time.Second)
		if s.view(north).Filling {
			t.Errorf("%s left the fill under way", kind)
		}
		orders := len(s.orders)
		s.pass(5 * time.Minute)
		for _, o := range s.orders[orders:] {
			if o.tank == north {
				t.Errorf("%s: pump %d was ordered at %s", kind, o.pump, o.at.Up)
			}
		}
	}
}

func TestAFillIsRefusedWhereItCannotBe(t *testing.T) {
	s := halfChanged(t, false, false)
	if a := s.Ask(controller.Request{Kind: controller.RequestFill, Tank: north, Role: controller.RoleOperate, By: "ben"}); a.Accepted || a.Confirm != "" {
		t.Errorf("the role operate was shown a plan to approve: %s", a.Text)
	}
	a := s.askFill(false)
	s.pass(11 * time.Minute)
	if a = s.Ask(controller.Request{Kind: controller.RequestFill, Tank: north, Role: controller.RoleEngineer, By: "ada", Confirm: a.Confirm}); a.Accepted {
		t.Error("a plan of eleven minutes ago was approved")
	}
	s.must(controller.RequestCleaning, "")
	if a := s.askFill(true); a.Accepted {
		t.Error("accepted during a cleaning")
	}
}
