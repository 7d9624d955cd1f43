package safety

import (
	"testing"
	"time"

	"leat/dosing"
)

// Acid and base by turns within the hour: each next turn finds less that may go unseen.
func TestReagentsThatTakeTurnsLeaveLessUnseen(t *testing.T) {
	f := carbonated(t)
	f.pour(time.Minute)
	usual := f.w.UnseenMost(0, dosing.RoleAcid)
	turn := func(pump dosing.PumpID, target dosing.PH) {
		f.w.Aim(0, dosing.Target{PH: target, EC: 2})
		f.pass(25 * time.Minute)
		f.dose(0, pump, dosing.Millilitre)
		f.pass(time.Minute)
	}
	turn(basePump, 6.5)
	if most := f.w.UnseenMost(0, dosing.RoleAcid); most != usual {
		t.Errorf("after one turn %.4f meq/L may be unseen, %.4f before: once is no swing", most, usual)
	}
	turn(acidPump, 5)
	if most := f.w.UnseenMost(0, dosing.RoleAcid); most > usual*0.34 || most < usual*0.33 {
		t.Errorf("after acid, base and acid %.4f meq/L may be unseen, want a third of %.4f", most, usual)
	}
	f.pass(2*time.Hour + time.Minute)
	if most := f.w.UnseenMost(0, dosing.RoleAcid); most != usual {
		t.Errorf("two quiet hours later %.4f meq/L may be unseen, want %.4f again", most, usual)
	}
}

// What rises while base is still at work is no word about acid.
func TestMovementByTheOppositeReagentReleasesNothing(t *testing.T) {
	released := func(base bool) bool {
		f := thirsty(t)
		f.pour(8 * time.Minute)
		f.w.SetMode(f.now, 0, ModeObserving)
		f.pass(10 * time.Minute)
		if base {
			f.w.ByHand(dosing.Dose{Tank: 0, Pump: basePump, Key: 77, Volume: 5 * dosing.Millilitre, Up: f.now.Up})
		}
		before := f.w.Unseen(0).Acid
		f.set(0, dosing.QuantityPH, 5.88)
		f.pass(4 * time.Minute)
		return f.w.Unseen(0).Acid < before/2
	}
	if !released(false) {
		t.Error("a reading that rises by itself is alive, and what arrived was not released")
	}
	if released(true) {
		t.Error("base that was just poured in lifts the reading, and that released acid")
	}
}
