package main

import (
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
	"time"

	"leat/controller/app/apptest"
)

// yard is a farm with its broker and daemon, each of them a process or as good as one, to which things happen.
type yard struct {
	t      *testing.T
	broker *apptest.Broker
	path   string
	farm   *apptest.Farm
	daemon *apptest.Process
	random *rand.Rand
}

// newYard starts them and arms the tub. The daemon reaches the broker by the address that its configuration names.
func newYard(t *testing.T, broker *apptest.Broker, address string, seed uint64, changes ...string) *yard {
	t.Helper()
	y := &yard{t: t, broker: broker, path: apptest.Config(t, address, changes...), random: rand.New(rand.NewPCG(1, seed))}
	file := apptest.Load(t, y.path)
	file.Broker.URL = broker.URL()
	y.farm = apptest.NewFarm(t, file)
	y.daemon = running(t, y.path)
	arm(t, y.path)
	return y
}

// state is the daemon's folder.
func (y *yard) state() string { return apptest.Load(y.t, y.path).State }

func (y *yard) killDaemon() {
	y.daemon.Kill()
	apptest.Covers(y.t, apptest.Record(y.t, y.state()), y.farm)
	y.daemon = running(y.t, y.path)
	arm(y.t, y.path)
}

func (y *yard) killBroker() {
	y.broker.Kill()
	y.daemon.Await(`"broker"`, `"connected":false`)
	y.broker.Start()
}

// soon waits for a drawn moment of the next one and a half seconds.
func (y *yard) soon() {
	moment := time.Now().Add(time.Duration(y.random.IntN(1500)) * time.Millisecond)
	apptest.Eventually(y.t, "the drawn moment comes", func() bool { return time.Now().After(moment) })
}

// judge ends the daemon in order and compares the record with what the nodes know.
func (y *yard) judge() {
	y.t.Helper()
	apptest.Eventually(y.t, "the pumps stand", func() bool { return !y.farm.Pumping() })
	stopsCleanly(y.t, y.daemon)
	state := apptest.Record(y.t, y.state())
	apptest.Covers(y.t, state, y.farm)
	if twice := y.farm.Twice(); len(twice) > 0 {
		y.t.Errorf("ordered or begun twice: %q", twice)
	}
	y.t.Logf("epoch %d, %d rows, %d orders arrived, %d begun, %v given, %v counted", state.LastEpoch, state.Rows, len(y.farm.Orders()), y.farm.Starts(), y.farm.Delivered(), state.Ever)
}

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
	y := newYard(t, broker, broker.URL(), uint64(rounds))
	kills := map[string]int{}
	for round := range rounds {
		dosesAgain(t, y.farm)
		y.soon()
		what := []string{"daemon", "broker", "node"}[(round+y.random.IntN(2))%3]
		kills[what]++
		switch what {
		case "daemon":
			y.killDaemon()
		case "broker":
			y.killBroker()
		case "node":
			y.farm.Reboot()
		}
	}
	dosesAgain(t, y.farm)
	y.judge()
	t.Logf("killed %v", kills)
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
