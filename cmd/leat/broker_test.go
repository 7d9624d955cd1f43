package main

import (
	"encoding/json"
	"io"
	"net/http"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"leat/controller/app/apptest"
)

// These tests run the program against Debian's mosquitto, with the simulated farm
// as another client, in real time.

// doses waits until the nodes have finished n more doses.
func doses(t *testing.T, farm *apptest.Farm, n int) {
	t.Helper()
	until := farm.Finished() + n
	apptest.Eventually(t, "the nodes finish doses", func() bool { return farm.Finished() >= until })
}

func TestBrokerRestartsInTheMiddleOfADose(t *testing.T) {
	t.Parallel()
	broker := apptest.NewBroker(t)
	path := apptest.Config(t, broker.URL())
	farm := apptest.NewFarm(t, apptest.Load(t, path))
	daemon := running(t, path)
	arm(t, path)
	doses(t, farm, 1)

	rounds := 1
	if apptest.Real() {
		rounds = 2
	}
	for round := range rounds {
		apptest.Eventually(t, "a pump runs", farm.Pumping)
		broker.Kill()
		daemon.Await(`"broker"`, `"connected":false`)
		apptest.Eventually(t, "the farm has lost the link too", func() bool { return !farm.Connected() })
		starts := farm.Starts()
		// The node ends the dose by its own clock; nothing may follow.
		apptest.Eventually(t, "the dose that was under way has ended", func() bool { return !farm.Pumping() })
		away := time.Now()
		apptest.Eventually(t, "the broker has been away for five decisions", func() bool { return time.Since(away) > 5*time.Second })
		if farm.Starts() != starts {
			t.Errorf("round %d: %d doses began while the link was down", round, farm.Starts()-starts)
		}
		broker.Start()
		doses(t, farm, 2)
	}
	stopsCleanly(t, daemon)
	if twice := farm.Twice(); len(twice) > 0 {
		t.Errorf("ordered or dosed twice: %q", twice)
	}
	state := apptest.Record(t, apptest.State(path))
	apptest.Covers(t, state, farm)
	t.Logf("%d orders arrived, %d doses, %d rows in the record", len(farm.Orders()), farm.Starts(), state.Rows)
}

func TestFarmOnlyProcessIsDosedByLeatRun(t *testing.T) {
	t.Parallel()
	broker := apptest.NewBroker(t)
	// The farm's probes send once a second: a reading may be half of dead time and
	// lag old.
	path := apptest.Config(t, broker.URL(), `dead_time = "1s"`, `dead_time = "3s"`, `time_constant = "1s"`, `time_constant = "3s"`, `"5s"`, `"15s"`)
	farm := leat(t, "demo", "-farm-only", "-broker", broker.URL(), "-config", path)
	daemon := running(t, path)
	arm(t, path)
	daemon.Await(`"dose"`, `"outcome":"confirmed"`)
	stopsCleanly(t, daemon)
	farm.Signal(terminate)
	if code := farm.Wait(); code != 0 {
		t.Errorf("the farm ends with exit code %d: %s", code, farm.Log())
	}
}

// answered is the answer to a wish.
type answered struct {
	Accepted bool
	Text     string
	Min      float64
	Max      float64
}

func ask(t *testing.T, broker *apptest.Broker, topic, body string) answered {
	t.Helper()
	text := broker.Ask(topic, body)
	var a answered
	if err := json.Unmarshal([]byte(text), &a); err != nil {
		t.Fatalf("answer %s: %v", text, err)
	}
	t.Logf("%s ← %s: %s", topic, body, text)
	return a
}

func TestPhoneAsksForAnotherSetpointOverMQTT(t *testing.T) {
	t.Parallel()
	broker := apptest.NewBroker(t)
	// A step of a ramp is published when it shows in a hundredth of a pH.
	path := apptest.Config(t, broker.URL(), "[tank.input.ph]", "[tank.ph_setpoint]\nramp = \"6 pH/h\"\n\n[tank.input.ph]")
	daemon := running(t, path)
	daemon.Await(`"broker"`, `"connected":true`)

	if a := ask(t, broker, "leat/bench/tub/setpoint/ph", "58"); a.Accepted || !strings.Contains(a.Text, "58") || !strings.Contains(a.Text, "5") || !strings.Contains(a.Text, "7") {
		t.Errorf("58 must be refused with the bounds: %+v", a)
	}
	if a := ask(t, broker, "leat/bench/tub/setpoint/ph", "five"); a.Accepted || a.Text == "" {
		t.Errorf("a word must be refused with a hint: %+v", a)
	}
	if a := ask(t, broker, "leat/bench/tub/setpoint/ph", "5.9"); !a.Accepted || !strings.Contains(a.Text, "5.8 → 5.9") || !strings.Contains(a.Text, "ramp") {
		t.Errorf("5.9 must be taken along a ramp: %+v", a)
	}
	// It ramps: the present value moves from 5.8, well before it is at 5.9.
	var shown struct{ Working, Final float64 }
	apptest.Eventually(t, "the setpoint is on its way", func() bool {
		return json.Unmarshal([]byte(broker.Retained("leat/bench/tub/setpoint/ph")), &shown) == nil && shown.Working > 5.8
	})
	if shown.Final != 5.9 || !(shown.Working < 5.9) {
		t.Errorf("on its way to 5.9: %+v", shown)
	}
	stopsCleanly(t, daemon)
}

// withBroker adds lines to the broker's table.
func withBroker(lines string) []string { return []string{"[[node]]", lines + "\n\n[[node]]"} }

func TestBrokerRefusesThePasswordAndTheDaemonSaysSoTriesOnAndHolds(t *testing.T) {
	passwords := filepath.Join(t.TempDir(), "passwords")
	if out, err := exec.Command(apptest.Tool(t, "mosquitto_passwd"), "-b", "-c", passwords, "leat", "right").CombinedOutput(); err != nil {
		t.Fatalf("mosquitto_passwd: %v: %s", err, out)
	}
	broker := apptest.NewBroker(t, "allow_anonymous false", "password_file "+passwords)
	t.Setenv("LEAT_TEST_PASSWORD", "wrong")
	path := apptest.Config(t, broker.URL(), withBroker("user = \"leat\"\npassword_env = \"LEAT_TEST_PASSWORD\"")...)
	daemon := running(t, path)
	keepsTrying(t, daemon, `refuses user \"leat\": wrong name or password`)
	if strings.Contains(daemon.Log(), `"wrong"`) {
		t.Error("the password stands in the log")
	}
	holdsForTheBroker(t, path, daemon)
}

func TestBrokerWithAnotherAuthoritysCertificateIsRefusedTheDaemonTriesOnAndHolds(t *testing.T) {
	right, other := apptest.NewAuthority(t), apptest.NewAuthority(t)
	certificate, key := other.Issue(t, "127.0.0.1")
	broker := apptest.NewBroker(t, "allow_anonymous true", "certfile "+certificate, "keyfile "+key)
	path := apptest.Config(t, "mqtts://"+broker.Address, withBroker("ca_file = \""+right.File(t)+"\"")...)
	daemon := running(t, path)
	keepsTrying(t, daemon, "signed by an authority that is not trusted here")
	holdsForTheBroker(t, path, daemon)

	// The same broker, once the right authority vouches for it.
	path = apptest.Config(t, "mqtts://"+broker.Address, withBroker("ca_file = \""+other.File(t)+"\"")...)
	trusting := running(t, path)
	trusting.Await(`"broker"`, `"connected":true`)
	stopsCleanly(t, trusting)
}

// keepsTrying waits until the daemon has said twice why the link is closed.
func keepsTrying(t *testing.T, daemon *apptest.Process, why string) {
	t.Helper()
	apptest.Eventually(t, "the daemon tries again and says why it failed: "+why, func() bool { return strings.Count(daemon.Log(), why) >= 2 })
}

// holdsForTheBroker checks that an armed daemon without a broker is not ready, says
// why, and ends cleanly.
func holdsForTheBroker(t *testing.T, path string, daemon *apptest.Process) {
	t.Helper()
	arm(t, path)
	if code, body := get(t, page(t, daemon)+"/readyz"); code != 503 || !strings.Contains(body, "the broker is not connected") {
		t.Errorf("/readyz: %d %s", code, body)
	}
	daemon.Await(`"interlock"`, `"broker-disconnected"`, `"active":true`)
	stopsCleanly(t, daemon)
	if state := apptest.Record(t, apptest.State(path)); len(state.Ever) != 0 {
		t.Errorf("dosed without a broker: %v", state.Ever)
	}
}

func get(t *testing.T, url string) (int, string) {
	t.Helper()
	response, err := http.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	body, err := io.ReadAll(response.Body)
	if err != nil {
		t.Fatal(err)
	}
	return response.StatusCode, string(body)
}
