package campaign

import (
	"io"
	"testing"

	"leat/safety"
)

// Nights without a fault in which something was called once that was not there. In the recorded ones
// the probe scatters by less than its step; by day a flood came home beside a hard top-up; the last
// water runs sour and stands at the edge of the plausible range for hours.
func TestHealthyNightsThatOnceCalledSomebodyCallNobody(t *testing.T) {
	for _, c := range []struct {
		set   string
		seed  uint64
		never safety.Cause
		most  int // times that it may come
	}{
		{"recorded", 22002, safety.CauseMixingSlow, 0},
		{"recorded", 22003, safety.CauseOffBalance, 0},
		{"day", 31059, safety.CauseUnexplainedChange, 0},
		{"ammonium", 10028, safety.CausePHInvalid, 1},
	} {
		o := Options{Set: c.set, Seed: c.seed, Nights: 1, Faults: faultsNone, Workers: 1}
		trace, _, err := o.Follow(0, io.Discard)
		if err != nil {
			t.Fatal(err)
		}
		times := 0
		for i := range trace.Trips {
			if trip := &trace.Trips[i]; trip.Active && trip.Cause == c.never && trip.At > trace.Begins {
				times++
			}
		}
		for i := range trace.Minutes {
			for _, a := range trace.Minutes[i].Alarms {
				if a.Cause == c.never && c.most == 0 {
					times++
				}
			}
		}
		if times > c.most {
			t.Errorf("%s, seed %d: %s %d times", c.set, c.seed, c.never, times)
		}
	}
}
