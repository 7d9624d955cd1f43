package main

import (
	"strings"
	"testing"

	"leat/controller/app/apptest"
)

// What a hub was told of stays at the broker for ever, unless somebody clears it.
func TestWhatIsAnnouncedNoMoreIsClearedAtTheBroker(t *testing.T) {
	t.Parallel()
	broker := apptest.NewBroker(t)
	path := apptest.Config(t, broker.URL(), "[broker]\n", "[broker]\ndiscovery = \"hubs\"\n")
	const setpoint, reading = "hubs/number/leat-bench-tub/setpoint-ph/config", "hubs/sensor/leat-bench-tub/mode/config"
	stands := func(topic string, wanted bool) {
		t.Helper()
		apptest.Eventually(t, topic, func() bool { return strings.HasPrefix(broker.Retained(topic), "{") == wanted })
	}
	daemon := running(t, path)
	stands(setpoint, true)
	stands(reading, true)
	stopsCleanly(t, daemon)
	stands(setpoint, true) // the daemon's end is no reason: its last will says that it is gone

	// Another place: the old one is cleared.
	apptest.Edit(t, path, `discovery = "hubs"`, `discovery = "elsewhere"`)
	daemon = running(t, path)
	stands("elsewhere/number/leat-bench-tub/setpoint-ph/config", true)
	stands(setpoint, false)
	stands(reading, false)
	daemon.Kill() // and what a killed daemon announced is not forgotten

	apptest.Edit(t, path, "discovery = \"elsewhere\"\n", "")
	daemon = running(t, path)
	stands("elsewhere/number/leat-bench-tub/setpoint-ph/config", false)
	stands("elsewhere/sensor/leat-bench-tub/mode/config", false)
	stopsCleanly(t, daemon)
}
