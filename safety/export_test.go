package safety

import (
	"testing"
	"time"

	"leat/dosing"
)

// Farm is the farm of this package's tests, for tests that also ask a room above.
type Farm struct{ f *farm }

// NewFarm is a farm of two tanks that are fed and sound.
func NewFarm(t *testing.T) Farm { return Farm{newFarm(t)} }

// Cut cuts the farm off from its link, or brings it back.
func (f Farm) Cut(off bool) {
	for i := range f.f.s.Inputs {
		f.f.mute[dosing.InputID(i)] = off
	}
	for i := range f.f.node {
		f.f.node[i].silent = off
	}
}

// Pass lets time pass and says what time it is.
func (f Farm) Pass(d time.Duration) dosing.Instant {
	f.f.pass(d)
	return f.f.now
}

// Trips are the interlocks that are active in a tank.
func (f Farm) Trips(tank dosing.TankID) []Trip { return f.f.w.Trips(tank) }

// WantFree fails the test unless every pump may dose into the first tank, or none.
func (f Farm) WantFree(what string, all bool) {
	f.f.t.Helper()
	want := noneFree
	if all {
		want = allFree
	}
	f.f.wantFree(0, what, want)
}
