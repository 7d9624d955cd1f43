package safety

import (
	"strings"
	"testing"
	"time"

	"leat/dosing"
)

func TestAPersonIsToldWhichLimitBindsNow(t *testing.T) {
	f := newFarm(t)
	a := f.g.Allowance(f.now, 0, calciumPump)
	if a.Most != 100*dosing.Millilitre || a.By != CauseEffectCap || !strings.Contains(a.Words, "0.10 mS/cm") {
		t.Errorf("at first %+v", a)
	}
	f.drift(0, dosing.QuantityPH, 6.2)
	if a = f.g.Allowance(f.now, 0, basePump); a.Most != 0 || a.By != CauseAwayFromSetpoint || a.Words == "" {
		t.Errorf("base above the setpoint: %+v", a)
	}
	f.w.pumps[calciumPump].caps.PerHour = 40 * dosing.Millilitre
	if a = f.g.Allowance(f.now, 0, calciumPump); a.Most != 40*dosing.Millilitre || a.By != CauseHourlyCap || !strings.Contains(a.Words, "of 40") {
		t.Errorf("by the hour %+v", a)
	}
	f.w.pumps[calciumPump].caps.PerHour = dosing.Microlitre
	if a = f.g.Allowance(f.now, 0, calciumPump); a.Most != 0 || a.By != CauseHourlyCap || !strings.Contains(a.Words, "smallest dose") {
		t.Errorf("less than the smallest dose: %+v", a)
	}
}

// What is told to a person is not what decides: asking trips nothing and evaluates nothing.
func TestAskingForTheLargestDoseChangesNothing(t *testing.T) {
	f := newFarm(t)
	before := f.w.Trips(0)
	later := f.now
	later.Up += time.Hour // every reading is old by then
	f.g.Allowance(later, 0, acidPump)
	if after := f.w.Trips(0); len(after) != len(before) {
		t.Errorf("trips before %v, after %v", before, after)
	}
	if f.g.Allowance(f.now, 9, acidPump).By != CauseConfigurationUnsafe || (*Gate)(nil).Allowance(f.now, 0, 0).By == CauseNone {
		t.Error("what is not there is given something")
	}
}

// A dose that has long arrived by the commissioned times may not have by the learned ones:
// a look must not make the totals forget it.
func TestAskingForTheLargestDoseForgetsNoDose(t *testing.T) {
	f := newFarm(t)
	f.dose(0, acidPump, dosing.Millilitre)
	counted := func() (doses int) {
		f.w.totals.SeeInTransit(0, f.now.Up, 24*time.Hour, time.Minute, func(*dosing.Dose, float64) { doses++ })
		return doses
	}
	later := f.now
	later.Up += 12 * time.Hour
	if f.g.Allowance(later, 0, acidPump); counted() != 1 {
		t.Errorf("%d doses are remembered after the look, one was given", counted())
	}
}
