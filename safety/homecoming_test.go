package safety

import (
	"testing"
	"time"

	"leat/dosing"
)

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
