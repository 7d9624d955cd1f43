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

func TestNoAnswerIsReadOutOfWaterThatComesHome(t *testing.T) {
	b := newBasin()
	b.responses.Read(b.now, dosing.QuantityLevel, 400)
	b.wait(30 * time.Minute)
	b.dose(nightAcid, tenthAcid, 0.05, 0)
	b.dose(nightAcid, tenthAcid, 0.05, 0)
	// A flood begins; its water comes home with a higher pH, the switch already back.
	b.responses.Read(b.now, dosing.QuantityFlood, 1)
	b.slopePH, b.slopeFrom = 12, b.now.Up
	for i := range 24 {
		b.responses.Read(b.now, dosing.QuantityLevel, 250+float64(150*i)/24)
		if f, found := b.wait(10 * time.Second); found {
			t.Fatalf("while water came home: %+v", f)
		}
	}
	b.given = append(b.given, parcel{at: b.now.Up - time.Hour, acid: -0.5 * 12 * 240 / 3600}) // it stays where it came
	b.slopePH = 0
	for range 12 {
		b.responses.Read(b.now, dosing.QuantityLevel, 400)
		if f, found := b.wait(time.Minute); found {
			t.Fatalf("after the water came home: %+v", f)
		}
	}
	b.dose(nightAcid, 2*tenthAcid, -0.2, 0)
	if f, found := b.wait(20 * time.Minute); !found || f.Cause != CauseWrongDirection {
		t.Errorf("swapped lines after a flood gave %+v, %v", f, found)
	}
}
