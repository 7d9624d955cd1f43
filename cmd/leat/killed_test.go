package main

import (
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
	"time"

	"leat/controller/app/apptest"
)

// Daemon, broker and node are killed in turn as they come, at any moment of a dose or none.
// LEAT_ROUNDS=60 plays sixty; what was given is covered by the ledger after every one.
func TestKilledInTurnTheLedgerCoversWhatWasGiven(t *testing.T) {
	rounds := 3
	if text := os.Getenv("LEAT_ROUNDS"); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil || n < 1 {
			t.Fatalf("LEAT_ROUNDS=%s is no number of rounds", text)
		}
		rounds = n
	}
	t.Parallel()
	broker := apptest.NewBroker(t)
	path := apptest.Config(t, broker.URL())
	farm := apptest.NewFarm(t, apptest.Load(t, path))
	daemon := running(t, path)
	arm(t, path)
	r := rand.New(rand.NewPCG(1, uint64(rounds)))
	kills := map[string]int{}
	for round := range rounds {
		dosesAgain(t, farm)
		moment := time.Now().Add(time.Duration(r.IntN(1500)) * time.Millisecond)
		apptest.Eventually(t, "the drawn moment comes", func() bool { return time.Now().After(moment) })
		what := []string{"daemon", "broker", "node"}[(round+r.IntN(2))%3]
		kills[what]++
		switch what {
		case "daemon":
			daemon.Kill()
			apptest.Covers(t, apptest.Record(t, apptest.State(path)), farm)
			daemon = running(t, path)
			arm(t, path)
		case "broker":
			broker.Kill()
			daemon.Await(`"broker"`, `"connected":false`)
			broker.Start()
		case "node":
			farm.Reboot()
		}
	}
	dosesAgain(t, farm)
	apptest.Eventually(t, "the pumps stand", func() bool { return !farm.Pumping() })
	stopsCleanly(t, daemon)
	state := apptest.Record(t, apptest.State(path))
	apptest.Covers(t, state, farm)
	if twice := farm.Twice(); len(twice) > 0 {
		t.Errorf("ordered or begun twice: %q", twice)
	}
	t.Logf("killed %v; epoch %d, %d orders arrived, %d begun, %v given, %v counted", kills, state.LastEpoch, len(farm.Orders()), farm.Starts(), farm.Delivered(), state.Ever)
}

// dosesAgain waits for one more dose. A broker that was killed three times in three minutes
// looks like another program under the daemon's client id, and that holds for three more.
func dosesAgain(t *testing.T, farm *apptest.Farm) {
	t.Helper()
	before := farm.Finished()
	for deadline := time.Now().Add(6 * time.Minute); farm.Finished() == before; time.Sleep(50 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatal("no dose in six minutes")
		}
	}
}
