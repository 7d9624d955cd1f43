package safety

import (
	"math"
	"strings"
	"testing"
	"time"

	"leat/dosing"
)

// What is on its way counts for most where it does what the dose does, and for no
// more than was commissioned where it does the opposite.
func TestThePredictionIsPessimisticForEachReagent(t *testing.T) {
	f := newFarm(t)
	f.noise = 0
	f.pass(10 * time.Minute)
	floor := math.Exp(-0.55)
	given := func(p dosing.PumpID) { // 5 mL are 0.05 meq/L, all of it unseen yet
		f.gave(0, p, 5*dosing.Millilitre)
	}
	want := func(what string, p dosing.PumpID, pH float64) {
		t.Helper()
		s := sight{watch: f.w, now: f.now, tank: &f.w.tanks[0], pump: &f.s.Pumps[p], plan: dosing.Plan{Pump: p}}
		s.predict()
		if math.Abs(s.pH-pH) > 1e-6 {
			t.Errorf("%s, for %s: pH will settle at %.4f, want %.4f", what, f.s.Pumps[p].Name, s.pH, pH)
		}
	}
	want("nothing on its way", acidPump, 5.8)
	want("nothing on its way", basePump, 5.8)
	given(acidPump)
	want("acid on its way", acidPump, 5.8-0.05/floor)
	want("acid on its way", basePump, 5.8-0.05)
	want("acid on its way", calciumPump, 5.8-0.05/floor)
	given(basePump)
	given(basePump)
	want("more base than acid", acidPump, 5.8+0.05)
	want("more base than acid", basePump, 5.8+0.05/floor)
	f.w.tanks[0].water.inflow.add(f.now.Up, 10, time.Second) // 10 L of 2 meq/L: 0.02 meq/L
	want("base and top-up", acidPump, 5.8+0.07)
	want("base and top-up", basePump, 5.8+0.07/floor)
}

func TestEachTankKeepsItsOwnConcentratesApart(t *testing.T) {
	f := newFarm(t)
	f.dose(1, calciumPump, 20*dosing.Millilitre)
	f.wantCause("the second tank", f.judge(1, sulfatePump, 5*dosing.Millilitre), CauseIncompatibleWait)
	if v := f.judge(0, sulfatePump, 5*dosing.Millilitre); !v.Allowed {
		t.Errorf("the first tank: %+v", v)
	}
}

func TestAWaitNamesTheTimeThatIsLeft(t *testing.T) {
	f := newFarm(t)
	f.noise = 0
	f.pass(2 * time.Minute)
	f.dose(0, calciumPump, 20*dosing.Millilitre)
	f.pass(59 * time.Second) // a minute since it ended, of two
	if v := f.judge(0, sulfatePump, 5*dosing.Millilitre); !strings.Contains(v.Detail, "60 s to go") {
		t.Errorf("%q", v.Detail)
	}
	f.pass(2 * time.Minute)
	f.dose(0, acidPump, dosing.Millilitre)
	f.pass(10*time.Minute - time.Second)
	if v := f.judge(0, basePump, dosing.Millilitre); !strings.Contains(v.Detail, "10 min to go") {
		t.Errorf("%s %q", v.Cause, v.Detail)
	}
}

func TestTheSameReagentAgainIsNoCounterReagent(t *testing.T) {
	f := newFarm(t)
	f.noise = 0
	f.pass(2 * time.Minute)
	f.dose(0, acidPump, dosing.Millilitre)
	f.pass(25 * time.Minute)
	f.w.Aim(0, dosing.Target{PH: 5.9, EC: 2})
	f.dose(0, basePump, dosing.Millilitre)
	f.pass(25 * time.Minute)
	f.w.Aim(0, dosing.Target{PH: 5.81, EC: 2})
	if v := f.judge(0, basePump, dosing.Millilitre); !v.Allowed {
		t.Errorf("base after base, acid long ago: %+v", v)
	}
	f.w.Aim(0, dosing.Target{PH: 5.79, EC: 2})
	f.wantCause("acid after base within 0.05 pH", f.judge(0, acidPump, dosing.Millilitre), CauseAcidBaseChangeover)
}

// hill is a curve that buffers most at pH 7, as phosphate does.
type hill struct{ line }

func (hill) Buffer(pH float64) float64 { return 3 - math.Abs(pH-7) }

func TestAProbeThatWronglyReadsSevenNeverEnlargesADose(t *testing.T) {
	f := newFarm(t)
	f.noise = 0
	f.w.tanks[0].curve = hill{1}
	f.drift(0, dosing.QuantityPH, 7)
	f.pass(10 * time.Second)
	// Between 7 and the setpoint 5.8 the hill is lowest at the setpoint: 1.8 meq/L per pH.
	if floor := f.g.BufferFloor(f.now, 0); math.Abs(floor-1.8*math.Exp(-0.55)) > 1e-9 {
		t.Errorf("floor %.4f, want that at the setpoint, %.4f", floor, 1.8*math.Exp(-0.55))
	}
}

func TestStockOnItsWayCountsForTheDirection(t *testing.T) {
	f := newFarm(t)
	f.w.Aim(0, dosing.Target{PH: 5.8, EC: 1.96})
	if v := f.judge(0, calciumPump, 5*dosing.Millilitre); !v.Allowed {
		t.Fatalf("0.06 mS/cm below: %+v", v)
	}
	f.w.ByHand(dosing.Dose{Tank: 0, Pump: calciumPump, Volume: 95 * dosing.Millilitre, Up: f.now.Up})
	f.wantCause("0.095 mS/cm on its way", f.judge(0, calciumPump, 5*dosing.Millilitre), CauseAwayFromSetpoint)
}
