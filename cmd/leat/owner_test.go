package main

import (
	"strings"
	"testing"
	"time"

	"leat/controller/app/apptest"
)

// Two daemons with state folders of their own and one station name, on a real broker: the
// later never doses, and takes the station only when the owner's machine is gone.
func TestStationOfADaemonThatWasKilledIsTakenOverAndNotGivenBackToIt(t *testing.T) {
	broker := apptest.NewBroker(t)
	first := apptest.Config(t, broker.URL(), "[[node]]", "client_id = \"one\"\n\n[[node]]")
	later := apptest.Config(t, broker.URL(), "[[node]]", "client_id = \"two\"\n\n[[node]]")
	owner := leat(t, "run", "-config", first)
	apptest.Eventually(t, "the first owns the station", func() bool { return broker.Retained("leat/bench/owner") != "" })
	claim := broker.Retained("leat/bench/owner")
	heir := leat(t, "run", "-config", later)
	heir.Await("another daemon owns this station")
	if out := ended(t, 1, "mode", "-config", later, "-tank", "tub", "arm", "-note", "try"); !strings.Contains(out, "owns the station") {
		t.Errorf("arming the later daemon: %s", out)
	}
	if a := ask(t, broker, "leat/bench/tub/setpoint/ph", "5.9"); !a.Accepted {
		t.Errorf("the owner refused: %+v", a)
	}
	owner.Kill()
	began := time.Now()
	heir.Await("the owner of this station is silent")
	if waited := time.Since(began); waited < 20*time.Second {
		t.Errorf("the station was taken %v after its owner fell silent: a short break of its link would have been enough", waited)
	}
	if now := broker.Retained("leat/bench/owner"); now == claim {
		t.Error("the claim on the broker is still the dead daemon's")
	}
	back := leat(t, "run", "-config", first)
	back.Await("another daemon owns this station")
}
