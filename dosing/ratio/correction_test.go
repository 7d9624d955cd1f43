package ratio

import (
	"math"
	"math/rand/v2"
	"testing"

	"leat/dosing/blend"
)

// starvedOfPotassium is a farm whose true water lacks potassium and holds a little more of all
// else in its place, which a laboratory has just found.
func starvedOfPotassium(t *testing.T) *farm {
	t.Helper()
	f := newFarm(t, plan(t, nitric))
	f.appetite = hungry(f.tank, 0)
	for s := blend.NO3; s <= blend.S; s++ {
		f.ions[s] *= 1.05
	}
	f.ions[blend.K] *= 0.72
	f.tank.Toward(1.8)
	for range 4 {
		f.up += 1e9 * 3600
		f.tank.Follow(f.up, f.ec(t), 5.8)
	}
	f.analyse(rand.New(rand.NewPCG(3, 4)), t)
	if ec := f.ec(t); math.Abs(ec-1.8) > 0.06 {
		t.Fatalf("the farm stands at EC %.2f", ec)
	}
	return f
}

func TestWhatACorrectionForeseesIsWhatTheWaterThenHolds(t *testing.T) {
	f := starvedOfPotassium(t)
	c, ok := Correct(f.tank, 1.8)
	if !ok {
		t.Fatal("no correction is foreseen")
	}
	for i, ml := range c.Given {
		if ml < 0 || math.IsNaN(ml) {
			t.Errorf("pump %d gives %g mL", i, ml)
		}
	}
	if kno3 := c.Given[1]; !(kno3 > c.Given[0]) {
		t.Errorf("potassium lacks, and of its nitrate %.0f mL are given, of calcium's %.0f", kno3, c.Given[0])
	}
	days := c.In.Hours() / 24
	if !(days > 1 && days < 60) {
		t.Fatalf("it takes %.1f days", days)
	}
	was := f.ions
	const ec = 0.09 // what these plants take in a day
	for taken := 0.0; taken < 0.9; taken += ec {
		f.day(t, ec, 10)
	}
	for _, s := range []blend.Substance{blend.NO3, blend.P, blend.K, blend.Ca, blend.Mg, blend.S} {
		if off := f.ions[s]/c.Content[s] - 1; math.Abs(off) > 0.12 {
			t.Errorf("%s: foreseen %.2f, is %.2f (%+.0f %%), was %.2f mmol/L", s.Symbol(), c.Content[s], f.ions[s], 100*off, was[s])
		}
	}
	if !(c.Content[blend.K] > 1.15*was[blend.K]) {
		t.Errorf("potassium goes from %.2f to %.2f mmol/L: that corrects nothing", was[blend.K], c.Content[blend.K])
	}
}

func TestAHigherECCorrectsSoonerAndIsOfferedOnlyWhereSomethingLacks(t *testing.T) {
	f := starvedOfPotassium(t)
	ec := Faster(f.tank)
	if ec != 1.9 {
		t.Fatalf("EC %.2f is offered, want 1.90", ec)
	}
	slow, _ := Correct(f.tank, 1.8)
	fast, ok := Correct(f.tank, ec)
	if !ok || !(fast.In < slow.In*3/4) {
		t.Errorf("at %.2f in %s, at 1.80 in %s", ec, fast.In, slow.In)
	}
	if shares := f.tank.Shares(); len(shares) == 0 || f.tank.toward != 1.8 {
		t.Error("what was only asked for changed the account")
	}
	well := newFarm(t, plan(t, nitric))
	well.analyse(rand.New(rand.NewPCG(1, 2)), t)
	if ec := Faster(well.tank); ec != 0 {
		t.Errorf("a tank that lacks nothing is offered EC %.2f", ec)
	}
	unknown := newFarm(t, plan(t, nitric))
	if ec := Faster(unknown.tank); ec != 0 {
		t.Errorf("a tank that nobody analysed is offered EC %.2f", ec)
	}
}
