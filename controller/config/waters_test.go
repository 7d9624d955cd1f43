package config

import (
	"math"
	"strings"
	"testing"
	"time"
)

const pond = "\n[[tank.zone]]\nname = \"pond\"\nkind = \"raft\"\nholds = \"300 L\"\n"

func TestSlowWaterFollowsFromTheZonesThatExchangeTheirsMoreSlowlyThanTheTankMixes(t *testing.T) {
	plain := good(t, "plain.toml")
	if tank := parsed(t, plain).Settings.Safety.Tanks[0]; tank.Slow != 0 || tank.Exchange != 0 {
		t.Errorf("a tank with a flood bench alone: slow %g over %v", tank.Slow, tank.Exchange)
	}
	litres := float64(parsed(t, plain).Settings.Safety.Tanks[0].Volume)
	channels := "\n[[tank.zone]]\nname = \"channels\"\nkind = \"film\"\nholds = \"50 L\"\n"
	for _, x := range []struct {
		text     string
		slow     float64
		exchange time.Duration
	}{
		{channels, 0, 0},
		{pond, 300 / litres, 90 * time.Minute},
		{pond + "exchange_time = \"3h\"\n", 300 / litres, 3 * time.Hour},
		{pond + "exchange_time = \"60s\"\n", 0, 0},
		// 300 L in 90 min and 50 L in 30 min are 5 L a minute together: 350 L take 70 min.
		{pond + channels + "exchange_time = \"30 min\"\n", 350 / litres, 70 * time.Minute},
	} {
		tank := parsed(t, plain+x.text).Settings.Safety.Tanks[0]
		if math.Abs(tank.Slow-x.slow) > 1e-12 || tank.Exchange != x.exchange {
			t.Errorf("%s: slow %g over %v, want %g over %v", x.text, tank.Slow, tank.Exchange, x.slow, x.exchange)
		}
	}
}

func TestWhatIsMeasuredOfSlowWaterGoesBeforeTheZones(t *testing.T) {
	plain := good(t, "plain.toml")
	stated := changed(t, plain, "name = \"beds\"\n", "name = \"beds\"\nquick_share = \"40 %\"\nexchange_time = \"2h\"\n")
	f := parsed(t, stated+pond)
	if tank := f.Settings.Safety.Tanks[0]; math.Abs(tank.Slow-0.6) > 1e-12 || tank.Exchange != 2*time.Hour {
		t.Errorf("slow %g over %v", tank.Slow, tank.Exchange)
	}
	var out strings.Builder
	r := Check(f)
	if err := r.Write(&out); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(out.String(), "40 % of the water answers within ") || !strings.Contains(out.String(), "the rest follows over 2h0m0s (as stated)") {
		t.Errorf("leat check says\n%s", out.String())
	}
	one := changed(t, plain, "name = \"beds\"\n", "name = \"beds\"\nquick_share = \"100 %\"\n")
	f = parsed(t, one+pond)
	if tank := f.Settings.Safety.Tanks[0]; tank.Slow != 0 || Check(f).Tanks[0].Waters != nil {
		t.Errorf("all of it is said to be quick: slow %g", tank.Slow)
	}
}

func TestSlowWaterThatCannotBeIsRefusedWithWhatToWrite(t *testing.T) {
	plain := good(t, "plain.toml")
	tank := func(lines string) string { return changed(t, plain, "name = \"beds\"\n", "name = \"beds\"\n"+lines) }
	for _, x := range []struct{ key, text, problem, hint string }{
		{"tank[beds].quick_share", tank("quick_share = \"10 %\"\n"), "is out of range", "20 %"},
		{"tank[beds].quick_share", tank("quick_share = \"120 %\"\n"), "is out of range", "100 %"},
		{"tank[beds].exchange_time", tank("exchange_time = \"2h\"\n"), "the tank has none", "quick_share"},
		{"tank[beds].exchange_time", tank("exchange_time = \"200h\"\n"), "is out of range", "48h"},
		{"tank[beds].zone[pond].exchange_time", plain + pond + "exchange_time = \"1s\"\n", "is out of range", "divided by the flow"},
		{"tank[beds].zone[bench].exchange_time", changed(t, plain, "kind = \"flood\"\n", "kind = \"flood\"\nexchange_time = \"1h\"\n"), "fills and drains", "leave it out"},
		{"tank[beds].volume", plain + strings.ReplaceAll(pond, "300 L", "5000 L"), "less than a fifth", "exchange_time"},
	} {
		fault := faultOf(t, x.text, x.key)
		if !strings.Contains(fault.Problem, x.problem) || !strings.Contains(fault.Hint, x.hint) {
			t.Errorf("%s: %v", x.key, fault)
		}
	}
}

func TestTheLeastVolumeLeavesWaterToPumpAndProbes(t *testing.T) {
	plain := good(t, "plain.toml")
	low := changed(t, plain, "name = \"beds\"\n", "name = \"beds\"\nquick_share = \"30 %\"\n")
	text := changed(t, low, "min_volume = \"450 L\"\n", "")
	tank := parsed(t, text).Settings.Safety.Tanks[0]
	if quick := tank.QuickOf(tank.MinVolume); !(quick >= tank.Quick()/2-1e-9) {
		t.Errorf("least %v leaves %v of %v quick", tank.MinVolume, quick, tank.Quick())
	}
	if fault := faultOf(t, low, "tank[beds].min_volume"); !strings.Contains(fault.Problem, "slow water") || !strings.Contains(fault.Hint, " L") {
		t.Errorf("%v", fault)
	}
}
