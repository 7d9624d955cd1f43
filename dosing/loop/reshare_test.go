package loop

import (
	"math"
	"testing"
	"time"

	"leat/dosing"
)

func TestOtherSharesHoldForTheNextBlendAndNotForWhatIsOwed(t *testing.T) {
	b := newBench(t)
	b.stand(5.8, 1.85, time.Minute)
	b.limits[acidPump], b.limits[basePump] = 0, 0
	plan, ok := b.next()
	if !ok {
		t.Fatal("nothing is planned")
	}
	b.deliver(plan)
	before := append([]dosing.Volume(nil), b.l.Owed()...)
	shares := make([]float64, len(b.pumps))
	shares[calcium], shares[sulfate] = 0.2, 0.8
	if !b.l.Reshare(shares) {
		t.Fatal("good shares were not taken")
	}
	for p, v := range b.l.Owed() {
		if v != before[p] {
			t.Errorf("%s owed %v, now %v", b.pumps[p].Name, before[p], v)
		}
	}
	giveBlend(b)
	b.stand(5.8, 1.7, time.Hour)
	_, given := giveBlend(b)
	all := given[calcium] + given[sulfate] + given[iron]
	if all == 0 {
		t.Fatal("nothing was given")
	}
	if off := given[calcium].Millilitres() - 0.2*all.Millilitres(); math.Abs(off) > 2*b.pumps[calcium].MinDose.Millilitres() {
		t.Errorf("calcium: %v of %v, want a fifth", given[calcium], all)
	}
	if given[iron] > 0 {
		t.Errorf("iron: %v, its share is none", given[iron])
	}
	if b.l.Share(sulfate) != 0.8 || b.l.Share(250) != 0 {
		t.Errorf("shares are told as %v and %v", b.l.Share(sulfate), b.l.Share(250))
	}
}

func TestSharesThatAreNoneAreNotTaken(t *testing.T) {
	b := newBench(t)
	was := b.l.Share(calcium)
	for name, change := range map[string]func(s []float64) []float64{
		"sum of a half": func(s []float64) []float64 { s[calcium] = 0.5; return s },
		"below zero":    func(s []float64) []float64 { s[calcium], s[sulfate] = 1.5, -0.5; return s },
		"no number":     func(s []float64) []float64 { s[calcium] = math.NaN(); return s },
		"acid":          func(s []float64) []float64 { s[acidPump] = 1; return s },
		"too few":       func(s []float64) []float64 { s[calcium] = 1; return s[:len(s)-1] },
	} {
		if b.l.Reshare(change(make([]float64, len(b.pumps)))) {
			t.Errorf("%s: taken", name)
		}
	}
	if b.l.Share(calcium) != was {
		t.Errorf("calcium's share moved from %v to %v", was, b.l.Share(calcium))
	}
}
