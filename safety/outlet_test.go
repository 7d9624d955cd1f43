package safety

import (
	"testing"
	"time"

	"leat/dosing"
)

// An order of one tank shuts the outlets of the others: nothing is wrong with those.
func TestAnOutletIsJudgedByTheOrdersOfItsOwnTankAlone(t *testing.T) {
	f := newFarm(t)
	for range 20 {
		key := f.open(0, sulfatePump, 5*dosing.Millilitre)
		f.set(1, dosing.QuantityOutlet, 0)
		for range 20 {
			f.pass(time.Second)
			if trip, tripped := f.trip(1, CauseOutletUnproved); tripped {
				t.Fatalf("while the other tank is dosed: %+v", trip)
			}
		}
		f.w.Closed(f.now, 0, sulfatePump, key, FateKnown, 5*dosing.Millilitre)
		f.set(1, dosing.QuantityOutlet, 1)
		f.pass(5 * time.Minute)
	}
	f.wantFree(1, "after twenty doses of the other tank", allFree)
}

func TestAValveThatRestsShutAndOpensForItsDoseIsInOrder(t *testing.T) {
	f := newFarm(t)
	for _, q := range []dosing.TankID{0, 1} {
		f.set(q, dosing.QuantityOutlet, 0)
	}
	f.pass(time.Hour)
	f.wantFree(0, "at rest", allFree)
	key := f.open(0, sulfatePump, 5*dosing.Millilitre)
	f.pass(4 * time.Second)
	f.set(0, dosing.QuantityOutlet, 1)
	f.pass(26 * time.Second)
	f.set(0, dosing.QuantityOutlet, 0)
	f.pass(2 * time.Second) // the report comes a little after the valve shut
	f.w.Closed(f.now, 0, sulfatePump, key, FateKnown, 5*dosing.Millilitre)
	f.pass(5 * time.Minute)
	f.wantFree(0, "after its dose", allFree)
}

func TestAnOrderThatIsRefusedBeforeAShutValveHoldsItsTankForAMixingTime(t *testing.T) {
	f := newFarm(t)
	f.set(0, dosing.QuantityOutlet, 0)
	f.pass(10 * time.Second)
	key := f.open(0, sulfatePump, 5*dosing.Millilitre)
	f.w.Closed(f.now, 0, sulfatePump, key, FateUnknown, 0)
	f.pass(time.Second)
	if trip, tripped := f.trip(0, CauseOutletUnproved); !tripped || trip.Scope != ScopeTank {
		t.Fatalf("%+v", f.w.Trips(0))
	}
	f.pass(290 * time.Second)
	if _, tripped := f.trip(0, CauseOutletUnproved); !tripped {
		t.Error("gone before the next order can tell")
	}
	f.pass(15 * time.Second)
	f.wantFree(0, "a mixing time later", allFree)
	f.set(0, dosing.QuantityOutlet, 1)
	f.pass(10 * time.Second)
	key = f.open(0, sulfatePump, 5*dosing.Millilitre)
	f.w.Closed(f.now, 0, sulfatePump, key, FateUnknown, 0)
	f.pass(time.Second)
	if trip, tripped := f.trip(0, CauseOutletUnproved); tripped {
		t.Errorf("a word that was lost, the valve open: %+v", trip)
	}
}
