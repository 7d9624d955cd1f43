package controller_test

import (
	"fmt"
	"maps"
	"slices"
	"testing"
	"time"

	"leat/controller/sim"
	"leat/dosing"
)

// aNight plays one night on the sample farm and returns its trace. Of a faulty one
// the fault comes once the tanks are near their bands.
func aNight(t testing.TB, seed uint64, hours float64, fault string) *trace {
	o := sim.Options{Seed: seed, StartPH: 6.5, StartECShare: 0.65}
	if fault != "" {
		o.Fault, o.FaultAt, o.FaultFor = fault, 50*time.Minute, 30*time.Minute
	}
	r := newRig(t, o)
	trace := observe(r, fault != "")
	r.Arm()
	r.Run(time.Duration(hours*float64(time.Hour)), nil)
	return trace
}

func TestNoFaultFreeNightBreaksAnInvariant(t *testing.T) {
	for seed := uint64(21); seed <= 25; seed++ {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			t.Parallel()
			trace := aNight(t, seed, 4, "")
			if len(trace.orders) < 40 {
				t.Errorf("%d orders in a night: it tests little", len(trace.orders))
			}
			wantKept(t, trace)
		})
	}
}

func TestNoFaultyNightBreaksAnInvariant(t *testing.T) {
	faults := []string{"circulation-off", "probe-flat", "acid-empty", "node-reboot", "order-lost", "reports-lost", "network-cut", "orders-duplicated",
		"ph-unplugged", "stop-pressed", "acid-by-hand", "top-up-hard", "pump-dead", "node-clock-fast"}
	for i, fault := range faults {
		t.Run(fault, func(t *testing.T) {
			t.Parallel()
			wantKept(t, aNight(t, uint64(40+i), 2.2, fault))
		})
	}
}

func wantKept(t *testing.T, trace *trace) {
	t.Helper()
	for _, rule := range invariants {
		for i, broken := range rule.check(trace) {
			if i == 3 {
				t.Errorf("invariant %d, %s: and more", rule.number, rule.name)
				break
			}
			t.Errorf("invariant %d, %s: %s", rule.number, rule.name, broken)
		}
	}
}

// A checker that cannot fail proves nothing: each must find a violation that was
// planted in a night without one.
func TestEachInvariantFindsWhatWasPlanted(t *testing.T) {
	night := aNight(t, 31, 2.7, "")
	wantKept(t, night)
	for _, rule := range invariants {
		t.Run(rule.name, func(t *testing.T) {
			copied := night.clone()
			if !rule.plant(copied) {
				t.Fatal("nothing to plant in this night")
			}
			if len(rule.check(copied)) == 0 {
				t.Error("the planted violation was not found")
			}
		})
	}
}

func (t *trace) clone() *trace {
	c := *t
	c.durable, c.settled, c.doubted = maps.Clone(t.durable), maps.Clone(t.settled), maps.Clone(t.doubted)
	c.orders, c.latches, c.clears, c.samples = slices.Clone(t.orders), slices.Clone(t.latches), slices.Clone(t.clears), slices.Clone(t.samples)
	c.blends, c.farm = nil, nil
	for _, b := range t.blends {
		b.given = slices.Clone(b.given)
		c.blends = append(c.blends, b)
	}
	for i := range t.farm {
		c.farm = append(c.farm, append([]dosing.Volume(nil), t.farm[i]...))
	}
	return &c
}
