package deploy_test

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"leat/controller"
	"leat/controller/app/apptest"
	"leat/controller/payload"
	"leat/dosing"
	"leat/safety"
	"leat/safety/ledger"
)

// program finds a program of a Debian package, or skips the test.
func program(t *testing.T, name, pkg string) string {
	t.Helper()
	for _, path := range []string{name, "/usr/sbin/" + name} { // Debian keeps servers out of a user's path
		if found, err := exec.LookPath(path); err == nil {
			return found
		}
	}
	if os.Getenv("LEAT_REAL") == "1" {
		t.Fatalf("%s is not installed and LEAT_REAL=1: apt-get install %s", name, pkg)
	}
	t.Skipf("%s is not installed: apt-get install %s", name, pkg)
	return ""
}

func read(t testing.TB, name string) string {
	t.Helper()
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// The outside judge is systemd-analyze of systemd 252, Debian; it needs no running
// systemd.
func TestServiceIsHardened(t *testing.T) {
	analyze := program(t, "systemd-analyze", "systemd")
	for _, unit := range []string{"systemd/leat.service"} {
		out, err := exec.Command(analyze, "security", "--offline=true", "--threshold=15", unit).CombinedOutput()
		if err != nil {
			t.Errorf("%s: exposure above 1.5: %v\n%s", unit, err, out)
		}
	}
	soft := filepath.Join(t.TempDir(), "soft.service")
	if err := os.WriteFile(soft, []byte("[Service]\nExecStart=/bin/true\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if exec.Command(analyze, "security", "--offline=true", "--threshold=15", soft).Run() == nil {
		t.Error("a unit without any of it is not refused")
	}
	// Verify names every unknown key; that the daemon is not installed here is no fault.
	out, _ := exec.Command(analyze, "verify", "systemd/leat.service").CombinedOutput()
	for line := range strings.Lines(string(out)) {
		if !strings.Contains(line, "/usr/local/bin/leat is not executable") {
			t.Errorf("systemd-analyze verify: %s", line)
		}
	}
}

func TestServiceWaitsForReadinessAndIsWatched(t *testing.T) {
	unit := read(t, "systemd/leat.service")
	for _, want := range []string{"Type=notify", "WatchdogSec=", "ExecReload=/bin/kill -HUP $MAINPID", "Restart=always", "StateDirectory=leat", "DynamicUser=yes"} {
		if !strings.Contains(unit, "\n"+want) {
			t.Errorf("no %s in the unit", want)
		}
	}
}

var address = regexp.MustCompile(`(?m)^    address: (\S+)$`)

func TestDocumentListsTheTopicsOfTheProgram(t *testing.T) {
	topics, err := payload.NewTopics("", "{station}", []string{"{tank}", "other"}, nil)
	if err != nil {
		t.Fatal(err)
	}
	quantity := func(topic string) string { return strings.Replace(topic, "/ph", "/{quantity}", 1) }
	want := []string{
		topics.Reading(0, "{probe}"), topics.Reading(dosing.AllTanks, "{probe}"), topics.Order("{pump}"), topics.Report("{pump}"), topics.Node("{node}"), topics.NodeOnline("{node}"), topics.Owner(), topics.Lease(), topics.Stop(),
		topics.Supply(), quantity(topics.Ask(0, dosing.QuantityPH)), quantity(topics.Answer(0, dosing.QuantityPH)),
		quantity(topics.Setpoint(0, dosing.QuantityPH)), topics.State(0), topics.AnalysisAsk(0), topics.AnalysisAnswer(0), topics.CalibrationAsk(0), topics.CalibrationAnswer(0), topics.Ions(0),
		strings.NewReplacer("/+/leat", "/{kind}/leat", "/+/config", "/{thing}/config").Replace(payload.DiscoveryTopics("{hubs}", "{station}", "{tank}")),
		strings.Replace(topics.Alarm(0, safety.CauseLeak), "leak", "{cause}", 1), topics.Fit(0), topics.ZoneSchedule(0, "{zone}"), topics.ZoneReport(0, "{zone}"), topics.Online("{name}"),
	}
	var got []string
	for _, m := range address.FindAllStringSubmatch(read(t, "asyncapi.yml"), -1) {
		got = append(got, strings.Trim(m[1], `"`))
	}
	slices.Sort(want)
	slices.Sort(got)
	if !slices.Equal(got, want) {
		t.Errorf("topics of the document\n%s\nof the program\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

var example = regexp.MustCompile(`(?m)^        - \{name: (\w+), payload: (.*)\}$`)

func TestExamplesOfTheDocumentAreReadByTheProgram(t *testing.T) {
	parse := map[string]func([]byte) error{
		"reading":     func(b []byte) error { return json.Unmarshal(b, new(float64)) },
		"order":       func(b []byte) error { _, err := payload.ParseOrder(b); return err },
		"report":      func(b []byte) error { _, err := payload.ParseReport(b); return err },
		"heartbeat":   func(b []byte) error { _, err := payload.ParseHeartbeat(b); return err },
		"owner":       func(b []byte) error { _, _, err := payload.ParseOwner(b); return err },
		"lease":       func(b []byte) error { _, _, err := payload.ParseLease(b); return err },
		"stop":        func(b []byte) error { _, _, err := payload.ParseStop(b); return err },
		"supply":      func(b []byte) error { _, err := payload.ParseSupply(b); return err },
		"ask":         func(b []byte) error { _, err := payload.ParseAsk(b); return err },
		"fit":         func(b []byte) error { _, _, err := payload.ParseFit(b); return err },
		"calibration": func(b []byte) error { _, err := payload.ParseCalibration(b); return err },
		"analysis":    func(b []byte) error { _, err := payload.ParseAnalysis(b); return err },
		"floods":      func(b []byte) error { _, err := payload.ParseZoneSchedule(b); return err },
		"film":        func(b []byte) error { _, err := payload.ParseZoneSchedule(b); return err },
		"flooded":     func(b []byte) error { _, err := payload.ParseZoneReport(b); return err },
	}
	found := example.FindAllStringSubmatch(read(t, "asyncapi.yml"), -1)
	if len(found) != len(parse) {
		t.Errorf("%d examples, want %d", len(found), len(parse))
	}
	for _, m := range found {
		name, body := m[1], m[2]
		if parse[name] == nil {
			t.Errorf("example %q: nobody reads it", name)
		} else if err := parse[name]([]byte(body)); err != nil {
			t.Errorf("example %q: %v", name, err)
		}
	}
}

// schema is the text of one schema of the document.
func schema(t *testing.T, name string) string {
	t.Helper()
	_, text, found := strings.Cut(read(t, "asyncapi.yml"), "\n    "+name+":\n      type: object\n")
	if !found {
		t.Fatalf("no schema %s", name)
	}
	if end := regexp.MustCompile(`(?m)^    \w`).FindStringIndex(text); end != nil {
		text = text[:end[0]]
	}
	return text
}

func TestDocumentNamesEveryFieldThatTheProgramSends(t *testing.T) {
	now := time.Date(2026, 1, 1, 2, 3, 4, 0, time.UTC)
	view := &controller.TankView{Name: "north", Mode: safety.ModeArmed, WouldDose: "acid", Inputs: []controller.InputView{
		{Name: "ph", Quantity: dosing.QuantityPH, Present: true, Value: 5.8, Retained: true}, {Name: "redox", NotFitted: "none"}},
		Holds: []controller.HoldView{{Cause: safety.CauseFlood, Pump: "acid", Since: dosing.Instant{Wall: now}}}}
	for name, body := range map[string][]byte{
		"state":    payload.AppendState(nil, view, now),
		"alarm":    payload.AppendAlarm(nil, controller.AlarmView{Cause: safety.CauseLeak, Since: dosing.Instant{Wall: now}}),
		"answer":   payload.AppendAnswer(nil, controller.Answer{Quantity: dosing.QuantityEC, Confirm: "k7", By: "grower"}),
		"setpoint": payload.AppendSetpoint(nil, dosing.QuantityEC, controller.SetpointView{At: now, Until: now}),
		"fit":      payload.AppendFit(nil, true, ""),
		"zoneSchedule": payload.AppendZoneSchedule(nil, &controller.ZoneSchedule{ID: ledger.OrderID{Epoch: 7, Number: 3}, Starts: []time.Duration{time.Hour},
			Length: time.Minute, Boot: "a1b2"}),
		"zoneReport": payload.AppendZoneReport(nil, &controller.ZoneReport{Boot: "a1b2", Runs: ledger.OrderID{Epoch: 7, Number: 3}, Phase: controller.ZoneResting, Cause: "older than the last schedule"}),
		"word":       payload.AppendWord(nil, controller.Answer{By: "grower"}),
		"ions": payload.AppendIons(nil, &controller.IonsView{Recipe: "lettuce", Analysed: now, Ions: []controller.IonView{{Name: "ions", Macro: true, Amount: 1, Acid: 1}},
			Surplus: "acid", AmmoniumAdvice: "NH4", Advice: "due"}),
		"lease":     payload.AppendLease(nil, 7, 1),
		"discovery": announced(t, view),
		"stop":      payload.AppendStop(nil, 7, "acid"),
		"supply":    payload.AppendSupply(nil, 7),
	} {
		var sent any
		if err := json.Unmarshal(body, &sent); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		text := schema(t, name)
		for _, key := range keys(sent) {
			if !regexp.MustCompile(`(?m)^\s+` + key + `:`).MatchString(text) {
				t.Errorf("schema %s does not name %q, which the program sends", name, key)
			}
		}
	}
}

// announced is all that hubs are told of a tank, as one list.
func announced(t *testing.T, view *controller.TankView) []byte {
	topics, err := payload.NewTopics("", "row", []string{"north"}, nil)
	if err != nil {
		t.Fatal(err)
	}
	var all []json.RawMessage
	for _, e := range payload.Entities("hubs", topics, "leat/daemon/x/online", "row", 0, view) {
		all = append(all, e.Body)
	}
	list, err := json.Marshal(all)
	if err != nil {
		t.Fatal(err)
	}
	return list
}

// keys are all keys of a JSON value, nested ones included.
func keys(value any) []string {
	var out []string
	switch v := value.(type) {
	case map[string]any:
		for key, inner := range v {
			out = append(append(out, key), keys(inner)...)
		}
	case []any:
		for _, inner := range v {
			out = append(out, keys(inner)...)
		}
	}
	return out
}

func TestNodeContractGivesTheCautions(t *testing.T) {
	text := read(t, "node.md")
	for _, want := range []string{"emergency stop", "local", "never let acid meet a chlorine cleaner", "licensed electrician", "anti-siphon", "non-volatile", "retained"} {
		if !strings.Contains(text, want) {
			t.Errorf("node.md does not say %q", want)
		}
	}
}

// broker starts Debian's mosquitto with the sample's settings and ACL, on a free
// port of loopback and without its TLS listener.
func broker(t *testing.T) (url string) {
	t.Helper()
	return brokerWith(t, read(t, "mosquitto/leat.conf"), read(t, "mosquitto/leat.acl"))
}

func brokerWith(t *testing.T, conf, rights string) (url string) {
	t.Helper()
	mosquitto, passwd := program(t, "mosquitto", "mosquitto"), program(t, "mosquitto_passwd", "mosquitto")
	port := apptest.Port(t)
	dir := t.TempDir()
	before, rest, _ := strings.Cut(conf, "# Nodes, probes and phones.")
	_, after, found := strings.Cut(rest, "tls_version tlsv1.2\nuse_username_as_clientid true\n")
	if !found {
		t.Fatal("no TLS listener in the sample")
	}
	conf = strings.NewReplacer(
		"/etc/mosquitto/leat.passwd", filepath.Join(dir, "passwd"),
		"/etc/mosquitto/leat.acl", filepath.Join(dir, "acl"),
		"/var/lib/mosquitto/", dir+"/",
		"listener 1883 127.0.0.1", "listener "+port+" 127.0.0.1",
	).Replace(before + after)
	if os.Getuid() == 0 {
		conf += "user root\n" // else it gives up root and cannot read the test's folder
	}
	lines := ""
	for _, user := range users {
		lines += user + ":" + user + "\n"
	}
	for name, text := range map[string]string{"conf": conf, "acl": rights, "passwd": lines} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if out, err := exec.Command(passwd, "-U", filepath.Join(dir, "passwd")).CombinedOutput(); err != nil {
		t.Fatalf("mosquitto_passwd: %v %s", err, out)
	}
	command := exec.Command(mosquitto, "-c", filepath.Join(dir, "conf"))
	said := &strings.Builder{}
	command.Stderr, command.Stdout = said, said
	if err := command.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = command.Process.Kill()
		_ = command.Wait()
		// An option of a listener that stands before the first one opens port 1883 to all.
		if n := strings.Count(said.String(), "Opening ipv4 listen socket"); n != 1 {
			t.Errorf("the sample's broker listens on %d ports, want the one of loopback", n)
		}
		if t.Failed() {
			t.Log(said.String())
		}
	})
	return "tcp://127.0.0.1:" + port
}

var users = []string{"leat", "reagents", "stocks", "probes-north", "probes-nursery", "probes-row", "irrigation", "laboratory", "phone"}

// join connects as a user of the ACL; it waits for a broker that is just starting.
func join(t *testing.T, url, user, password string) (mqtt.Client, error) {
	t.Helper()
	var err error
	for range 200 {
		client := mqtt.NewClient(mqtt.NewClientOptions().AddBroker(url).SetClientID("test-" + user).SetUsername(user).SetPassword(password).
			SetAutoReconnect(false).SetConnectRetry(false))
		token := client.Connect()
		token.Wait()
		if err = token.Error(); err == nil {
			t.Cleanup(func() { client.Disconnect(100) })
			return client, nil
		}
		if !strings.Contains(err.Error(), "refused") || strings.Contains(err.Error(), "not Authorized") || strings.Contains(err.Error(), "bad user") {
			return nil, err
		}
		time.Sleep(25 * time.Millisecond) // a real broker takes its time to listen
	}
	return nil, err
}

func TestBrokerTakesNoStrangers(t *testing.T) {
	url := broker(t)
	if _, err := join(t, url, "leat", "leat"); err != nil {
		t.Fatal(err)
	}
	for user, password := range map[string]string{"leat": "wrong", "stranger": "stranger", "": ""} {
		if _, err := join(t, url, user, password); err == nil {
			t.Errorf("%q with password %q was let in", user, password)
		}
	}
}

// A node with a session that lasts is away while it is ordered; the broker is killed and comes back, on the shipped queue's settings.
// The outside judge is Debian's mosquitto 2.0.
func TestOrderThatWaitsForANodeEndsWithTheBroker(t *testing.T) {
	_, queue, found := strings.Cut(read(t, "mosquitto/leat.conf"), "\npersistence false\n")
	if !found || strings.Contains(read(t, "mosquitto/leat.conf"), "persistence true") {
		t.Fatal("the sample's broker writes onto its disk")
	}
	for _, limit := range []string{"max_queued_messages 1000\n", "queue_qos0_messages false\n", "persistent_client_expiration 1d\n"} {
		if !strings.Contains(queue, limit) {
			t.Errorf("no %q", limit)
		}
	}
	broker := apptest.NewBroker(t, append([]string{"allow_anonymous true"}, strings.Split(strings.TrimSpace(queue), "\n")...)...)
	heard := make(chan string, 10)
	node := func() mqtt.Client {
		t.Helper()
		options := mqtt.NewClientOptions().AddBroker("tcp://" + broker.Address).SetClientID("node").SetCleanSession(false).SetAutoReconnect(false)
		options.SetDefaultPublishHandler(func(_ mqtt.Client, m mqtt.Message) { heard <- string(m.Payload()) })
		client := mqtt.NewClient(options)
		if token := client.Connect(); token.Wait() && token.Error() != nil {
			t.Fatal(token.Error())
		}
		return client
	}
	first := node()
	first.Subscribe("leat/row/+/acid", 1, nil).Wait()
	first.Disconnect(100)
	broker.Pub("-q", "1", "-t", "leat/row/order/acid", "-m", "waited")
	broker.Kill()
	broker.Start()
	again := node()
	defer again.Disconnect(0)
	again.Subscribe("leat/row/+/acid", 1, nil).Wait()
	broker.Pub("-q", "1", "-t", "leat/row/order/acid", "-m", "new")
	if got := <-heard; got != "new" {
		t.Errorf("the node hears %q, an order of before", got)
	}
}

// The second command of the shipped unit, in a folder of thirty-three copies and what else may lie there.
func TestNightlyCopyKeepsTheNewestThirty(t *testing.T) {
	commands := regexp.MustCompile(`(?m)^ExecStart=/bin/sh -c '(.*)'$`).FindAllStringSubmatch(read(t, "systemd/leat-backup.service"), -1)
	if len(commands) != 2 {
		t.Fatalf("%d commands", len(commands))
	}
	dir := t.TempDir()
	var names []string
	for i := range 33 {
		names = append(names, fmt.Sprintf("leat-202605%02d-031700-000.db", i+1))
	}
	for _, name := range append(names, "leat-20260601-031700-000.db.unfinished", "notes.txt") {
		if err := os.WriteFile(filepath.Join(dir, name), nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	command := exec.Command("/bin/sh", "-c", strings.ReplaceAll(commands[1][1], "%%", "%"))
	command.Env = append(os.Environ(), "STATE_DIRECTORY="+dir)
	if out, err := command.CombinedOutput(); err != nil {
		t.Fatalf("%v %s", err, out)
	}
	left, err := filepath.Glob(filepath.Join(dir, "leat-*.db"))
	if err != nil || len(left) != 30 || filepath.Base(left[0]) != names[3] {
		t.Errorf("%d copies are left, %v first; %v", len(left), left[0], err)
	}
	if all, _ := os.ReadDir(dir); len(all) != 32 {
		t.Errorf("%d files are left", len(all))
	}
}
