package controller_test

import (
	"strings"
	"testing"
	"time"

	"leat/controller"
	"leat/dosing"
	"leat/safety/ledger"
)

func (s *stage) refill(pump dosing.PumpID, ml float64) controller.Answer {
	return s.Ask(controller.Request{Kind: controller.RequestRefill, Pump: pump, Volume: dosing.FromMillilitres(ml), Batch: "B7", Note: "38 %", By: "Ada", From: "page", Role: controller.RoleOperate})
}

func TestARefillTellsWhatIsLeftThroughDosesAndRestarts(t *testing.T) {
	s := dosingStage(t)
	acid := func() controller.PumpView { return s.Core.View(s.Now()).Pumps[0] }
	if left := acid().Left; left >= 0 {
		t.Errorf("%v left although no refill was entered", left)
	}
	if a := s.refill(0, 600); !a.Accepted || !strings.Contains(a.Text, "holds 600 mL") {
		t.Fatalf("refill: %+v", a)
	}
	before := acid()
	if before.Left != dosing.FromMillilitres(600) || before.Batch != "B7" {
		t.Errorf("after the refill %+v", before)
	}
	if !s.until(3*time.Hour, func() bool { return acid().Ever > before.Ever }) {
		t.Fatal("no acid was dosed in three hours")
	}
	s.pass(time.Minute)
	s.restart(time.Minute)
	if v := acid(); v.Left != before.Left-(v.Ever-before.Ever) || v.Left >= before.Left {
		t.Errorf("%s left of %s after %s", v.Left, before.Left, v.Ever-before.Ever)
	}
}

func TestARefillUnlearnsNothingOfTheTank(t *testing.T) {
	s := dosingStage(t)
	s.pass(3 * time.Hour)
	before := s.view(north).Settled
	s.refill(0, 600)
	if after := s.view(north).Settled; after.BufferScale != before.BufferScale || after.BufferScaleSpread != before.BufferScaleSpread || after.ECGain != before.ECGain {
		t.Errorf("learned %+v, after a refill %+v", before, after)
	}
}

func TestARefillThatCannotBeIsRefused(t *testing.T) {
	s := newStage(t, &scenario{})
	for pump, ml := range map[dosing.PumpID]float64{0: 0, 1: 1e9, 99: 100} {
		if a := s.refill(pump, ml); a.Accepted {
			t.Errorf("%v mL of pump %d: %s", ml, pump, a.Text)
		}
	}
}

func TestAMarkStandsInTheLedgerWithItsNote(t *testing.T) {
	s := newStage(t, &scenario{})
	if a := s.ask(controller.RequestMark, ""); a.Accepted {
		t.Error("a mark of nothing was taken")
	}
	s.must(controller.RequestMark, "lamps up by a tenth")
	s.Sync()
	found := false
	_, _, err := ledger.Verify(s.store, func(e ledger.Entry) error {
		found = found || e.Change == ledger.ChangeMark && e.Note == "lamps up by a tenth" && e.By == "Ada" && e.Tank == "north"
		return nil
	})
	if err != nil || !found {
		t.Errorf("found %v, %v", found, err)
	}
}
