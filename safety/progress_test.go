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
	if trip, _ := f.trip(0, CauseNoResponse); !strings.HasPrefix(trip.Detail, "acid worth 2.") {
		t.Errorf("it says %q; some 50 doses of 4 mL are worth a little above 2 pH", trip.Detail)
	}
	f.wantCause("acid", f.judge(0, acidPump, dosing.Millilitre), CauseNoResponse)
	f.wantCause("base", f.judge(0, basePump, dosing.Millilitre), CauseNoResponse)
	if _, blocked := f.w.Blocks(0, calciumPump); blocked {
		t.Error("the stocks stand too")
	}
}

// toppingUp passes hours in which plants drink as much as the valve lets in, 165 L an
// hour: the valve opens for a minute in ten. Each minute a pump gives some millilitres.
func (f *farm) toppingUp(p dosing.PumpID, ml float64, hours int) {
	f.t.Helper()
	const litres = 27.5
	for range 6 * hours {
		f.set(0, dosing.QuantityTopUp, 1)
		for range 12 {
			f.value[f.input(0, dosing.QuantityLevel)] += litres / 12
			f.pass(5 * time.Second)
		}
		f.set(0, dosing.QuantityTopUp, 0)
		f.w.Opened(dosing.Dose{Tank: 0, Pump: p, Volume: dosing.FromMillilitres(10 * ml), Up: f.now.Up})
		for range 9 {
			f.value[f.input(0, dosing.QuantityLevel)] -= litres / 9
			f.pass(time.Minute)
		}
	}
}

// 495 L of water came in over three hours: what they took of acid and diluted of the
// stocks is no want of an answer.
func TestAcidAndStocksThatALongTopUpTakesAreNoSilence(t *testing.T) {
	for _, c := range []struct {
		what     string
		quantity dosing.Quantity
		value    float64
		pump     dosing.PumpID
		ml       float64 // a minute
		found    bool
	}{
		{"acid that its alkalinity took", dosing.QuantityPH, 6.2, acidPump, 1.75, false},
		{"far more acid", dosing.QuantityPH, 6.2, acidPump, 2.6, true},
		{"stock that it diluted", dosing.QuantityEC, 1.5, calciumPump, 6.5, false},
		{"far more stock", dosing.QuantityEC, 1.5, calciumPump, 12, true},
	} {
		f := freshFarm(t)
		f.set(0, c.quantity, c.value)
		f.pass(5 * time.Minute)
		f.toppingUp(c.pump, c.ml, 3)
		found := ""
		for _, trip := range f.w.Trips(0) {
			if trip.Cause == CauseNoResponse && strings.Contains(trip.Detail, "has arrived") {
				found = trip.Detail
			}
		}
		if (found != "") != c.found {
			t.Errorf("%s, 495 L in three hours: stopped %v, want %v: %s", c.what, found != "", c.found, found)
		}
	}
}

// A tank that stood just outside its start band is changed for fresh water under
// maintenance, and told: the way back is progress from there, not none from before.
func TestTheWayBackAfterAChangeOfWaterIsProgress(t *testing.T) {
	for _, c := range []struct {
		what           string
		quantity       dosing.Quantity
		before, fresh  float64
		pump           dosing.PumpID
		ml, perHour    float64
		confirm, found bool
	}{
		{"stock", dosing.QuantityEC, 1.74, 1.2, calciumPump, 15, 0.35, true, false},
		{"stock that no probe sees", dosing.QuantityEC, 1.74, 1.2, calciumPump, 15, 0, true, true},
		{"acid", dosing.QuantityPH, 5.92, 7.1, acidPump, 4, -0.6, true, false},
		{"acid after probes were serviced", dosing.QuantityPH, 5.92, 7.1, acidPump, 4, -0.6, false, false},
		{"acid that no probe sees", dosing.QuantityPH, 5.92, 7.1, acidPump, 4, 0, true, true},
	} {
		f := freshFarm(t)
		f.set(0, c.quantity, c.before)
		f.pass(20 * time.Minute)
		f.w.SetState(f.now, 0, OperatorState{Maintenance: true})
		f.pass(time.Minute)
		f.set(0, c.quantity, c.fresh)
		f.pass(5 * time.Minute)
		if c.confirm {
			f.w.Confirm(f.now, 0)
		}
		f.w.SetState(f.now, 0, OperatorState{})
		f.pass(10 * time.Minute)
		at, found := f.given(c.pump, c.ml, c.quantity, c.perHour, 90*time.Minute)
		if found != c.found {
			t.Errorf("%s: stopped %v after %v, want %v", c.what, found, at, c.found)
		}
	}
}
