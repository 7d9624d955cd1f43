package app

import (
	"encoding/json"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"leat/controller"
	"leat/controller/app/apptest"
	"leat/controller/config"
	"leat/controller/store"
	"leat/dosing"
	"leat/safety"
)

func TestStopIsToldToThePumpsWhenTheLinkOpensAndWhenTheDaemonEnds(t *testing.T) {
	broker := newInner(t)
	d := runs(t, apptest.Config(t, broker.url), Options{})
	apptest.Eventually(t, "the stop of the start goes out", func() bool { return len(broker.on("/stop")) == 1 })
	if first := broker.on("/stop")[0]; first.body != `{"epoch":1}` {
		t.Errorf("the first stop is %s; want all pumps of epoch 1", first.body)
	}
	if err := d.end(); err != nil {
		t.Errorf("ended with %v", err)
	}
	if stops := broker.on("/stop"); len(stops) != 2 {
		t.Errorf("%d stops were published; want one at the start and one at the end", len(stops))
	}
	if online := broker.on("/online"); len(online) != 2 || online[0].body != "1" || online[1].body != "0" {
		t.Errorf("online said %v; want 1, then 0", online)
	}
	if told := d.supervisor.told; told[0] != "READY=1" || told[len(told)-1] != "STOPPING=1" || d.supervisor.count("READY=1") != 1 {
		t.Errorf("the supervisor was told %q", told)
	}
}

// What a broker stores it gives to whoever comes later: an order of last week would run
// when a node comes back, a lease keep it running.
func TestNoOrderStopOrLeaseIsStoredByTheBroker(t *testing.T) {
	t.Parallel()
	broker := newInner(t)
	path := apptest.Config(t, broker.url)
	farm := apptest.NewFarm(t, apptest.Load(t, path))
	d := runs(t, path, Options{ArmAll: true})
	apptest.Eventually(t, "a dose is given", func() bool { return farm.Finished() >= 1 })
	if err := d.end(); err != nil {
		t.Error(err)
	}
	broker.mu.Lock()
	defer broker.mu.Unlock()
	states := 0
	for _, topic := range broker.kept {
		for _, moment := range []string{"/order/", "/stop", "/supply", "/lease", "/report/", "/node/"} {
			if strings.Contains(topic, moment) {
				t.Errorf("%s was sent to be stored", topic)
			}
		}
		if strings.HasSuffix(topic, "/state") {
			states++
		}
	}
	if states == 0 {
		t.Errorf("no state was seen to be stored, so the test sees nothing: %q", broker.kept)
	}
}

func TestHungDecisionLoopSendsNoLeaseAndFeedsNoWatchdog(t *testing.T) {
	broker := newInner(t)
	// The daemon hangs where it takes a report: nothing on its way to a decision
	// returns.
	hang, hung := make(chan struct{}), make(chan struct{})
	passing = func(point string) {
		if point == "done arrived" {
			close(hung)
			<-hang
		}
	}
	defer func() { passing = nil }()
	d := runs(t, apptest.Config(t, broker.url), Options{})
	defer func() { _ = d.end() }() // before passing is taken back
	defer close(hang)
	apptest.Eventually(t, "leases go out and the watchdog is fed", func() bool {
		return len(broker.on("/lease")) >= 2 && d.supervisor.count("WATCHDOG=1") >= 2
	})
	broker.publish(t, "leat/bench/report/acid", `{"order":"1-000001","phase":"done","run_ms":1000,"volume_ml":0.1}`)
	<-hung
	leases, fed := len(broker.on("/lease")), d.supervisor.count("WATCHDOG=1")
	began := time.Now()
	apptest.Eventually(t, "three periods of the lease pass", func() bool { return time.Since(began) > 3*2*time.Second })
	if n := len(broker.on("/lease")); n != leases {
		t.Errorf("%d leases were sent by a hung daemon", n-leases)
	}
	if n := d.supervisor.count("WATCHDOG=1"); n != fed {
		t.Errorf("a hung daemon fed the watchdog %d times", n-fed)
	}
}

func TestSystemdIsToldOfReadinessLifeAndEnd(t *testing.T) {
	path := filepath.Join(t.TempDir(), "notify")
	socket, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	if err != nil {
		if apptest.Real() {
			t.Fatalf("no unixgram sockets here: %v", err)
		}
		t.Skipf("no unixgram sockets here: %v; LEAT_REAL=1 makes this a failure", err)
	}
	defer socket.Close()
	t.Setenv("NOTIFY_SOCKET", path)
	states := []string{"READY=1", "WATCHDOG=1", "STOPPING=1"}
	for _, state := range states {
		supervise(state)
	}
	for _, want := range states {
		buffer := make([]byte, 256)
		if err := socket.SetReadDeadline(time.Now().Add(time.Minute)); err != nil {
			t.Fatal(err)
		}
		n, err := socket.Read(buffer)
		if err != nil || string(buffer[:n]) != want {
			t.Errorf("received %q, %v; want %s", buffer[:n], err, want)
		}
	}
	t.Setenv("NOTIFY_SOCKET", path+".gone")
	supervise("READY=1") // nobody there: nothing to report, nothing to fail
}

func TestLaterDaemonOfTheSameStationWaitsAndTheFirstIsNotDisturbed(t *testing.T) {
	t.Parallel()
	broker := newInner(t)
	mine := runs(t, apptest.Config(t, broker.url, withID("one")...), Options{})
	apptest.Eventually(t, "the first runs", func() bool { return len(broker.on("/lease")) >= 1 })
	owner := broker.on("/owner")[0].body
	// Its own folder is new, so both have epoch 1.
	other := runs(t, apptest.Config(t, broker.url, withID("two")...), Options{})
	apptest.Eventually(t, "the later sees that the station is owned", func() bool { return other.holds("other-controller") })
	arm := controller.Request{Kind: controller.RequestArm, By: "test", From: "test", Role: controller.RoleEngineer, Note: "try"}
	answer, err := other.Ask(t.Context(), arm)
	if err != nil || answer.Accepted || !strings.Contains(answer.Text, "owns the station") {
		t.Errorf("the later daemon is armed: %+v, %v", answer, err)
	}
	broker.publish(t, "leat/bench/tub/setpoint/ph/ask", `5.9`)
	leases := len(broker.on("/lease"))
	apptest.Eventually(t, "the first goes on with its lease", func() bool { return len(broker.on("/lease")) >= leases+3 })
	if n := len(broker.on("/setpoint/ph/answer")); n != 1 {
		t.Errorf("an ask got %d answers", n)
	}
	if mine.holds("other-controller") {
		t.Error("the first daemon is held because a later one came up")
	}
	if claims := broker.on("/owner"); len(claims) != 1 || claims[0].body != owner {
		t.Errorf("the station was claimed %v", claims)
	}
	if err := mine.end(); err != nil {
		t.Error(err)
	}
	apptest.Eventually(t, "the later takes the station once the first has left", func() bool { return !other.holds("other-controller") })
	if answer, err := other.Ask(t.Context(), arm); err != nil || !answer.Accepted {
		t.Errorf("the heir is not armed: %+v, %v", answer, err)
	}
}

func withID(id string) []string {
	return []string{"[[node]]", "client_id = \"" + id + "\"\n\n[[node]]"}
}

func TestSecondDaemonUnderTheSameClientIDIsNoticedByTheBrokenLinks(t *testing.T) {
	t.Parallel()
	broker := newInner(t)
	mine := runs(t, apptest.Config(t, broker.url), Options{})
	apptest.Eventually(t, "the first is connected", func() bool { return mine.View().LinkUp })
	other := runs(t, apptest.Config(t, broker.url), Options{})
	apptest.Eventually(t, "one of them notices", func() bool { return mine.holds("other-controller") || other.holds("other-controller") })
	apptest.Eventually(t, "both notice", func() bool { return mine.holds("other-controller") && other.holds("other-controller") })
}

// A broker can lose sight of the older of two clients with one id and leave both
// connected: it answers the pings of one to whom it delivers nothing.
func TestSecondDaemonUnderTheSameClientIDIsNoticedByABrokerThatLeavesBothConnected(t *testing.T) {
	t.Parallel()
	broker := newInner(t)
	path := apptest.Config(t, broker.url)
	mine := runs(t, path, Options{})
	apptest.Eventually(t, "the first is connected", func() bool { return mine.View().LinkUp })
	id := apptest.Load(t, path).Broker.ClientID
	forgotten, ok := broker.server.Clients.Get(id)
	if !ok {
		t.Fatalf("the broker knows no client %q", id)
	}
	broker.server.UnsubscribeClient(forgotten)
	broker.server.Clients.Delete(id)
	other := runs(t, apptest.Config(t, broker.url), Options{})
	apptest.Eventually(t, "both notice", func() bool { return mine.holds("other-controller") && other.holds("other-controller") })
}

func TestLinkLostAgainAndAgainIsNoticedHoweverLongThePausesGrewButNotAfterAQuietHour(t *testing.T) {
	var l losses
	// With the longest pauses two daemons throw each other out every 60 s at the most.
	for i, want := range []int{1, 2, 3, 4} {
		if n := l.add(time.Duration(i) * time.Minute); n != want {
			t.Errorf("loss %d: %d counted, want %d", i+1, n, want)
		}
	}
	if n := l.add(time.Hour); n != 1 {
		t.Errorf("a loss an hour later: %d counted, want 1", n)
	}
}

func TestReloadIsTakenWholeOrNotAtAll(t *testing.T) {
	broker := newInner(t)
	// The node is set to longer runs than this pump makes: a setpoint that lets them
	// grow needs nobody at the node.
	path := apptest.Config(t, broker.url, `rate = "6 mL/min"`, "rate = \"6 mL/min\"\nnode_max_on_time = \"60s\"")
	version := apptest.Load(t, path).Settings.Version
	d := runs(t, path, Options{Reload: func() (*config.File, error) { return config.Load(path) }})
	good, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	value := func() float64 { return d.View().Tanks[0].PH.Final }
	if value() != 5.8 {
		t.Fatalf("setpoint %v", value())
	}

	// One fault in a file with one good change: nothing of it is taken.
	setpoint := []string{"[tank.input.ph]", "[tank.ph_setpoint]\nvalue = \"pH 5.9\"\n\n[tank.input.ph]"}
	for _, bad := range []struct{ old, fresh, words string }{
		{`rate = "6 mL/min"`, `rate = "6 mL/min"` + "\nspeed = 3", "speed"},
		{`dose_cap = "0.2 mL"`, `dose_cap = "-0.2 mL"`, "dose_cap"},
		{"url = \"" + broker.url + "\"", `url = "mqtt://127.0.0.1:1"`, "restart the daemon"},
		{`name = "tub"`, `name = "tank"`, "restart the daemon"},
	} {
		apptest.Rewrite(t, path, string(good), append(setpoint, bad.old, bad.fresh)...)
		if err := d.Reload(t.Context()); err == nil || !strings.Contains(err.Error(), bad.words) {
			t.Errorf("%s: %v; want a refusal that names %s", bad.fresh, err, bad.words)
		}
		if value() != 5.8 || d.View().Configuration != version {
			t.Errorf("%s: something of a refused file was taken", bad.fresh)
		}
	}
	apptest.Rewrite(t, path, string(good), setpoint...)
	if err := d.Reload(t.Context()); err != nil {
		t.Fatal(err)
	}
	apptest.Eventually(t, "the good file is in force", func() bool { return value() == 5.9 })
	if err := d.end(); err != nil {
		t.Error(err)
	}
	if state := apptest.Record(t, apptest.State(path)); state.Configuration != apptest.Load(t, path).Settings.Version {
		t.Errorf("the record names configuration %s", state.Configuration)
	}
}

func TestEveryRequestIsAnsweredInWords(t *testing.T) {
	broker := newInner(t)
	d := runs(t, apptest.Config(t, broker.url), Options{})
	answer, err := d.Ask(t.Context(), controller.Request{Kind: controller.RequestClear, By: "test", From: "test", Role: controller.RoleEngineer})
	if err != nil || answer.Accepted || !strings.Contains(answer.Text, "what was checked") {
		t.Errorf("clear without a note: %+v, %v", answer, err)
	}
	answer, err = d.Ask(t.Context(), controller.Request{Kind: controller.RequestArm, By: "test", From: "test", Role: controller.RoleView})
	if err != nil || answer.Accepted || !strings.Contains(answer.Text, "engineer") {
		t.Errorf("arm by a viewer: %+v, %v", answer, err)
	}
	// A payload that nobody can read is answered too, on the topic of the phone.
	apptest.Eventually(t, "the daemon listens", func() bool { return d.View().LinkUp })
	broker.publish(t, "leat/bench/tub/setpoint/ph/ask", `{"value":`)
	apptest.Eventually(t, "an answer is published", func() bool { return len(broker.on("/setpoint/ph/answer")) == 1 })
	var said struct {
		Accepted bool
		Text     string
	}
	if err := json.Unmarshal([]byte(broker.on("/setpoint/ph/answer")[0].body), &said); err != nil || said.Accepted || said.Text == "" {
		t.Errorf("answer %+v, %v", said, err)
	}
}

func TestAnAnalysisSentOverTheBrokerReachesTheRecordAndTheShares(t *testing.T) {
	t.Parallel()
	broker := newInner(t)
	path := apptest.Config(t, broker.url, "share = \"50 %\"\nrate = \"12 mL/min\"\nmin_dose = \"0.05 mL\"\ndose_cap = \"0.4 mL\"\n\n[[pump]]\nname = \"feed-b\"", "rate = \"12 mL/min\"\nmin_dose = \"0.05 mL\"\ndose_cap = \"0.4 mL\"\n\n[[pump]]\nname = \"feed-b\"",
		"share = \"50 %\"\n", "", "[tank.input.ph]", "[tank.recipe]\nname = \"steiner\"\nwater = { Ca = \"12 mg/L\", HCO3 = \"37 mg/L\" }\n\n[tank.input.ph]")
	d := runs(t, path, Options{})
	apptest.Eventually(t, "the ions are published", func() bool { return len(broker.on("/tub/ions")) >= 1 })
	if body := broker.on("/tub/ions")[0]; !strings.Contains(body.body, `"K":{"mmol_per_l":`) || strings.Contains(body.body, `"analysed":`) {
		t.Errorf("ions before any analysis: %s", body.body)
	}
	type word struct {
		Accepted bool
		Text     string
	}
	ask := func(body string) (said word) {
		t.Helper()
		before := len(broker.on("/analysis/answer"))
		broker.publish(t, "leat/bench/tub/analysis/ask", body)
		apptest.Eventually(t, "an answer is published", func() bool { return len(broker.on("/analysis/answer")) > before })
		if err := json.Unmarshal([]byte(broker.on("/analysis/answer")[before].body), &said); err != nil {
			t.Error(err)
		}
		return said
	}
	if said := ask("NO3-N=300 mg/L, K=2 mg/L, Ca=90 mg/L, P=31 mg/L, Mg=24 mg/L, S=60 mg/L"); said.Accepted || !strings.Contains(said.Text, "repeated") {
		t.Errorf("an analysis whose charges do not balance: %+v", said)
	}
	if said := ask("Ca=90 mg"); said.Accepted || !strings.Contains(said.Text, "mg/L") {
		t.Errorf("a unit that is none: %+v", said)
	}
	if said := ask(`{"analysis":"NO3-N=8 mmol/L, NH4-N=0 mmol/L, P=0.8 mmol/L, K=4 mmol/L, Ca=2.6 mmol/L, Mg=1 mmol/L, S=1.2 mmol/L, pH=5.8","by":"lab","note":"sheet 12"}`); !said.Accepted {
		t.Errorf("a good one: %+v", said)
	}
	apptest.Eventually(t, "the topic tells of the analysis", func() bool {
		said := broker.on("/tub/ions")
		return strings.Contains(said[len(said)-1].body, `"analysed":`)
	})
	if err := d.end(); err != nil {
		t.Fatal(err)
	}
	state := apptest.Record(t, apptest.State(path))
	if a := state.Analyses["tub"]; !strings.Contains(a.Text, "Ca=2.6 mmol/L") {
		t.Errorf("the record holds the analysis %q", a.Text)
	}
	db, err := store.OpenReader(apptest.State(path))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	inputs, err := db.Inputs()
	if err != nil || !slices.Contains(inputs, "tub/ion/K") || !slices.Contains(inputs, "tub/ion/K/uncertainty") {
		t.Errorf("the history holds %q, %v; want the ions too", inputs, err)
	}
	if len(state.Ions["tub"]) == 0 {
		t.Error("the record holds no account of the ions")
	}
}

func TestMessageThatArrivedBeforeTheLastTickIsNoBrokenClock(t *testing.T) {
	broker := newInner(t)
	path := apptest.Config(t, broker.url)
	a, err := New(apptest.Load(t, path), Options{Supervise: func(string) {}, Clock: still{}})
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	at := func(up time.Duration) dosing.Instant {
		return dosing.Instant{Wall: time.Date(2026, 3, 1, 18, 0, 0, 0, time.UTC).Add(up), Up: up}
	}
	circulation := -1
	for slot, in := range a.file.InputTopics {
		if strings.HasSuffix(in.Topic, "/circulation") {
			circulation = slot
		}
	}
	reading, err := a.intake.Decode(circulation, at(9990*time.Millisecond), []byte("1"), false)
	if err != nil {
		t.Fatal(err)
	}
	// The tick of 10 s is taken before the switch that arrived 10 ms earlier.
	a.driver.step(at(10*time.Second), controller.Event{Kind: controller.EventTick})
	a.driver.step(reading.At(), controller.Event{Kind: controller.EventReading, Reading: reading})
	a.driver.step(at(11*time.Second), controller.Event{Kind: controller.EventTick})
	a.display.showChanges()
	for _, h := range a.View().Tanks[0].Holds {
		if h.Cause == safety.CauseClockUntrusted {
			t.Errorf("held: %s", h.Text)
		}
	}
}

// still is a clock that a test does not use.
type still struct{}

func (still) Now() dosing.Instant              { return dosing.Instant{} }
func (still) Arrived(time.Time) dosing.Instant { return dosing.Instant{} }
func (still) Ticks() <-chan dosing.Instant     { return nil }
