package campaign

import (
	"slices"
	"testing"
	"time"

	"leat/controller/sim"
	"leat/dosing"
	"leat/safety"
)

func TestEveryFaultSaysWhatShouldNameItOrWhyNothingCan(t *testing.T) {
	for _, name := range injectable() {
		if g, ok := signs[name]; !ok || len(g.causes) == 0 && g.hidden == "" {
			t.Errorf("%s has neither a cause nor a reason", name)
		}
	}
	for name := range signs {
		if !slices.Contains(injectable(), name) {
			t.Errorf("%s is no fault of the farm", name)
		}
	}
}

// night is a trace of one tank in which nothing happened yet.
func night() *Trace {
	set, err := SetNamed("standard")
	if err != nil {
		panic(err)
	}
	s, err := set.Scene(1)
	if err != nil {
		panic(err)
	}
	return &Trace{Begins: time.Hour, Ends: 11 * time.Hour, Settings: s.Settings, Curves: []dosing.Titration{level(1)}}
}

// level is a titration curve of one buffer capacity, meq/L per pH.
type level float64

func (l level) AcidNeeded(from, to float64) float64 { return (from - to) * float64(l) }
func (l level) PHAfter(from, acid float64) float64  { return from - acid/float64(l) }
func (l level) Buffer(float64) float64              { return float64(l) }

func TestAFaultIsNamedOnlyByWhatShouldNameItAndOnlyAfterItBegan(t *testing.T) {
	in := sim.Injection{Fault: "ph-silent", At: 2 * time.Hour, For: time.Hour}
	for _, c := range []struct {
		what  string
		trip  Trip
		named bool
	}{
		{"its own cause", Trip{At: 3*time.Hour + time.Minute, Cause: safety.CausePHStale, Active: true}, true},
		{"another cause", Trip{At: 3*time.Hour + time.Minute, Cause: safety.CauseLevelLow, Active: true}, false},
		{"before it began", Trip{At: 3*time.Hour - time.Minute, Cause: safety.CausePHStale, Active: true}, false},
		{"hours after it ended", Trip{At: 9 * time.Hour, Cause: safety.CausePHStale, Active: true}, false},
		{"its going", Trip{At: 3*time.Hour + time.Minute, Cause: safety.CausePHStale}, false},
	} {
		w := night()
		w.Trips = []Trip{c.trip}
		if s := w.sighting(&in); (s.Cause == safety.CausePHStale) != c.named || c.named && s.After != time.Minute {
			t.Errorf("%s: %+v", c.what, s)
		}
	}
}

func TestWhatCouldNotShowIsSaidWithItsReason(t *testing.T) {
	w := night()
	plant := &w.Settings.Safety.Tanks[0]
	pump := &w.Settings.Safety.Pumps[acidPump]
	pool := dosing.FromMillilitres(onePool * plant.BufferScale * float64(plant.Volume) / pump.AcidPerML)
	dead := sim.Injection{Fault: "pump-dead", At: 2 * time.Hour}
	order := func(volume dosing.Volume, at time.Duration) {
		w.Orders = []Ordered{{At: at, Pump: acidPump, Volume: volume}}
	}
	if s := w.sighting(&dead); s.Unshown == "" {
		t.Error("a pump that was never asked could show that it is dead")
	}
	if order(pool-pool/10, 4*time.Hour); w.sighting(&dead).Unshown == "" {
		t.Error("less than a pool could show")
	}
	if order(pool+pool/10, 4*time.Hour); w.sighting(&dead).Unshown != "" {
		t.Errorf("more than a pool could not: %s", w.sighting(&dead).Unshown)
	}
	if order(pool+pool/10, w.Ends-time.Second); w.sighting(&dead).Unshown == "" {
		t.Error("a dose that had no time to settle could show")
	}
	if order(pool+pool/10, 2*time.Hour); w.sighting(&dead).Unshown == "" {
		t.Error("a dose from before the fault could show it")
	}
	for _, fault := range []string{"outlet-stuck-shut", "ph-drift", "orders-duplicated"} {
		if s := w.sighting(&sim.Injection{Fault: fault, At: time.Hour}); s.Unshown == "" {
			t.Errorf("%s counts as one that could show", fault)
		}
	}
	if s := w.sighting(&sim.Injection{Fault: "probe-flat", At: time.Hour, For: 5 * time.Minute}); s.Unshown != "over within 10m0s" {
		t.Errorf("five flat minutes: %q", s.Unshown)
	}
}

func TestRecallCountsDetectableFaultsAndNamesTheOthers(t *testing.T) {
	var r Report
	r.recall([]*Outcome{
		{Seed: 7, Sightings: []Sighting{{Fault: "pump-dead", Cause: safety.CauseNoResponse, After: 10 * time.Minute}}},
		{Seed: 8, Sightings: []Sighting{{Fault: "pump-dead"}, {Fault: "ph-drift", Unshown: "one probe"}}},
		{Seed: 9, Sightings: []Sighting{{Fault: "pump-dead", Cause: safety.CauseNoResponse, After: 30 * time.Minute}}},
	})
	a := &r.Alarms
	if a.Injected != 4 || a.Detectable != 3 || a.Could != 3 || a.Found != 2 || *a.Recall != 2.0/3 || *a.RecallDetectable != 2.0/3 || len(a.Kinds) != 2 {
		t.Fatalf("%+v", a)
	}
	// What had no chance in its night is lost to the one figure, and not to the other.
	r.recall([]*Outcome{{Seed: 7, Sightings: []Sighting{{Fault: "pump-dead", Cause: safety.CauseNoResponse}, {Fault: "pump-dead", Unshown: "too little was ordered"}}}})
	if *r.Alarms.Recall != 1 || *r.Alarms.RecallDetectable != 0.5 {
		t.Errorf("recall %v, over all detectable %v", *r.Alarms.Recall, *r.Alarms.RecallDetectable)
	}
	drift, dead := a.Kinds[0], a.Kinds[1]
	if drift.Could != 0 || drift.Unshown["one probe"] != 1 || drift.Median != nil {
		t.Errorf("%+v", drift)
	}
	if dead.Times != 3 || dead.Could != 3 || dead.Found != 2 || *dead.Worst != 30 || !slices.Equal(dead.Missed, []uint64{8}) {
		t.Errorf("%+v", dead)
	}
}

func TestEachPlaysOneKindAfterTheOther(t *testing.T) {
	seen := map[string]bool{}
	for seed := range uint64(len(injectable())) {
		all := drawFaults(faultsEach, 40+seed, 10*time.Hour)
		if len(all) != 1 {
			t.Fatalf("seed %d has %d faults", seed, len(all))
		}
		seen[all[0].Fault] = true
	}
	if len(seen) != len(injectable()) {
		t.Errorf("%d of %d kinds were played", len(seen), len(injectable()))
	}
}
