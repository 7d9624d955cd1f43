package campaign

import (
	"io"
	"testing"

	"leat/safety"
)

// In this night without a fault the probe scatters by less than its step: readings that stand still
// and then leap were once taken for doses that show late.
func TestAProbeQuieterThanItsStepIsNotTakenForSlowWater(t *testing.T) {
	o := Options{Set: "recorded", Seed: 22002, Nights: 1, Faults: faultsNone, Workers: 1}
	trace, _, err := o.Follow(0, io.Discard)
	if err != nil {
		t.Fatal(err)
	}
	for i := range trace.Minutes {
		for _, a := range trace.Minutes[i].Alarms {
			if a.Cause == safety.CauseMixingSlow || a.Cause == safety.CauseOffBalance {
				t.Fatalf("%s: %s", trace.Minutes[i].At, a.Cause)
			}
		}
	}
}

// In these nights without a fault something was called that nobody should act on: top-up that does what was told in
// water of a weaker buffer was taken for harder water, and a tank on its first way to its setpoint for one that is stuck.
func TestNobodyIsCalledInNightsThatWereAlarmedBefore(t *testing.T) {
	for _, c := range []struct {
		set  string
		seed uint64
		not  safety.Cause
	}{{"ammonium", 51014, safety.CauseSourceWater}, {"depleted", 51011, safety.CauseSourceWater}, {"soft", 51005, safety.CauseOutOfBand}, {"day", 51006, safety.CauseOutOfBand}} {
		o := Options{Set: c.set, Seed: c.seed, Nights: 1, Faults: faultsNone, Workers: 1}
		trace, _, err := o.Follow(0, io.Discard)
		if err != nil {
			t.Fatal(err)
		}
		for i := range trace.Minutes {
			for _, a := range trace.Minutes[i].Alarms {
				if a.Cause == c.not && a.State.Stands() {
					t.Fatalf("%s, seed %d, %s: %s", c.set, c.seed, trace.Minutes[i].At, a.Cause)
				}
			}
		}
	}
}
