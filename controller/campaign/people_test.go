package campaign

import (
	"slices"
	"testing"
	"time"
)

func TestPeopleMakeSlipsOfEveryKindAndHaveTimeToPutThemRight(t *testing.T) {
	var kinds [slipKinds]int
	for seed := range uint64(100) {
		s, err := standard.Scene(seed)
		if err != nil {
			t.Fatal(err)
		}
		before := time.Duration(0)
		for _, x := range s.drawSlips() {
			kinds[x.kind]++
			if x.at < before || x.seen < x.at+2*time.Minute || x.seen > s.Hours || x.volume <= 0 {
				t.Errorf("seed %d: a slip at %v that is seen at %v, after one at %v: %+v", seed, x.at, x.seen, before, x)
			}
			before = x.seen
			if right := (entry{x.tank, x.pump, x.volume}); x.wrong == right && (x.kind == slipAmount || x.kind == slipLiquid) {
				t.Errorf("seed %d: nothing is wrong with %+v", seed, x)
			}
		}
	}
	for kind, n := range kinds {
		if n < 30 {
			t.Errorf("%d slips of the kind %q in 100 nights", n, slipNames[kind])
		}
	}
}

func TestWhatPeopleMistypeAndTakeBackBreaksNoInvariant(t *testing.T) {
	r := short(t, Options{Nights: 4, Seed: 40, Workers: 2, People: true})
	if r.Invariants.Violations > 0 {
		t.Errorf("%v; %s", *r.Invariants.First, r.Invariants.Replay)
	}
	c := r.People
	if c == nil || c.Taken == 0 || c.Refused == 0 || c.TakenBack == 0 || len(c.Slips) != int(slipKinds) {
		t.Errorf("%+v", c)
	}
	if plain := oneNight(t, Options{Set: "standard", Seed: 40}); plain.people != nil || plain.hash == r.Outcomes[0].Hash {
		t.Errorf("without people: %+v, trace %016x", plain.people, plain.hash)
	}
}

// A pour written down ten times too large, put right four minutes later: what stands at
// the end is the truth, and the ledger was replayed after each word.
func TestAWrongEntryIsVoidedAndTheRightOneStands(t *testing.T) {
	s, err := standard.Scene(3)
	if err != nil {
		t.Fatal(err)
	}
	s.Hours = time.Hour
	poured := s.Settings.Pumps()[acidPump].MinDose
	s.slips = []slip{{kind: slipAmount, at: 20 * time.Minute, seen: 24 * time.Minute, pump: acidPump, volume: poured,
		wrong: entry{0, acidPump, 10 * poured}, confirms: true}}
	p, err := s.run(nil)
	if err != nil {
		t.Fatal(err)
	}
	hands := p.view.Tanks[0].Hands
	if len(hands) != 2 || hands[0].Voided || hands[0].Volume != poured || !hands[1].Voided || hands[1].Volume != 10*poured {
		t.Errorf("the page shows %+v", hands)
	}
	if p.people.Taken != 1 || p.people.TakenBack != 1 {
		t.Errorf("%+v", p.people)
	}
	if n := len(p.trace.Replays); n != 4 { // drawn, wrong, right, end
		t.Errorf("the ledger was replayed %d times", n)
	}
	for _, v := range Check(p.trace) {
		t.Error(v)
	}
}

func TestAnEntryForAnotherTankIsTakenBackThere(t *testing.T) {
	s, err := standard.Scene(4)
	if err != nil {
		t.Fatal(err)
	}
	two := *s.Settings
	two.Tanks = append(two.Tanks[:1:1], two.Tanks[0])
	two.Safety.Tanks = append(two.Safety.Tanks[:1:1], two.Safety.Tanks[0])
	s.Settings = &two
	found := false
	for s.Seed = range uint64(50) {
		for _, x := range s.drawSlips() {
			if x.kind == slipTank {
				found = true
				if x.wrong.tank == x.tank || x.wrong.pump != x.pump || x.wrong.volume != x.volume {
					t.Errorf("%+v", x)
				}
			}
		}
	}
	if !found {
		t.Error("nobody takes one tank for another")
	}
}

// The rule must have something to judge: requests that were on their way when less was
// asked for, and others that took effect.
func TestMoreAndLessAreAskedForWhileTheDiskIsSlowAndLessWins(t *testing.T) {
	late, granted := 0, 0
	for seed := uint64(40); seed < 44; seed++ {
		s, err := standard.Scene(seed)
		if err != nil {
			t.Fatal(err)
		}
		s.Hours = 2 * time.Hour
		s.quarrels = s.drawQuarrels()
		p, err := s.run(nil)
		if err != nil {
			t.Fatal(err)
		}
		for _, v := range Check(p.trace) {
			t.Errorf("seed %d: %v", seed, v)
		}
		for _, q := range s.quarrels {
			less := 0
			for i := len(q.asks) - 1; i >= 0; i-- {
				if slices.Contains(lettingLess, q.asks[i].kind) {
					less++
				} else if less > 0 {
					late++
				}
			}
		}
		granted += len(p.trace.Grants)
	}
	if late < 5 || granted < 8 {
		t.Errorf("%d requests for more were followed by less, %d took effect: little was judged", late, granted)
	}
}
