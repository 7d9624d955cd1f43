package safety

import (
	"testing"
	"time"

	"leat/dosing"
)

// comesHome lets the level of the first tank rise to full over a time, with the switch
// already back.
func (f *farm) comesHome(over time.Duration) {
	f.t.Helper()
	level := f.input(0, dosing.QuantityLevel)
	steps := int(over / (5 * time.Second))
	from := f.value[level]
	for i := range steps {
		f.value[level] = from + (1000-from)*float64(i+1)/float64(steps)
		f.pass(5 * time.Second)
	}
}

func TestAfterAFloodDosesWaitFromTheRestOfTheLevel(t *testing.T) {
	f := newFarm(t, func(s *Settings) { s.Tanks[0].DeadTime, s.Tanks[0].TimeConstant = 20*time.Second, 30*time.Second })
	f.set(0, dosing.QuantityFlood, 1)
	f.set(0, dosing.QuantityLevel, 650)
	f.pass(5 * time.Minute)
	f.set(0, dosing.QuantityFlood, 0)
	f.comesHome(4 * time.Minute)
	if f.free(0) != [pumpCount]bool{} {
		t.Fatalf("the level still rose, and %v may dose", f.free(0))
	}
	f.pass(2 * time.Minute)
	if f.free(0) != [pumpCount]bool{} {
		t.Errorf("two minutes after the level rose, and %v may dose", f.free(0))
	}
	f.pass(40 * time.Second)
	f.wantFree(0, "two minutes after the level came to rest", allFree)
}
