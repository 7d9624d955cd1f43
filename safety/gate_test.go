package safety

import (
	"math"
	"strings"
	"testing"
	"time"

	"leat/dosing"
)

// judge asks for a dose and checks that verdict and clearance agree.
func (f *farm) judge(tank dosing.TankID, p dosing.PumpID, v dosing.Volume) Verdict {
	f.t.Helper()
	plan := dosing.Plan{Tank: tank, Pump: p, Volume: v, Reason: dosing.ReasonPHHigh}
	clearance, verdict := f.g.Judge(f.now, plan)
	if verdict.Allowed != (clearance != nil) || verdict.Allowed != (verdict.Cause == CauseNone) {
		f.t.Fatalf("verdict %+v with clearance %v", verdict, clearance)
	}
	if verdict.Allowed {
		spent, at, ok := clearance.Spend()
		if !ok || spent != plan || at != f.now {
			f.t.Fatalf("the clearance permits %+v at %+v", spent, at)
		}
		if _, _, again := clearance.Spend(); again {
			f.t.Fatal("a clearance was used twice")
		}
	} else if verdict.Detail == "" && Of(verdict.Cause).judged == byPlan {
		f.t.Errorf("%s without figures", verdict.Cause)
	}
	return verdict
}

func (f *farm) wantCause(what string, v Verdict, cause Cause) {
	f.t.Helper()
	if v.Allowed || v.Cause != cause {
		f.t.Errorf("%s: %+v, want %s", what, v, cause)
	}
}

func TestZeroValuesRefuse(t *testing.T) {
	var none *Gate
	var empty Gate
	for name, g := range map[string]*Gate{"no gate": none, "zero gate": &empty, "gate without watch": NewGate(nil), "gate over a zero watch": NewGate(&Watch{})} {
		clearance, verdict := g.Judge(dosing.Instant{}, dosing.Plan{Volume: dosing.Millilitre})
		if clearance != nil || verdict.Allowed || verdict.Cause == CauseNone || verdict.Detail == "" {
			t.Errorf("%s: %+v", name, verdict)
		}
		if v := g.Recheck(dosing.Instant{}, dosing.Plan{}, 1); v.Allowed {
			t.Errorf("%s: recheck allows", name)
		}
		if largest, cause := g.Largest(dosing.Instant{}, 0, 0); largest != 0 || cause == CauseNone {
			t.Errorf("%s: largest %s", name, largest)
		}
		if g.BufferFloor(dosing.Instant{}, 0) != 0 {
			t.Errorf("%s: a floor", name)
		}
	}
	var zero Verdict
	if zero.Allowed || zero.Cause != CauseNone {
		t.Error("the zero verdict allows")
	}
	var clearance *Clearance
	if _, _, ok := clearance.Spend(); ok {
		t.Error("no clearance permits")
	}
	if _, _, ok := new(Clearance).Spend(); ok {
		t.Error("the zero clearance permits")
	}
}

func TestAClearanceIsUsedOnce(t *testing.T) {
	f := newFarm(t)
	clearance, verdict := f.g.Judge(f.now, dosing.Plan{Pump: acidPump, Volume: dosing.Millilitre, Reason: dosing.ReasonPHHigh})
	if _, _, ok := clearance.Spend(); !verdict.Allowed || !ok {
		t.Fatalf("%+v", verdict)
	}
	if plan, _, again := clearance.Spend(); again || plan != (dosing.Plan{}) {
		t.Errorf("used a second time it permits %+v", plan)
	}
}

func TestPlansThatAreNoneAreRefused(t *testing.T) {
	f := newFarm(t, func(s *Settings) { s.Pumps[sulfatePump].Serves = dosing.TankSet(0).With(1) })
	f.wantCause("no such tank", f.judge(7, acidPump, dosing.Millilitre), CauseConfigurationUnsafe)
	f.wantCause("no such pump", f.judge(0, 7, dosing.Millilitre), CauseConfigurationUnsafe)
	f.wantCause("one tank too far", f.judge(2, acidPump, dosing.Millilitre), CauseConfigurationUnsafe)
	f.wantCause("one pump too far", f.judge(0, pumpCount, dosing.Millilitre), CauseConfigurationUnsafe)
	f.wantCause("a tank it does not serve", f.judge(0, sulfatePump, 5*dosing.Millilitre), CauseConfigurationUnsafe)
	f.wantCause("nothing", f.judge(0, acidPump, 0), CauseOrderTooSmall)
	f.wantCause("less than nothing", f.judge(0, acidPump, -dosing.Litre), CauseOrderTooSmall)
	f.wantCause("below the smallest", f.judge(0, acidPump, dosing.Millilitre-1), CauseOrderTooSmall)
	if v := f.judge(0, acidPump, dosing.Millilitre); !v.Allowed {
		t.Errorf("the smallest dose: %+v", v)
	}
}

func TestBufferFloorTrustsNoLearnedValueUpward(t *testing.T) {
	f := newFarm(t)
	for _, c := range []struct {
		m, s          float64
		arrived, seen int     // pools that the loop says have arrived, and that the gate saw answered
		want          float64 // times the commissioned buffer, 1 meq/L per pH
	}{
		{0, 0.55, 0, 0, math.Exp(-0.55)},
		{0.8, 0.2, 2, 1, math.Exp(-0.2)},  // upward, but only two have arrived: not believed
		{0.8, 0.2, 9, 0, math.Exp(-0.2)},  // nothing was seen to answer: a stuck probe teaches the same
		{-0.8, 0.2, 2, 0, math.Exp(-1.0)}, // downward: at once
		{0.8, 0.2, 3, 1, math.Exp(0.4)},   // three, and answered
		{-0.8, 0.2, 3, 1, math.Exp(-1.2)}, // and more pessimistic than the loop
		{5, 0.1, 9, 3, 3},                 // never above three times the commissioned
		{math.NaN(), 0.1, 9, 3, math.Exp(-0.55)},
		{math.Inf(1), 0.1, 9, 3, math.Exp(-0.55)},
		{0.5, math.NaN(), 9, 3, math.Exp(-0.55)},
		{0.5, math.Inf(1), 9, 3, math.Exp(-0.55)},
		{0.5, 0, 9, 3, math.Exp(-0.55)},
		{0.5, -1, 9, 3, math.Exp(-0.55)},
		{0.5, 0.1, -3, 3, math.Exp(-0.1)},
	} {
		f.w.tanks[0].responses.answered = c.seen
		f.w.Learned(0, c.m, c.s, c.arrived)
		if got := f.g.BufferFloor(f.now, 0); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("m %g, s %g after %d arrived and %d answered: floor %.4f, want %.4f", c.m, c.s, c.arrived, c.seen, got, c.want)
		}
	}
	f.w.Learned(0, -800, 0.1, 9)
	if got := f.g.BufferFloor(f.now, 0); got != 0 {
		t.Errorf("a buffer of nothing: %g", got)
	}
	f.w.Learned(0, 0, 0.1, 9)
	f.silence(0, dosing.QuantityPH, true)
	f.pass(time.Minute)
	if got := f.g.BufferFloor(f.now, 0); got != 0 {
		t.Errorf("without a pH reading: %g", got)
	}
}

func TestDoseCapIsVolumeAndRunTime(t *testing.T) {
	f := newFarm(t, func(s *Settings) {
		s.Tanks[0].BufferScale = 50
		s.Caps[acidPump].PerDose = 20 * dosing.Millilitre
		s.Caps[basePump].OnTime = 7 * time.Second
	})
	if v := f.judge(0, acidPump, 20*dosing.Millilitre); !v.Allowed {
		t.Errorf("%+v", v)
	}
	f.wantCause("a microlitre more", f.judge(0, acidPump, 20*dosing.Millilitre+1), CauseDoseCap)
	if v := f.judge(0, basePump, 7*dosing.Millilitre); !v.Allowed {
		t.Errorf("%+v", v)
	}
	f.wantCause("longer than it may run", f.judge(0, basePump, 7*dosing.Millilitre+1), CauseDoseCap)
	if got := volumeIn(1000*time.Hour, dosing.Millilitre); got != 86_400*dosing.Millilitre {
		t.Errorf("a run of a thousand hours delivers %s", got)
	}
}

func TestEffectCapIsATenthOfAPHAtTheBufferFloor(t *testing.T) {
	f := newFarm(t)
	// 1000 L at exp(-0.55) meq/L per pH: 0.10 pH is 57.69 meq, at 10 meq/mL 5.769 mL; near the
	// setpoint it is half of that.
	near, _ := f.g.Largest(f.now, 0, acidPump)
	if half := dosing.FromMillilitres(0.05 * math.Exp(-0.55) * 1000 / 10); near != half {
		t.Errorf("near the setpoint %s, want %s", near, half)
	}
	f.w.Aim(0, dosing.Target{PH: 5.5, EC: 2})
	want := dosing.FromMillilitres(0.1 * math.Exp(-0.55) * 1000 / 10)
	largest, cause := f.g.Largest(f.now, 0, acidPump)
	if largest != want || cause != CauseNone {
		t.Errorf("largest %s, want %s", largest, want)
	}
	if v := f.judge(0, acidPump, largest); !v.Allowed {
		t.Errorf("the largest: %+v", v)
	}
	v := f.judge(0, acidPump, largest+1)
	f.wantCause("a microlitre more", v, CauseEffectCap)
	if !strings.Contains(v.Detail, "pH by 0.10") {
		t.Errorf("detail %q", v.Detail)
	}
	// Stock: 0.10 mS/cm is 100 mL of 1 mS/cm per mL and L in 1000 L.
	if largest, _ := f.g.Largest(f.now, 0, calciumPump); largest != 100*dosing.Millilitre {
		t.Errorf("largest stock %s", largest)
	}
	f.wantCause("more EC at once", f.judge(0, calciumPump, 100*dosing.Millilitre+1), CauseEffectCap)
}

func TestALowerLevelAllowsLessAndAHigherOneNoMore(t *testing.T) {
	f := newFarm(t)
	full, _ := f.g.Largest(f.now, 0, acidPump)
	f.set(0, dosing.QuantityLevel, 900)
	f.pass(15 * time.Second)
	f.set(0, dosing.QuantityLevel, 800)
	f.pass(5 * time.Second)
	low, _ := f.g.Largest(f.now, 0, acidPump)
	f.set(0, dosing.QuantityLevel, 950)
	f.pass(15 * time.Second)
	f.set(0, dosing.QuantityLevel, 1090)
	f.pass(15 * time.Second)
	high, _ := f.g.Largest(f.now, 0, acidPump)
	if math.Abs(low.Millilitres()-0.8*full.Millilitres()) > 0.002 || high != full {
		t.Errorf("%s at 800 L, %s at 1000 L, %s at 1090 L", low, full, high)
	}
}

func TestOneSmallestDoseAlwaysPassesTheEffectCap(t *testing.T) {
	// 4.9 mL is worth 0.049 pH at the commissioned buffer and 0.15 at this floor.
	f := newFarm(t, func(s *Settings) { s.Pumps[acidPump].MinDose = 4900 * dosing.Microlitre })
	f.w.Aim(0, dosing.Target{PH: 5.5, EC: 2})
	f.w.Learned(0, -math.Ln2*1.6, 0.05, 5)
	if largest, cause := f.g.Largest(f.now, 0, acidPump); largest != 4900*dosing.Microlitre || cause != CauseNone {
		t.Errorf("largest %s (%s)", largest, cause)
	}
	f.dose(0, acidPump, 4900*dosing.Microlitre)
	if largest, cause := f.g.Largest(f.now, 0, acidPump); largest != 0 || cause != CauseEffectCap {
		t.Errorf("with one on its way: %s (%s)", largest, cause)
	}
	f.set(0, dosing.QuantityPH, 5.7)
	f.pass(12 * time.Minute)
	if largest, cause := f.g.Largest(f.now, 0, acidPump); largest != 4900*dosing.Microlitre {
		t.Errorf("when it has settled: %s (%s)", largest, cause)
	}
	worth := newFarm(t, func(s *Settings) { s.Pumps[acidPump].MinDose = 5100 * dosing.Microlitre })
	worth.w.Aim(0, dosing.Target{PH: 5.5, EC: 2})
	worth.w.Learned(0, -math.Ln2*1.6, 0.05, 5)
	if largest, cause := worth.g.Largest(worth.now, 0, acidPump); largest != 0 || cause != CauseEffectCap {
		t.Errorf("worth more than 0.05 pH: %s (%s)", largest, cause)
	}
}

func TestNearTheSetpointACoarsePumpStillGivesItsSmallestDose(t *testing.T) {
	f := newFarm(t, func(s *Settings) { s.Pumps[acidPump].MinDose = 4900 * dosing.Microlitre })
	f.set(0, dosing.QuantityPH, 5.86)
	f.w.Aim(0, dosing.Target{PH: 5.7, EC: 2})
	f.w.Learned(0, -math.Ln2*0.5, 0.05, 5)
	f.dose(0, acidPump, 4900*dosing.Microlitre)
	if largest, cause := f.g.Largest(f.now, 0, acidPump); largest != 4900*dosing.Microlitre {
		t.Errorf("largest %s (%s)", largest, cause)
	}
}

func TestInTransitCapCountsWhatTheProbesHaveNotSeen(t *testing.T) {
	f := newFarm(t)
	f.w.Aim(0, dosing.Target{PH: 5.0, EC: 3})
	given := dosing.Volume(0)
	for {
		largest, cause := f.g.Largest(f.now, 0, acidPump)
		if largest == 0 {
			if cause != CauseInTransitCap {
				t.Fatalf("stopped by %s", cause)
			}
			break
		}
		key := f.open(0, acidPump, largest)
		f.w.Closed(f.now, 0, acidPump, key, FateKnown, largest)
		given += largest
	}
	most := dosing.FromMillilitres(0.3 * math.Exp(-0.55) * 1000 / 10)
	if given > most || given < most-dosing.Millilitre {
		t.Errorf("%s on its way at once, at most %s", given, most)
	}
	v := f.judge(0, acidPump, dosing.Millilitre)
	f.wantCause("more", v, CauseInTransitCap)
	if !strings.Contains(v.Detail, "0.30") && !strings.Contains(v.Detail, "0.29") {
		t.Errorf("detail %q", v.Detail)
	}
	f.pass(150 * time.Second)
	if largest, cause := f.g.Largest(f.now, 0, acidPump); largest == 0 {
		t.Errorf("when most of it has mixed: %s", cause)
	}
	for {
		largest, _ := f.g.Largest(f.now, 0, calciumPump)
		if largest == 0 {
			break
		}
		key := f.open(0, calciumPump, largest)
		f.w.Closed(f.now, 0, calciumPump, key, FateKnown, largest)
	}
	f.wantCause("EC on its way", f.judge(0, calciumPump, 5*dosing.Millilitre), CauseInTransitCap)
	if v := f.judge(0, acidPump, dosing.Millilitre); !v.Allowed {
		t.Errorf("EC on its way stops acid: %+v", v)
	}
}

func TestBaseOnItsWayIsNoCreditWhileNobodyKnowsWhetherItCame(t *testing.T) {
	f := newFarm(t)
	f.w.Aim(0, dosing.Target{PH: 5.0, EC: 2})
	before, _ := f.g.Largest(f.now, 0, acidPump)
	f.gave(0, basePump, 20*dosing.Millilitre)
	f.pass(121 * time.Second) // concentrates apart
	after, cause := f.g.Largest(f.now, 0, acidPump)
	if after != before || cause != CauseNone {
		t.Errorf("largest acid %s, with base on its way %s (%s)", before, after, cause)
	}
	s := sight{watch: f.w, now: f.now, tank: &f.w.tanks[0], pump: &f.s.Pumps[acidPump], plan: dosing.Plan{Pump: acidPump}}
	f.totals.Count(dosing.Dose{Key: 77, Tank: 0, Pump: basePump, Volume: 20 * dosing.Millilitre, Up: f.now.Up, Open: true})
	f.totals.Count(dosing.Dose{Key: 78, Tank: 0, Pump: acidPump, Volume: 5 * dosing.Millilitre, Up: f.now.Up, Open: true})
	s.predict()
	settled := 0.2 * math.Exp(-61.0/60)
	if math.Abs(s.transit.base-settled-0.2) > 1e-9 || math.Abs(s.transit.doubtBase-0.2) > 1e-9 || math.Abs(s.transit.doubtAcid-0.05) > 1e-9 {
		t.Errorf("%+v", s.transit)
	}
	_, transit := s.effects()
	if want := dosing.FromMillilitres((0.3*s.floor - 0.05 + settled) * 100); transit != want {
		t.Errorf("in transit %s, want %s", transit, want)
	}
}

func TestBaseOnItsWayGivesAcidNoHurryThatAStrongBufferTakesAway(t *testing.T) {
	f := newFarm(t)
	f.w.Learned(0, 0.8, 0.1, 3) // a buffer 1.8 times the commissioned
	f.w.tanks[0].responses.answered = 1
	f.gave(0, basePump, 20*dosing.Millilitre)
	f.pass(time.Second)
	// 0.2 meq/L lifts pH by 0.2 at the commissioned buffer, which would be a hurry, but
	// by 0.11 at the learned one.
	s := sight{watch: f.w, now: f.now, tank: &f.w.tanks[0], pump: &f.s.Pumps[acidPump], plan: dosing.Plan{Pump: acidPump}}
	s.predict()
	if rise := s.pH - f.w.tanks[0].group[dosing.QuantityPH].smooth; math.Abs(rise-0.2/math.Exp(0.6)) > 1e-9 {
		t.Errorf("base on its way lifts pH by %.3f", rise)
	}
	if !s.counter() {
		t.Error("acid may follow base at once, though pH will be 0.11 off")
	}
}

func TestTopUpsAlkalinityIsMetButForNoMoreThanThreeTenths(t *testing.T) {
	f := newFarm(t)
	before, _ := f.g.Largest(f.now, 0, acidPump)
	f.set(0, dosing.QuantityLevel, 960)
	f.pass(5 * time.Minute)
	f.set(0, dosing.QuantityTopUp, 1)
	f.pass(10 * time.Second)
	f.set(0, dosing.QuantityLevel, 1000)
	f.pass(10 * time.Second)
	after, _ := f.g.Largest(f.now, 0, acidPump)
	// 40 L of 2 meq/L in 1000 L: 80 meq more, 8 mL.
	if got := (after - before).Millilitres(); math.Abs(got-8) > 0.01 {
		t.Errorf("from %s to %s", before, after)
	}
	f.set(0, dosing.QuantityTopUp, 0)
	f.pass(6 * time.Minute)
	if later, _ := f.g.Largest(f.now, 0, acidPump); later != before {
		t.Errorf("a mixing time later %s", later)
	}
	f.set(0, dosing.QuantityTopUp, 1)
	f.pass(10 * time.Second)
	for _, level := range []float64{1030, 1060, 1090} {
		f.set(0, dosing.QuantityLevel, level)
		f.pass(5 * time.Second)
	}
	f.w.tanks[0].water.inflow.add(f.now.Up, 500, time.Second)
	s := sight{watch: f.w, now: f.now, tank: &f.w.tanks[0], pump: &f.s.Pumps[acidPump]}
	s.predict()
	if math.Abs(s.credit-0.3*s.floor) > 1e-12 {
		t.Errorf("credit %.3f, at most %.3f meq/L", s.credit, 0.3*s.floor)
	}
}

func TestALevelThatRisesWithoutTheValveIsNoTopUp(t *testing.T) {
	f := newFarm(t)
	before, _ := f.g.Largest(f.now, 0, acidPump)
	f.set(0, dosing.QuantityLevel, 1080)
	f.pass(time.Minute)
	if after, _ := f.g.Largest(f.now, 0, acidPump); after != before {
		t.Errorf("from %s to %s", before, after)
	}
	f.set(0, dosing.QuantityTopUp, 1)
	f.pass(time.Minute)
	if after, _ := f.g.Largest(f.now, 0, acidPump); after != before {
		t.Errorf("a valve without a rise: from %s to %s", before, after)
	}
}

func TestHourAndDayCapsCountWhatIsOpenAndGivenByHand(t *testing.T) {
	f := newFarm(t, func(s *Settings) { s.Caps[calciumPump].PerHour = 60 * dosing.Millilitre })
	f.w.ByHand(dosing.Dose{Tank: 1, Pump: calciumPump, Volume: 30 * dosing.Millilitre, Up: f.now.Up})
	v := f.judge(0, calciumPump, 31*dosing.Millilitre)
	f.wantCause("beyond the hour", v, CauseHourlyCap)
	if !strings.Contains(v.Detail, "30 mL in the last hour") {
		t.Errorf("detail %q", v.Detail)
	}
	if largest, _ := f.g.Largest(f.now, 0, calciumPump); largest != 30*dosing.Millilitre {
		t.Errorf("largest %s", largest)
	}
	day := newFarm(t, func(s *Settings) { s.Caps[calciumPump].PerDay = 60 * dosing.Millilitre })
	day.w.ByHand(dosing.Dose{Tank: 1, Pump: calciumPump, Volume: 40 * dosing.Millilitre, Up: day.now.Up})
	day.wantCause("beyond the day", day.judge(0, calciumPump, 21*dosing.Millilitre), CauseDailyCap)
}

func TestStockCapIsWhatTheContainerHolds(t *testing.T) {
	f := newFarm(t, func(s *Settings) { s.Pumps[calciumPump].Container = 0 })
	f.set(0, dosing.QuantityStockLevel, 0.06)
	f.pass(5 * time.Second)
	if largest, cause := f.g.Largest(f.now, 0, calciumPump); largest != 60*dosing.Millilitre || cause != CauseNone {
		t.Errorf("%s %s", largest, cause)
	}
	f.wantCause("more than it holds", f.judge(0, calciumPump, 61*dosing.Millilitre), CauseContainerCap)
}

func TestAcidBelowTheSetpointAndStockAboveItAreTheWrongWay(t *testing.T) {
	f := newFarm(t)
	f.noise = 0
	f.pass(time.Minute)
	for _, c := range []struct {
		target           dosing.Target
		acid, base, feed bool
	}{
		{dosing.Target{PH: 5.8, EC: 2}, true, true, true},
		{dosing.Target{PH: 5.84, EC: 1.89}, true, true, true},
		{dosing.Target{PH: 5.86, EC: 1.87}, false, true, false},
		{dosing.Target{PH: 5.74, EC: 0.5}, true, false, false},
		{dosing.Target{}, false, false, false},
		{dosing.Target{PH: dosing.PH(math.NaN()), EC: 2}, false, false, false},
		{dosing.Target{PH: 5.8, EC: dosing.Conductivity(math.NaN())}, false, false, false},
		{dosing.Target{PH: 58, EC: 2}, false, false, false},
	} {
		f.w.Aim(0, c.target)
		want := [pumpCount]bool{c.acid, c.base, c.feed, c.feed}
		if got := f.free(0); got != want {
			t.Errorf("target %+v: %v, want %v", c.target, got, want)
		}
		for p := range pumpCount {
			if !want[p] {
				f.wantCause("wrong way", f.judge(0, p, f.s.Pumps[p].MinDose), CauseAwayFromSetpoint)
			}
		}
	}
}

func TestTheRestOfABlendIsFinishedInsideTheBand(t *testing.T) {
	f := newFarm(t)
	f.noise = 0
	f.pass(time.Minute)
	f.w.Aim(0, dosing.Target{PH: 5.8, EC: 1.86})
	f.wantCause("a new blend", f.judge(0, calciumPump, 5*dosing.Millilitre), CauseAwayFromSetpoint)
	if _, v := f.g.Judge(f.now, dosing.Plan{Tank: 0, Pump: calciumPump, Volume: 5 * dosing.Millilitre, Reason: dosing.ReasonBlendOwed}); !v.Allowed {
		t.Errorf("the rest of a blend: %+v", v)
	}
}

func TestWhatIsOnItsWayCountsForTheDirection(t *testing.T) {
	f := newFarm(t)
	f.noise = 0
	f.pass(time.Minute)
	f.w.Aim(0, dosing.Target{PH: 5.5, EC: 2})
	f.dose(0, acidPump, 5*dosing.Millilitre)
	f.w.Aim(0, dosing.Target{PH: 5.75, EC: 2})
	v := f.judge(0, acidPump, dosing.Millilitre)
	if f.w.Aim(0, dosing.Target{PH: 5.8, EC: 2}); v.Cause == CauseAwayFromSetpoint {
		t.Errorf("still above: %+v", v)
	}
	f.wantCause("what was given suffices", f.judge(0, acidPump, dosing.Millilitre), CauseAwayFromSetpoint)
}

func TestAcidAndBaseDoNotFight(t *testing.T) {
	f := newFarm(t)
	f.noise = 0
	f.pass(time.Minute)
	f.w.Aim(0, dosing.Target{PH: 5.5, EC: 2})
	f.dose(0, acidPump, 4*dosing.Millilitre)
	f.w.Aim(0, dosing.Target{PH: 5.81, EC: 2}) // acid on its way or not, the reading stands below
	v := f.judge(0, basePump, dosing.Millilitre)
	f.wantCause("base right after acid", v, CauseAcidBaseChangeover)
	if !strings.Contains(v.Detail, "to go") {
		t.Errorf("detail %q", v.Detail)
	}
	f.pass(121 * time.Second)
	f.wantCause("two minutes after acid", f.judge(0, basePump, dosing.Millilitre), CauseAcidBaseChangeover)
	f.w.Aim(0, dosing.Target{PH: 6.0, EC: 2})
	if v := f.judge(0, basePump, dosing.Millilitre); !v.Allowed {
		t.Errorf("beyond 0.15 pH it need not wait: %+v", v)
	}
	f.w.Aim(0, dosing.Target{PH: 5.82, EC: 2})
	f.pass(21 * time.Minute)
	f.wantCause("20 min later within 0.05 pH", f.judge(0, basePump, dosing.Millilitre), CauseAcidBaseChangeover)
	f.w.Aim(0, dosing.Target{PH: 5.87, EC: 2})
	if v := f.judge(0, basePump, dosing.Millilitre); !v.Allowed {
		t.Errorf("20 min later beyond 0.05 pH: %+v", v)
	}
	f.dose(0, basePump, dosing.Millilitre)
	f.pass(121 * time.Second)
	f.w.Aim(0, dosing.Target{PH: 5.75, EC: 2})
	f.wantCause("acid right after base", f.judge(0, acidPump, dosing.Millilitre), CauseAcidBaseChangeover)
}

func TestAcidStillOnItsWayHoldsBaseHoweverLongAgoItWasGiven(t *testing.T) {
	f := newFarm(t, func(s *Settings) { s.Tanks[0].TimeConstant = 30 * time.Minute })
	f.noise = 0
	f.pass(time.Minute)
	f.w.Aim(0, dosing.Target{PH: 5.5, EC: 2})
	f.dose(0, acidPump, 5*dosing.Millilitre)
	f.pass(25 * time.Minute)
	f.w.Aim(0, dosing.Target{PH: 5.83, EC: 2})
	f.wantCause("25 min after, half of it unmixed", f.judge(0, basePump, dosing.Millilitre), CauseAcidBaseChangeover)
}

func TestConcentratesThatMustNotMeetAreKeptApart(t *testing.T) {
	f := newFarm(t)
	f.dose(0, calciumPump, 20*dosing.Millilitre)
	v := f.judge(0, sulfatePump, 5*dosing.Millilitre)
	f.wantCause("sulfate after calcium", v, CauseIncompatibleWait)
	if v := f.judge(0, calciumPump, 5*dosing.Millilitre); !v.Allowed {
		t.Errorf("calcium after calcium: %+v", v)
	}
	if v := f.judge(1, sulfatePump, 5*dosing.Millilitre); !v.Allowed {
		t.Errorf("another tank with a line of its own: %+v", v)
	}
	f.pass(118 * time.Second)
	f.wantCause("almost mixed away", f.judge(0, sulfatePump, 5*dosing.Millilitre), CauseIncompatibleWait)
	f.pass(3 * time.Second)
	if v := f.judge(0, sulfatePump, 5*dosing.Millilitre); !v.Allowed {
		t.Errorf("one dead time and lag later: %+v", v)
	}
	shared := newFarm(t, func(s *Settings) { s.LineVolume = 200 * dosing.Millilitre })
	shared.dose(0, calciumPump, 20*dosing.Millilitre)
	shared.wantCause("a shared line", shared.judge(1, sulfatePump, 5*dosing.Millilitre), CauseIncompatibleWait)
}

func TestNotANumberNeverPassesTheGate(t *testing.T) {
	f := newFarm(t)
	bad := []float64{math.NaN(), math.Inf(1), math.Inf(-1)}
	for _, v := range bad {
		f.w.tanks[0].group[dosing.QuantityPH].value = v
		if floor := f.g.BufferFloor(f.now, 0); math.IsNaN(floor) || math.IsInf(floor, 0) {
			t.Errorf("floor %g", floor)
		}
		if volumeOf(v, 1) != 0 && !math.IsInf(v, 1) {
			t.Errorf("a room of %g allows %s", v, volumeOf(v, 1))
		}
		if volumeOf(1, v) != 0 {
			t.Errorf("an effect of %g allows %s", v, volumeOf(1, v))
		}
	}
	for _, curve := range []line{line(math.NaN()), line(math.Inf(1)), line(0), line(-1)} {
		f.w.tanks[0].curve = curve
		for _, p := range []dosing.PumpID{acidPump, basePump} {
			if largest, cause := f.g.Largest(f.now, 0, p); largest != 0 || cause == CauseNone {
				t.Errorf("curve %g: %s", float64(curve), largest)
			}
		}
	}
	f.w.tanks[0].curve = line(1)
	for _, smooth := range bad {
		s := sight{watch: f.w, now: f.now, tank: &f.w.tanks[0], pump: &f.s.Pumps[acidPump]}
		f.w.tanks[0].group[dosing.QuantityPH].smooth = smooth
		s.predict()
		if cause := s.direction(); cause != CauseAwayFromSetpoint && !math.IsInf(smooth, 1) {
			t.Errorf("pH %g is the right way", smooth)
		}
	}
}

// Base is stopped, pH lies far below: phosphate would only lower it further.
func TestStockThatWouldDrivePHFurtherOutOfTheHarmBandWaits(t *testing.T) {
	for _, c := range []struct {
		pH, acid float64
		right    bool
	}{{5.2, 0.1, false}, {5.4, 0.1, true}, {5.2, 0, true}, {5.2, -0.1, true}, {6.4, -0.1, false}, {6.4, 0.1, true}} {
		f := freshFarm(t, func(s *Settings) { s.Pumps[sulfatePump].AcidPerML = c.acid })
		f.set(0, dosing.QuantityEC, 1.9)
		f.set(0, dosing.QuantityPH, c.pH)
		f.pass(3 * time.Minute)
		v := f.judge(0, sulfatePump, 5*dosing.Millilitre)
		if v.Allowed != c.right || !c.right && (v.Cause != CauseAwayFromSetpoint || !strings.Contains(v.Detail, "further from 5.80")) {
			t.Errorf("pH %.1f, a stock of %+.1f meq/mL: %+v", c.pH, c.acid, v)
		}
	}
}
