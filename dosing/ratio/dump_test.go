package ratio

import (
	"math"
	"strings"
	"testing"
	"time"

	"leat/dosing/blend"
)

// By hand: 40 % were replaced where the person says 50 %. EC tells.
func TestTheECAfterADumpTellsHowLargeItWas(t *testing.T) {
	p := hardWater(t)
	tank := begin(t, p)
	tank.Follow(0, 1.8, 5.8)
	before := tank.Content()
	probe, pH := *tank, 7.2 // where the charge of the carbonate that came closes
	probe.Replace(0.4)
	ec, ok := probe.conductivity(probe.content, pH)
	if !ok {
		t.Fatal("no EC")
	}
	tank.Replace(0.5)
	told := tank.content[blend.K]
	tank.Follow(20*time.Minute, ec, 0) // pH is not read yet: the water is not known well enough to judge by
	if tank.content[blend.K] != told {
		t.Error("EC was followed by the pH of the water before")
	}
	tank.Follow(21*time.Minute, ec, pH)
	for _, s := range []blend.Substance{blend.K, blend.P, blend.NO3} {
		if left := tank.content[s] / before[s]; math.Abs(left-0.6) > 0.02 {
			t.Errorf("%s: %.2f of it is thought left, want 0.60", s.Symbol(), left)
		}
	}
	if level := tank.content[blend.Ca]; math.Abs(level-(0.6*before[blend.Ca]+0.4*p.Water[blend.Ca])) > 0.03*level {
		t.Errorf("calcium is thought %.2f mmol/L", level)
	}
}

// By hand: 2 mmol/L of sodium chloride come to 0.2 mS/cm and more at this strength.
func TestWhatPlantsLeaveAsksForAHigherECAndBackAgain(t *testing.T) {
	p := hardWater(t)
	tank := begin(t, p)
	tank.Follow(0, 1.8, 5.8)
	if ec, words := tank.Left().Setpoint(); ec != 0 || words != "" || tank.Left().Gathered() > 0.02 {
		t.Fatalf("a fresh tank: %.2f %q, %.3f gathered", ec, words, tank.Left().Gathered())
	}
	nutrients := tank.Target(1.8)
	salt := func(mmol, level, ec float64) {
		tank.content = blend.Content{}.Plus(tank.made, level)
		tank.content[blend.Carbon] = carbonateKept // the air has taken the rest
		tank.content[blend.Na] += mmol
		tank.content[blend.Cl] += mmol
		tank.ec = ec
	}
	salt(2, 1, 1.8)
	if ec, words := tank.Left().Setpoint(); ec != 0 {
		t.Errorf("no nutrient lacks, and yet: %.2f %q", ec, words)
	}
	salt(2, 0.93, 1.8) // it has taken their place
	ec, words := tank.Left().Setpoint()
	if ec < 1.93 || ec > 1.94 || !strings.Contains(words, "what plants leave takes 0.2") || !strings.Contains(words, "a dump") {
		t.Errorf("an EC of %.2f is asked for: %q", ec, words)
	}
	tank.Toward(ec)
	salt(2, 1, ec)
	if again, words := tank.Left().Setpoint(); again != 0 {
		t.Errorf("EC stands where it was asked for, and yet: %.2f %q", again, words)
	}
	if raised := tank.Target(ec)[blend.K]; math.Abs(raised-nutrients[blend.K]) > 0.01*raised {
		t.Errorf("the higher EC asks for %.2f mmol/L of potassium in place of %.2f", raised, nutrients[blend.K])
	}
	if all := tank.Left().Dumps(); len(all) != 1 || all[0].Ion != blend.Rest || math.Abs(all[0].Off-0.115) > 0.015 || !strings.Contains(all[0].String(), "of EC") {
		t.Errorf("it takes more than a tenth of EC: %v", all)
	}
	salt(0, 1, ec)
	if back, words := tank.Left().Setpoint(); math.Abs(back-1.8) > 0.02 || !strings.Contains(words, "allows") {
		t.Errorf("after the dump %.2f is asked for: %q", back, words)
	}
	salt(1, 1.05, ec) // half of it is gone, and EC stands where it stood: nutrients have its place
	if back, words := tank.Left().Setpoint(); back < 1.80 || back > 1.87 || !strings.Contains(words, "allows") {
		t.Errorf("after half a dump %.2f is asked for: %q", back, words)
	}
	tank.Toward(1.2)
	salt(2, 1, 1.2)
	if ec, words := tank.Left().Setpoint(); ec != 0 {
		t.Errorf("a person keeps the tank weaker: %.2f %q", ec, words)
	}
}

// A filling of alkaline water gets its acid's nitrate before its plants take any: stocks
// give so much less.
func TestTheAcidThatIsOnItsWayBringsItsNitrate(t *testing.T) {
	p := hardWater(t)
	tank := begin(t, p)
	tank.Follow(0, 1.8, 5.8)
	tank.Replace(0.5)
	ec, _ := tank.conductivity(tank.content, 7)
	tank.Follow(time.Minute, ec, 7)
	with := tank.Wants()[blend.NO3]
	tank.perAlkalinity = blend.Content{}
	if without := tank.Wants()[blend.NO3]; without-with < 1.2 {
		t.Errorf("stocks are to give %.2f mmol/L of nitrate, and %.2f without the acid for 2 meq/L", with, without)
	}
}
