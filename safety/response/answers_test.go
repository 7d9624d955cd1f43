package response

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"leat/dosing"
)

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
	if !found || f.Fault != ReagentStrong || f.Reach != OnePump || f.Pump != nightAcid {
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
	if got := b.responses.Late(); !strings.Contains(got.Water, "pH and EC") || got.Probe != "" {
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
	w := b.responses
	if got := w.Late(); got.Probe == "" || got.Water != "" {
		t.Errorf("pH alone comes late: %+v", got)
	}
	b.responses.Reset()
	if got := w.Late(); got != (Late{}) {
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
	if got := b.responses.Late(); got.Water == "" || got.Probe != "" {
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
		if got := b.responses.Late(); got != (Late{}) {
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
	b.responses = New(b.pumps, b.tank, evenBuffer(0.5))
	b.stands = 390
	b.wait(30 * time.Minute)
	for range 3 {
		b.topUp(alkalinity, ec)
		b.wait(40 * time.Minute)
		b.stands -= 8
		b.wait(time.Minute)
	}
	return b.responses.SourceWater()
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

// A level in whole litres that scatters by half a litre, in a tank of 180 L which a valve tops up with two litres at
// a time: the least of an hour's readings lies a litre below the water, and a rise counted from there is half
// as much again as came.
func TestALevelThatScattersBringsNoOtherWater(t *testing.T) {
	const hour, told = 3600, 0.12
	tank := dosing.Tank{Volume: 180, DeadTime: 30 * time.Second, TimeConstant: time.Minute, BufferScale: 1, PHNoise: 0.01, ECNoise: 0.005,
		TopUp: dosing.Water{Alkalinity: 0.3, EC: told}}
	r := New(nightPumps(), tank, evenBuffer(0.5))
	random := rand.New(rand.NewPCG(5, 5))
	litres, salt, probe := 180.0, 180*1.2, 1.2
	for second := range 12 * hour {
		now, valve := dosing.Instant{Up: time.Duration(second+1) * time.Second}, 0.0
		litres -= 1.8 / hour
		if second%hour >= hour-60 {
			valve = 1
			litres += 1.8 / 60
			salt += told * 1.8 / 60
		}
		probe += (salt/litres - probe) / 60
		r.Read(now, dosing.QuantityTopUp, valve)
		r.Read(now, dosing.QuantityLevel, math.Round(litres+0.5*random.NormFloat64()))
		r.Read(now, dosing.QuantityPH, 5.8+0.01*random.NormFloat64())
		r.Read(now, dosing.QuantityEC, probe+0.005*random.NormFloat64())
		r.Judge(now, 0, 0.2)
		if got := r.SourceWater(); got != "" {
			t.Fatalf("after %v: %s", now.Up, got)
		}
	}
}

func TestWaterThatIsAsToldAgainClearsItself(t *testing.T) {
	var e excess
	for range 2 {
		e.add(4, 0.5, 1, 1)
	}
	if !e.stands {
		t.Fatal("4 meq/L more, twice, is not believed")
	}
	for range 8 {
		e.add(0, 0.5, 1, 1)
	}
	if e.stands {
		t.Error("it stands after eight top-ups as told")
	}
	if e.add(1.2, 0.5, 1, 1); e.stands {
		t.Error("what is barely more than an error of what was told is believed")
	}
}
