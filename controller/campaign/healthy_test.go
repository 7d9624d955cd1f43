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
