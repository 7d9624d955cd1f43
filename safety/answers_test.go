package safety

import (
	"strings"
	"testing"
	"time"

	"leat/dosing"
)

// watched is a watch over this basin alone, to ask what it tells of it.
func (b *basin) watched() *Watch {
	return &Watch{tanks: []tankState{{responses: b.responses, plant: &Tank{Tank: b.tank}}}}
}

// answeredAcid gives acid so often that its usual answer is known.
func (b *basin) answeredAcid(t *testing.T, times int) {
	t.Helper()
	b.wait(30 * time.Minute)
	for range times {
		b.dose(nightAcid, tenthAcid, 0.05, 0)
		if f, found := b.wait(30 * time.Minute); found {
			t.Fatalf("acid that does what it should gave %+v", f)
		}
	}
}

func TestAcidRefilledUndilutedStopsItsPumpAtItsFirstDose(t *testing.T) {
	b := newBasin()
	b.answeredAcid(t, 4)
	b.dose(nightAcid, tenthAcid, 6*0.05, 0)
	f, found := b.wait(6 * time.Minute)
	if !found || f.Cause != CauseReagentStrong || f.Scope != ScopePump || f.Pump != nightAcid {
		t.Fatalf("acid that did six times what it usually does gave %+v, %v, want reagent-too-strong of its pump within dead time and lag", f, found)
	}
	if !strings.Contains(f.Detail, "times what it usually does") {
		t.Errorf("it says %q", f.Detail)
	}
}

func TestAcidThatDoesTwiceItsUsualGoesOn(t *testing.T) {
	b := newBasin()
	b.answeredAcid(t, 4)
	b.dose(nightAcid, tenthAcid, 2*0.05, 0)
	if f, found := b.wait(20 * time.Minute); found {
		t.Fatalf("carbonate that has left makes acid do twice as much; it gave %+v", f)
	}
}

func TestASmallDoseThatSeemsStrongIsNoGroundToStop(t *testing.T) {
	b := newBasin()
	b.answeredAcid(t, 4)
	b.dose(nightAcid, tenthAcid/5, 6*0.05/5, 0) // 0.02 pH that did 0.12
	if f, found := b.wait(20 * time.Minute); found {
		t.Fatalf("0.10 pH beyond the usual gave %+v", f)
	}
}

func TestBeforeItsUsualAnswerIsKnownAcidIsNotTooStrong(t *testing.T) {
	b := newBasin()
	b.answeredAcid(t, 1)
	b.dose(nightAcid, tenthAcid, 4*0.05, 0) // a buffer that was told three times too strong looks so, too
	if f, found := b.wait(20 * time.Minute); found {
		t.Fatalf("the second dose of all gave %+v", f)
	}
}

func TestHalfBlockedCirculationIsToldByLateAnswersOfBoth(t *testing.T) {
	b := newBasin()
	b.late.pH, b.late.ec = 3, 3
	b.wait(30 * time.Minute)
	for range 6 {
		b.dose(nightAcid, 2*tenthAcid, 0.1, 0)
		b.dose(nightStockA, tenthStock, 0, 0.1)
		b.wait(40 * time.Minute)
	}
	if got := b.watched().Late(0); !strings.Contains(got.Water, "pH and EC") || got.Probe != "" {
		t.Errorf("pH and EC come three times as late as commissioned: %+v", got)
	}
}

func TestACoatedProbeIsToldByALatePHBesideAnECInTime(t *testing.T) {
	b := newBasin()
	b.late.pH = 3
	b.wait(30 * time.Minute)
	for range 6 {
		b.dose(nightStockA, tenthStock, 0, 0.1)
		b.dose(nightAcid, 2*tenthAcid, 0.1, 0)
		b.wait(40 * time.Minute)
	}
	w := b.watched()
	if got := w.Late(0); got.Probe == "" || got.Water != "" {
		t.Errorf("pH alone comes late: %+v", got)
	}
	b.responses.Reset()
	if got := w.Late(0); got != (Late{}) {
		t.Errorf("after a service: %+v", got)
	}
}

func TestALatePHWithoutDosesOfStockBlamesTheWaterFirst(t *testing.T) {
	b := newBasin()
	b.wait(30 * time.Minute)
	for range 3 { // EC in time, hours before pH became late, is no word for the circulation now
		b.dose(nightStockA, tenthStock, 0, 0.1)
		b.wait(30 * time.Minute)
	}
	b.late.pH, b.late.ec = 3, 3
	for range 4 {
		b.dose(nightAcid, tenthAcid, 0.05, 0)
		b.wait(40 * time.Minute)
	}
	if got := b.watched().Late(0); got.Water == "" || got.Probe != "" {
		t.Errorf("nothing told probe and water apart since pH became late: %+v", got)
	}
}

func TestAnswersInTimeTellNothing(t *testing.T) {
	b := newBasin()
	b.wait(30 * time.Minute)
	for range 6 {
		b.dose(nightAcid, tenthAcid, 0.05, 0)
		b.dose(nightStockA, tenthStock, 0, 0.1)
		b.wait(40 * time.Minute)
		if got := b.watched().Late(0); got != (Late{}) {
			t.Fatalf("answers in time: %+v", got)
		}
	}
}

func TestOnePoolThatSeemsLateProvesNothing(t *testing.T) {
	var s slowness
	for range 2 {
		if s.add(500, 3); s.stands {
			t.Error("one pool or two are believed, however sure they seem")
		}
	}
	if s.add(500, 3); !s.stands {
		t.Error("three pools that say the same are not believed")
	}
	s.add(-500, 1)
	if !s.stands {
		t.Error("one pool in time takes back what three have said")
	}
	for range 3 {
		s.add(-500, 1)
	}
	if s.stands {
		t.Error("it stands although answers come in time again")
	}
}

// topped lives through top-ups of a water, told as soft: 0.3 meq/L and 0.1 mS/cm.
func topped(alkalinity, ec float64) string {
	b := newBasin()
	b.tank.TopUp = dosing.Water{Alkalinity: 0.3, EC: 0.1}
	b.responses = NewResponses(b.pumps, b.tank, evenBuffer(0.5))
	b.stands = 390
	b.wait(30 * time.Minute)
	for range 3 {
		b.topUp(alkalinity, ec)
		b.wait(40 * time.Minute)
		b.stands -= 8
		b.wait(time.Minute)
	}
	return b.watched().SourceWater(0)
}

func TestTopUpHarderThanToldIsNamedByItsAlkalinity(t *testing.T) {
	if got := topped(5, 0.1); !strings.Contains(got, "alkalinity is about") || strings.Contains(got, "EC") {
		t.Errorf("5 meq/L came where 0.3 was told: %q", got)
	}
}

func TestTopUpSaltierThanToldIsNamedByItsEC(t *testing.T) {
	if got := topped(0.3, 2); !strings.Contains(got, "EC is about") || strings.Contains(got, "alkalinity") {
		t.Errorf("2 mS/cm came where 0.1 was told: %q", got)
	}
}

func TestTopUpAsToldTellsNothing(t *testing.T) {
	for _, alkalinity := range []float64{0, 0.3, 0.9} {
		if got := topped(alkalinity, 0.25); got != "" {
			t.Errorf("%.1f meq/L and 0.25 mS/cm came where 0.3 and 0.1 were told: %q", alkalinity, got)
		}
	}
}

func TestWaterThatIsAsToldAgainClearsItself(t *testing.T) {
	var e excess
	for range 2 {
		e.add(4, 0.5, 1)
	}
	if !e.stands {
		t.Fatal("4 meq/L more, twice, is not believed")
	}
	for range 8 {
		e.add(0, 0.5, 1)
	}
	if e.stands {
		t.Error("it stands after eight top-ups as told")
	}
	if e.add(1.2, 0.5, 1); e.stands {
		t.Error("what is barely more than an error of what was told is believed")
	}
}
