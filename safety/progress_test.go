package safety

import (
	"strings"
	"testing"
	"time"

	"leat/dosing"
)

// given counts doses of a pump, one a minute and whatever the tests of its pools say, while
// the readings move so much an hour, and says after how long acid and base, or the stocks, are stopped for want of progress.
func (f *farm) given(p dosing.PumpID, ml float64, q dosing.Quantity, perHour float64, length time.Duration) (stopped time.Duration, found bool) {
	f.t.Helper()
	begun := f.now.Up
	for f.now.Up-begun < length {
		f.w.Opened(dosing.Dose{Tank: 0, Pump: p, Volume: dosing.FromMillilitres(ml), Up: f.now.Up})
		f.value[f.input(0, q)] += perHour / 60
		f.pass(time.Minute)
		for _, trip := range f.w.Trips(0) {
			if trip.Cause == CauseNoResponse && strings.Contains(trip.Detail, "has arrived") {
				return f.now.Up - begun, true
			}
		}
	}
	return 0, false
}

func TestDosesThatBringTheSetpointNoNearerAreStopped(t *testing.T) {
	for _, c := range []struct {
		what          string
		pump          dosing.PumpID
		quantity      dosing.Quantity
		value         float64
		ml, perHour   float64
		after, before time.Duration // of the stop; 0 = none
	}{
		{"acid into water that no probe sees, or whose carbonate leaves as CO2", acidPump, dosing.QuantityPH, 6.2, 4, 0, 50 * time.Minute, 70 * time.Minute},
		{"base into water that no probe sees", basePump, dosing.QuantityPH, 5.4, 4, 0, 25 * time.Minute, 40 * time.Minute},
		{"acid against plants that give as much", acidPump, dosing.QuantityPH, 6.2, 0.3, 0, 0, 0},
		{"acid into twenty times the buffer", acidPump, dosing.QuantityPH, 6.6, 4, -0.12, 0, 0},
		{"acid that holds the setpoint", acidPump, dosing.QuantityPH, 5.85, 4, 0, 0, 0},
		{"stock into water that no probe sees", calciumPump, dosing.QuantityEC, 1.5, 15, 0, 25 * time.Minute, 40 * time.Minute},
		{"stock against what plants take", calciumPump, dosing.QuantityEC, 1.5, 1.5, 0, 0, 0},
		{"stock of a third of its strength", calciumPump, dosing.QuantityEC, 1.4, 5, 0.1, 0, 0},
	} {
		f := freshFarm(t)
		f.set(0, c.quantity, c.value)
		f.pass(5 * time.Minute)
		at, found := f.given(c.pump, c.ml, c.quantity, c.perHour, 2*time.Hour)
		if found != (c.before > 0) || at < c.after || at > c.before {
			t.Errorf("%s: stopped %v after %v, want %v to %v", c.what, found, at, c.after, c.before)
		}
	}
}

func TestWantOfProgressStopsWhatItIsAboutAndAPersonClearsIt(t *testing.T) {
	f := freshFarm(t)
	f.set(0, dosing.QuantityPH, 6.2)
	f.pass(5 * time.Minute)
	if _, found := f.given(acidPump, 4, dosing.QuantityPH, 0, time.Hour); !found {
		t.Fatal("not stopped")
	}
	f.wantCause("acid", f.judge(0, acidPump, dosing.Millilitre), CauseNoResponse)
	f.wantCause("base", f.judge(0, basePump, dosing.Millilitre), CauseNoResponse)
	if _, blocked := f.w.Blocks(0, calciumPump); blocked {
		t.Error("the stocks stand too")
	}
}
