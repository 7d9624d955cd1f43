package campaign

import (
	"slices"
	"strings"
	"testing"
	"time"

	"leat/controller/sim"
	"leat/dosing/loop"
	"leat/safety"
)

func TestASwarmHasOneToFiveFaultsOfSomeKinds(t *testing.T) {
	const nights = 2000
	var counts [6]int
	most := 0
	for seed := range uint64(nights) {
		faults := drawFaults(faultsSwarm, seed, 10*time.Hour)
		if len(faults) < 1 || len(faults) > 5 {
			t.Fatalf("seed %d has %d faults", seed, len(faults))
		}
		counts[len(faults)]++
		kinds, _ := swarm(source(seed, "swarm"), injectable())
		most = max(most, len(kinds))
		for _, f := range faults {
			if !slices.Contains(kinds, f.Fault) {
				t.Errorf("seed %d: %s is not among the kinds of its night", seed, f.Fault)
			}
		}
	}
	if counts[1] < 0.60*nights || counts[1] > 0.70*nights || counts[2] < 0.21*nights || counts[2] > 0.29*nights {
		t.Errorf("of %d nights %d have one fault and %d two; want 65 and 25 %%", nights, counts[1], counts[2])
	}
	if most >= len(injectable()) {
		t.Error("a night may have every kind: none goes deep into a few")
	}
}

func TestFaultsAreReadAsTheyAreWritten(t *testing.T) {
	faults := drawFaults("pump-dead@2h5m+30m, ph-silent@3h,stock-weak", 5, 10*time.Hour)
	if len(faults) != 3 || faults[0] != (sim.Injection{Fault: "pump-dead", At: 125 * time.Minute, For: 30 * time.Minute}) ||
		faults[1] != (sim.Injection{Fault: "ph-silent", At: 3 * time.Hour}) || faults[2].Fault != "stock-weak" || faults[2].At < time.Hour {
		t.Errorf("read as %+v", faults)
	}
	again, err := listed(list(faults))
	if err != nil || !slices.Equal(again, faults) {
		t.Errorf("%s reads as %+v, %v", list(faults), again, err)
	}
	for _, bad := range []string{"pump-dead@", "pump-dead@x", "pump-dead@1h+", "pump-dead@-1h", "pump-dead@1h+0s", "pump-dead,,", "moon"} {
		if _, err := listed(bad); err == nil {
			t.Errorf("%q is taken", bad)
		}
	}
}

func TestOnlyTheFaultsThatItTakesAreLeft(t *testing.T) {
	all, err := listed("pump-dead@1h,ph-silent@2h,stock-weak@3h,tube-worn@4h,heater-stuck@5h")
	if err != nil {
		t.Fatal(err)
	}
	runs := 0
	left, err := smallest(all, func(f []sim.Injection) (bool, error) {
		runs++
		text := list(f)
		return strings.Contains(text, "ph-silent") && strings.Contains(text, "tube-worn"), nil
	})
	if err != nil || list(left) != "ph-silent@2h0m0s,tube-worn@4h0m0s" || runs > len(all)*len(all) {
		t.Errorf("left are %s after %d runs, %v", list(left), runs, err)
	}
}

// A violation that needs one fault of three is planted as a checker; the report
// must name that fault and a command that breaks the same invariant again.
func TestAFailedNightShrinksToTheFaultThatItTakes(t *testing.T) {
	shipped := rules
	defer func() { rules = shipped }()
	rules = append(slices.Clone(shipped), Rule{Number: 99, Name: "planted", check: func(w *trail) {
		for _, trip := range w.Trips {
			if trip.Cause == safety.CausePHStale && trip.Active {
				w.violate(trip.At, "planted")
				return
			}
		}
	}})
	o := Options{Set: "standard", Nights: 1, Seed: 6, Faults: "stock-weak@1h,ph-silent@2h+30m,tube-worn@1h", Workers: 1}
	r := short(t, o)
	if r.Invariants.First == nil || r.Invariants.First.Invariant != 99 {
		t.Fatalf("the planted violation is not found: %v", r.Invariants.First)
	}
	const smallest = "ph-silent@2h0m0s+30m0s"
	if r.Invariants.Smallest != smallest || r.Invariants.Replay != "leat rehearse -set standard -faults "+smallest+" -seed 6 -night 0 -trace" {
		t.Errorf("smallest set %s, replay %s", r.Invariants.Smallest, r.Invariants.Replay)
	}
	o.Faults = r.Invariants.Smallest
	if again := short(t, o); again.Invariants.First == nil || again.Invariants.First.Invariant != 99 {
		t.Error("the smallest set does not fail any more")
	}
}

// Without what is on its way, and without learning, nights are worse: the parts
// are truly left out.
func TestPartsOfTheLawThatAreLeftOutAreMissed(t *testing.T) {
	whole := oneNight(t, Options{Set: "standard", Seed: 10009})
	for _, part := range []loop.Without{loop.WithoutTransit, loop.WithoutLearning, loop.WithoutFeedForward, loop.WithoutPessimism} {
		p := oneNight(t, Options{Set: "standard", Seed: 10009, Without: part.String()})
		if p.hash == whole.hash {
			t.Errorf("without %s the night is the same", part)
		}
		if got, want := &p.scores[0], &whole.scores[0]; part == loop.WithoutTransit && !(got.PH.IAE+got.EC.IAE > want.PH.IAE+want.EC.IAE) {
			t.Errorf("without what is on its way IAE is %.2f and %.2f, with it %.2f and %.2f", got.PH.IAE, got.EC.IAE, want.PH.IAE, want.EC.IAE)
		}
	}
	if err := (&Options{Set: "standard", Faults: "none", Nights: 1, Without: "luck"}).Check(); err == nil || !strings.Contains(err.Error(), "feed-forward") {
		t.Errorf("want the list of parts, got %v", err)
	}
}
