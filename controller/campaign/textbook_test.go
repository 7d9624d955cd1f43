package campaign

import (
	"math"
	"testing"
	"time"

	"leat/controller"
	"leat/controller/sim"
	"leat/dosing"
	"leat/dosing/chem"
	"leat/safety/ledger"
)

// Titration linearity. pH is steered in acid needed, so that a loop has one gain at
// every pH: an amount of acid that truly goes in must count as the same amount of
// acid needed from pH 5 to 7. True is the whole chemistry of a water half as strong
// again in salts as the one the curve is drawn for, with the weak acids that it is
// told; a factor common to all pH is what the buffer scale is for.
func TestTheGainOfALoopIsTheSameFromPH5To7(t *testing.T) {
	water := chem.Totals{NO3: 12, K: 6, Ca: 3.5, Mg: 1.5, SO4: 1.5, P: 1.2, NH4: 0.5, DIC: 0.4, Cl: 0.5}
	drawn := dosing.Tank{Phosphate: 1.2, Ammonium: 0.5, Carbonate: 0.4}
	curve, err := chem.NewCurve(drawn.Expected(), referenceTemp)
	if err != nil {
		t.Fatal(err)
	}
	var solver chem.Solver
	const step = 0.02 // meq/L
	acidFor := func(ph float64) chem.Totals {
		low, high := -20.0, 20.0
		for range 60 {
			middle := (low + high) / 2
			var r chem.Result
			if err := solver.Solve(ptr(water.Add(chem.Totals{NO3: 1}, middle)), chem.Conditions{TempC: referenceTemp, OnlyHere: true}, &r); err != nil || r.PH > ph {
				low = middle
			} else {
				high = middle
			}
		}
		return water.Add(chem.Totals{NO3: 1}, low)
	}
	least, most := math.Inf(1), math.Inf(-1)
	for ph := 5.0; ph <= 7.001; ph += 0.1 {
		at := acidFor(ph)
		var before, after chem.Result
		if err := solver.Solve(&at, chem.Conditions{TempC: referenceTemp, OnlyHere: true}, &before); err != nil {
			t.Fatal(err)
		}
		if err := solver.Solve(ptr(at.Add(chem.Totals{NO3: 1}, step)), chem.Conditions{TempC: referenceTemp, OnlyHere: true}, &after); err != nil {
			t.Fatal(err)
		}
		gain := (curve.AcidNeeded(before.PH, 5.8) - curve.AcidNeeded(after.PH, 5.8)) / step
		least, most = min(least, gain), max(most, gain)
	}
	t.Logf("an amount of acid counts as %.3f to %.3f of itself", least, most)
	if !(most/least <= 1.10) {
		t.Errorf("the gain from pH 5 to 7 lies between %.3f and %.3f: more than 10 %% apart", least, most)
	}
}

func ptr[T any](v T) *T { return &v }

// begun is a night under way: the daemon is armed and two hours have passed.
type begun struct {
	*sim.Night
	scene *Scene
	store *ledger.Memory
}

func beginNight(t *testing.T, seed uint64) *begun {
	t.Helper()
	s := fourHours(t, seed)
	farm, err := sim.New(s.Settings, s.Topics, s.Wires, s.Options)
	if err != nil {
		t.Fatal(err)
	}
	b := &begun{scene: s, store: &ledger.Memory{}}
	if b.Night, err = sim.NewNight(s.Settings, s.Topics, s.Feeds, farm, b.store, evening); err != nil {
		t.Fatal(err)
	}
	b.Run(s.Options.Rest, nil)
	b.Arm()
	b.Run(2*time.Hour, nil)
	return b
}

func (b *begun) ask(t *testing.T, kind controller.RequestKind) {
	t.Helper()
	if a := b.Ask(controller.Request{Kind: kind, By: "night", From: "page", Role: controller.RoleEngineer}); !a.Accepted {
		t.Fatalf("%v is refused: %s", kind, a.Text)
	}
}

// excursion runs on and returns how far true pH went below and above its setpoint.
func (b *begun) excursion(d time.Duration) (below, above float64) {
	b.Run(d, func(now dosing.Instant) {
		ph, _ := b.Farm.Bulk(0)
		off := ph - float64(b.Core.Target(0).PH)
		below, above = max(below, -off), max(above, off)
	})
	return below, above
}

func (b *begun) given() (acid, base float64) {
	acid, base, _ = given(b.Farm, b.scene.Settings.Pumps(), 0)
	return acid, base
}

func TestAHoldOfTwoHoursWindsNothingUp(t *testing.T) {
	for _, seed := range []uint64{6, 5, 11} {
		b := beginNight(t, seed)
		b.ask(t, controller.RequestPause)
		before := b.Core.Estimate(b.Now(), 0).DriftAcid
		b.Run(2*time.Hour, nil)
		ph, _ := b.Farm.Bulk(0)
		held := ph - float64(b.Core.Target(0).PH)
		during := b.Core.Estimate(b.Now(), 0).DriftAcid
		b.ask(t, controller.RequestResume)
		below, above := b.excursion(2 * time.Hour)
		t.Logf("seed %d: after the hold pH was %+.2f off, then at most %.3f below and %.3f above; drift %.3f before, %.3f at the end of it", seed, held, below, above, before, during)
		beyond := below
		if held < 0 {
			beyond = above
		}
		if beyond > 0.10 {
			t.Errorf("seed %d: %.3f pH beyond the setpoint after a hold", seed, beyond)
		}
		ph, _ = b.Farm.Bulk(0)
		if off := math.Abs(ph - float64(b.Core.Target(0).PH)); off > 0.1 {
			t.Errorf("seed %d: two hours after the hold pH is still %.2f off", seed, off)
		}
	}
}

// A pause of a minute and a restart of the daemon must not show in what is dosed. After a restart no dose was answered
// yet, so less may be unseen, and that takes its time to show: a hundredth of a pH more.
func TestPauseAndRestartAreWithoutABump(t *testing.T) {
	for _, c := range []struct {
		what      string
		bump      float64
		interrupt func(t *testing.T, b *begun)
	}{
		{"a pause", 0.03, func(t *testing.T, b *begun) {
			b.ask(t, controller.RequestPause)
			b.Run(time.Minute, nil)
			b.ask(t, controller.RequestResume)
		}},
		{"a restart", 0.04, func(t *testing.T, b *begun) {
			b.Farm.Connected(false)
			now := b.Now().Wall
			again, err := sim.NewNight(b.scene.Settings, b.scene.Topics, b.scene.Feeds, b.Farm, b.store, now)
			if err != nil {
				t.Fatal(err)
			}
			b.Night = again
			b.Arm()
			b.Run(time.Minute, nil)
		}},
	} {
		for _, seed := range []uint64{6, 11} {
			plain, bumped := beginNight(t, seed), beginNight(t, seed)
			plain.Run(time.Minute, nil)
			c.interrupt(t, bumped)
			acid0, base0 := plain.given()
			acid1, base1 := bumped.given()
			low0, high0 := plain.excursion(2 * time.Hour)
			low1, high1 := bumped.excursion(2 * time.Hour)
			acid2, base2 := plain.given()
			acid3, base3 := bumped.given()
			used, after := (acid2-acid0)-(base2-base0), (acid3-acid1)-(base3-base1)
			t.Logf("seed %d, %s: pH %.3f below to %.3f above without it, %.3f to %.3f with it; net acid %.2f and %.2f meq", seed, c.what, low0, high0, low1, high1, used, after)
			if low1 > max(low0, 0.05)+c.bump || high1 > max(high0, 0.05)+c.bump {
				t.Errorf("seed %d: %s takes pH %.3f below and %.3f above, without it %.3f and %.3f", seed, c.what, low1, high1, low0, high0)
			}
		}
	}
}

// A setpoint that moves by 0.3 goes along its ramp; pH follows it and does not
// shoot over its end.
func TestASetpointChangeIsWithoutABump(t *testing.T) {
	for _, seed := range []uint64{6, 11} {
		b := beginNight(t, seed)
		a := b.Ask(controller.Request{Kind: controller.RequestSetpoint, Quantity: dosing.QuantityPH, Value: 5.6, By: "night", From: "page", Role: controller.RoleEngineer})
		if !a.Accepted {
			t.Fatalf("refused: %s", a.Text)
		}
		lowest := math.Inf(1)
		b.Run(2*time.Hour, func(dosing.Instant) {
			ph, _ := b.Farm.Bulk(0)
			lowest = min(lowest, ph)
		})
		ph, _ := b.Farm.Bulk(0)
		t.Logf("seed %d: lowest pH %.3f, at the end %.3f", seed, lowest, ph)
		if lowest < 5.6-0.08 || math.Abs(ph-5.6) > 0.08 {
			t.Errorf("seed %d: on the way from 5.8 to 5.6 pH was %.3f at the lowest and is %.3f two hours later", seed, lowest, ph)
		}
	}
}
