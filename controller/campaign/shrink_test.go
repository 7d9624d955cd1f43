package campaign

import (
	"slices"
	"strings"
	"testing"

	"leat/safety"
)

// A violation that needs one tank of a drawn station, one of its faults and one act of its
// people is planted as a checker. The report must print a farm with no more than that, and
// the printed farm must break the same rule again.
func TestAFailedFarmShrinksToWhatItTakes(t *testing.T) {
	shipped := rules
	defer func() { rules = shipped }()
	rules = append(slices.Clone(shipped), Rule{Number: 99, Name: "planted", check: func(w *trail) {
		at, silent := -1, false
		for i, trip := range w.Trips {
			silent = silent || trip.Cause == safety.CausePHStale && trip.Active
			if trip.Cause == safety.CauseOperatorPause && trip.Active && at < 0 {
				at = i
			}
		}
		if at >= 0 && silent {
			w.violate(w.Trips[at].At, "planted")
		}
	}})
	set, err := SetNamed("farms")
	if err != nil {
		t.Fatal(err)
	}
	o := Options{Set: "farms", Nights: 1, Faults: "stock-weak@1h,ph-silent@2h+30m,tube-worn@1h", Workers: 1, People: true}
	for o.Seed = 70000; ; o.Seed += nightsOfAFarm { // a farm of several tanks whose people pause one
		s, _, err := o.Night(&set, 0)
		if err != nil {
			t.Fatal(err)
		}
		if pauses := slices.ContainsFunc(s.chores, func(x chore) bool { return x.kind == chorePause }); pauses && len(s.Settings.Tanks) > 1 && len(s.Settings.Pumps()) > 4 {
			break
		}
	}
	r := short(t, o)
	v, part := r.Invariants.First, r.Invariants.Farm
	if v == nil || v.Invariant != 99 || part == nil {
		t.Fatalf("the planted violation is not found: %v", v)
	}
	if len(part.Tanks) != 1 || part.Stocks != 2 || part.Faults != "ph-silent@2h0m0s+30m0s" || len(part.Acts) != 1 {
		t.Errorf("left is\n%s", part)
	}
	command, file, printed := strings.Cut(r.Invariants.Replay, "\n")
	if !printed || command != "leat rehearse -farm - -trace <<'END'" {
		t.Fatalf("the replay is %q", r.Invariants.Replay)
	}
	again, err := ReadPart(strings.NewReader(strings.TrimSuffix(file, "END")))
	if err != nil {
		t.Fatal(err)
	}
	if r := short(t, again.Options(Options{Workers: 1})); r.Invariants.First == nil || r.Invariants.First.Invariant != 99 {
		t.Error("the printed farm does not fail any more")
	}
	// A file of a farm that is drawn in another way by now is refused.
	again.Farm[0] += "?"
	changed := again.Options(Options{})
	if _, _, err := changed.Night(&set, 0); err == nil {
		t.Error("another farm is played in its place")
	}
}

func TestAFileThatIsNoFarmIsRefused(t *testing.T) {
	for _, bad := range []string{"", "{}", `{"set":"farms","config":"x"}`, `{"set":"farms","tanks":[0]}`, `{"set":"farms","moon":1}`} {
		if _, err := ReadPart(strings.NewReader(bad)); err == nil {
			t.Errorf("%q is taken", bad)
		}
	}
}
