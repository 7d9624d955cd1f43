package controller_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"leat/controller"
	"leat/controller/sim"
	"leat/dosing"
	"leat/dosing/blend"
	"leat/dosing/ratio"
)

func (s *stage) confirm(w ratio.Water, a blend.Analysis) controller.Answer {
	return s.Ask(controller.Request{Kind: controller.RequestConfirmWater, Tank: north, Water: w, Analysis: a, Note: "water, no disinfectant, rinsed",
		Role: controller.RoleEngineer, By: "ann", From: "page"})
}

// filledAt is a farm whose north tank holds a share of the recipe's EC and waits for
// its water to be confirmed.
func filledAt(t *testing.T, share float64) *stage { return filledBeside(t, share, "1.2") }

// filledBeside is the same beside a nursery that is to have an EC.
func filledBeside(t *testing.T, share float64, nurseryEC string) *stage {
	st := newStage(t, &scenario{recipe: true, text: func(s string) string {
		return strings.Replace(s, `value = "1.2 mS/cm"`, `value = "`+nurseryEC+` mS/cm"`, 1)
	}, options: func(o *sim.Options) { o.StartPH, o.StartECShare = 6.2, share },
		settings: func(c *controller.Settings) {
			plan := *c.Tanks[north].Ratio
			plan.Water = blend.Content{}.Plus(plan.Water, 2) // of the EC that this farm can start with
			c.Tanks[north].Ratio = &plan
		}})
	st.pass(20 * time.Minute)
	st.must(controller.RequestCleaning, "drained and rinsed")
	return st
}

func TestConfirmingWaterAsksWhichWaterIsIn(t *testing.T) {
	st := filledAt(t, 1)
	if a := st.confirm(ratio.WaterNone, blend.Analysis{}); a.Accepted || !strings.Contains(a.Text, "which water is in") {
		t.Errorf("not said: %v, %q", a.Accepted, a.Text)
	}
	if a := st.confirm(ratio.WaterSource, blend.Analysis{}); a.Accepted || !strings.Contains(a.Text, "not fresh source water") {
		t.Errorf("source water of the recipe's EC: %v, %q", a.Accepted, a.Text)
	}
	other := st.sample()
	other.EC *= 2
	if a := st.confirm(ratio.WaterAnalysed, other); a.Accepted {
		t.Errorf("an analysis of other water: %q", a.Text)
	}
	if a := st.confirm(ratio.WaterUnknown, blend.Analysis{}); !a.Accepted {
		t.Fatal(a.Text)
	}
	if k := st.held("K"); k.Off < 0.4*k.Amount {
		t.Errorf("nobody knows the water, and K is thought %.2f ± %.2f mmol/L", k.Amount, k.Off)
	}
	st.must(controller.RequestCleaning, "again")
	if a := st.confirm(ratio.WaterAnalysed, st.sample()); !a.Accepted {
		t.Fatal(a.Text)
	}
	truth := blend.ContentOf(st.farm.Truth(north).Ions)
	for s := blend.NO3; s <= blend.Cl; s++ {
		if is := st.held(s.Symbol()); math.Abs(is.Amount-truth[s]) > 0.03*truth[s]+0.02 {
			t.Errorf("%s: thought %.3f, the analysis says %.3f mmol/L", s, is.Amount, truth[s])
		}
	}
}

// Filled with its source water, a tank holds no iron and no nitrate, and a restart
// in that very moment knows it too.
func TestFreshSourceWaterIsHeldForWhatItIsAlsoAfterARestart(t *testing.T) {
	st := filledAt(t, 0.13)
	if k := st.held("K"); k.Amount > 0.25*k.Target {
		t.Errorf("at an eighth of the EC, K is thought %.2f of %.2f mmol/L", k.Amount, k.Target)
	}
	if a := st.confirm(ratio.WaterSource, blend.Analysis{}); !a.Accepted {
		t.Fatal(a.Text)
	}
	look := func(when string) {
		t.Helper()
		water := blend.Content{}.Plus(st.file.Settings.Tanks[north].Ratio.Water, 2)
		for _, name := range []string{"NO3-N", "K", "P", "Fe"} {
			if is := st.held(name); is.Amount > 0.12*is.Target {
				t.Errorf("%s: %s is thought %.3f of %.3f mmol/L in fresh source water", when, name, is.Amount, is.Target)
			}
		}
		if cl := st.held("Cl"); cl.Amount > 1.05*water[blend.Cl] {
			t.Errorf("%s: chloride %.3f mmol/L, the source brings %.3f", when, cl.Amount, water[blend.Cl])
		}
	}
	look("confirmed")
	st.restart(time.Minute)
	st.pass(10 * time.Minute)
	look("after a restart")
}

func (s *stage) fromTank(other dosing.TankID) controller.Answer {
	return s.Ask(controller.Request{Kind: controller.RequestConfirmWater, Tank: north, Water: ratio.WaterTank, Other: other, Note: "water, no disinfectant, rinsed",
		Role: controller.RoleEngineer, By: "ann", From: "page"})
}

// Solution drawn from another tank is what that tank's account says, as surely as an
// account knows it; of no tank, of itself or of other EC it is refused.
func TestATankFilledFromAnotherHoldsWhatTheOtherHeld(t *testing.T) {
	if a := filledAt(t, 1).fromTank(nursery); a.Accepted || !strings.Contains(a.Text, "other water") {
		t.Errorf("of another EC: %v, %q", a.Accepted, a.Text)
	}
	st := filledBeside(t, 1, "1.8")
	if a := st.fromTank(north); a.Accepted || !strings.Contains(a.Text, "this tank itself") {
		t.Errorf("from itself: %v, %q", a.Accepted, a.Text)
	}
	if a := st.fromTank(nursery); !a.Accepted {
		t.Fatal(a.Text)
	}
	look := func(when string) {
		t.Helper()
		for _, other := range st.view(nursery).Ions.Ions {
			is := st.held(other.Name)
			if math.Abs(is.Amount-other.Amount) > 0.1*other.Amount+0.03 {
				t.Errorf("%s: %s %.3f mmol/L, the nursery holds %.3f", when, is.Name, is.Amount, other.Amount)
			}
		}
		if k := st.held("K"); k.Off < 0.02*k.Amount || k.Off > 0.2*k.Amount {
			t.Errorf("%s: K is known to ± %.3f of %.3f mmol/L", when, k.Off, k.Amount)
		}
	}
	look("confirmed")
	st.restart(time.Minute)
	st.pass(10 * time.Minute)
	look("after a restart")
}
