package apptest

import (
	"testing"
	"time"

	"leat/controller/store"
	"leat/dosing"
	"leat/safety/ledger"
)

// Record verifies the whole chain of a state folder and returns what it says.
func Record(t testing.TB, folder string) ledger.State {
	t.Helper()
	db, err := store.OpenReader(folder)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, _, err := ledger.Verify(db, func(ledger.Entry) error { return nil }); err != nil {
		t.Fatalf("the chain does not verify: %v", err)
	}
	state, err := ledger.Replay(db, dosing.Instant{Wall: time.Now()}, false)
	if err != nil {
		t.Fatal(err)
	}
	return state
}

// Covers fails the test where the nodes truly gave more than the record counts. A
// node's clock rounds to the millisecond, which is less than a microlitre an order.
func Covers(t testing.TB, state ledger.State, farm *Farm) {
	t.Helper()
	rounding := dosing.Volume(farm.Starts()) * dosing.Microlitre
	for pump, given := range farm.Delivered() {
		if counted := state.Ever[pump]; given > counted+rounding {
			t.Errorf("pump %s: %s left its container, the record counts %s", pump, given, counted)
		}
	}
}
