package controller_test

import (
	"testing"
	"time"

	"leat/controller"
	"leat/dosing"
)

// One order runs at a time in a station. Whichever tank stands first in the file, both
// come as far.
func TestTanksOfAStationTakeTurns(t *testing.T) {
	s := newStage(t, &scenario{})
	for tank := range s.file.Settings.Tanks {
		if a := s.Ask(controller.Request{Kind: controller.RequestArm, Tank: dosing.TankID(tank), By: "Ada", From: "page", Role: controller.RoleEngineer}); !a.Accepted {
			t.Fatal(a.Text)
		}
	}
	s.pass(40 * time.Minute)
	given := make([]int, len(s.file.Settings.Tanks))
	for _, o := range s.orders {
		given[o.tank]++
	}
	if len(given) < 2 || given[0] < 20 {
		t.Fatalf("orders by tank %v: this tests nothing", given)
	}
	for tank, n := range given {
		if 3*n < 2*given[0] || 2*n > 3*given[0] {
			t.Errorf("orders by tank %v: tank %d has no fair share", given, tank)
		}
	}
}
