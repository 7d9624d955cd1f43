package campaign

import (
	"os"
	"testing"
	"time"
)

// Nights of drawn farms in each of which a part of a tank is dumped and a fill approved: no rule is broken, and
// most fills bring their tank to its strength.
func TestNightsWithFillsBreakNoInvariant(t *testing.T) {
	drawn, err := SetNamed("farms")
	if err != nil {
		t.Fatal(err)
	}
	done := map[string]int{}
	nights := 4
	if os.Getenv("LEAT_REAL") != "" {
		nights = 20
	}
	for seed := uint64(70000); seed < 70000+uint64(nights); seed++ {
		set := &standard
		if seed%2 == 0 {
			set = &drawn
		}
		s, err := set.Scene(seed)
		if err != nil {
			t.Fatal(err)
		}
		s.chores = []chore{{kind: choreFill, at: time.Hour, lasts: 15 * time.Minute, share: 0.2 + float64(seed%5)/10}}
		p, err := s.run(nil)
		if err != nil {
			t.Fatal(err)
		}
		for kind, n := range p.people.Chores {
			done[kind] += n
		}
		broken, err := s.judge(p, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, v := range broken {
			t.Errorf("seed %d: %v", seed, v)
		}
		t.Logf("seed %d: fill %s", seed, p.view.Tanks[0].Fill)
	}
	if done["fill"] < nights*3/4 || done["fill refused"] > nights/4 {
		t.Errorf("of %d nights: %v", nights, done)
	}
}
