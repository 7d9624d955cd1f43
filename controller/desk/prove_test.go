package desk

import (
	"bytes"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"leat/controller/app/apptest"
	"leat/controller/prove"
	"leat/controller/sim"
	"leat/controller/store"
	"leat/dosing"
	"leat/safety/ledger"
)

// simWorld is the simulated farm and its person, in a told time.
type simWorld struct {
	farm    *sim.Farm
	now     time.Duration
	waiting []prove.Happening
	due     []func()
	thrown  bool
}

func (w *simWorld) send(topic string, _ byte, _ bool, body []byte) {
	w.waiting = append(w.waiting, prove.Happening{Topic: topic, Body: bytes.Clone(body)})
}

func (w *simWorld) Now() time.Duration { return w.now }

func (w *simWorld) Publish(topic string, _ byte, _ bool, body []byte) error {
	w.farm.Receive(topic, body, w.send)
	return nil
}

func (w *simWorld) Wait(until time.Duration) (h prove.Happening, err error) {
	for len(w.waiting) == 0 && w.now < until {
		w.now = min(until, w.now+50*time.Millisecond)
		w.farm.Advance(w.now, w.send)
		if len(w.due) > 0 && w.now%time.Second == 0 {
			w.due[0]()
			w.due = w.due[1:]
		}
	}
	if len(w.waiting) > 0 {
		h, w.waiting = w.waiting[0], w.waiting[1:]
	}
	return h, nil
}

// Displace opens the farm's link anew. The farm itself is never handed what was kept, as
// its client in apptest is not.
func (w *simWorld) Displace() string {
	w.due = append(w.due, func() {
		w.farm.Connected(false)
		w.farm.Connected(true)
		w.thrown = true
	})
	return ""
}

func (w *simWorld) Displaced() bool { return w.thrown }
func (w *simWorld) Say(string)      {}

func (w *simWorld) Ask(q prove.Question, text string) {
	line := map[prove.Question]string{prove.AskWater: "water", prove.AskFitted: "yes", prove.AskStill: "yes"}[q]
	if text == "Is a float switch fitted that cuts the pumps? (yes or no): " {
		line = "no"
	}
	w.due = append(w.due, func() { w.waiting = append(w.waiting, prove.Happening{Typed: true, Line: line}) })
}

func (w *simWorld) Do(a prove.Act, _ string) {
	w.due = append(w.due, func() {
		switch a {
		case prove.ActPower:
			w.farm.Reboot(0)
		case prove.ActStop:
			w.farm.PressStop(true)
		case prove.ActRelease:
			w.farm.PressStop(false)
		case prove.ActClose:
			w.farm.RestoreSupply()
		}
	})
}

// The node of the simulated farm keeps the same contract as the one in C.
func TestTheSimulatedNodeIsProvedAsARealOne(t *testing.T) {
	file := apptest.Load(t, apptest.Config(t, "mqtt://127.0.0.1:1"))
	station, err := ProveStation(file, "")
	if err != nil {
		t.Fatal(err)
	}
	station.Epoch = 7
	wires := make([]sim.Wire, len(file.Settings.Safety.Inputs))
	for i := range file.InputTopics {
		in := &file.InputTopics[i]
		wires[in.Input] = sim.Wire{Topic: in.Topic, Compensation: in.Compensation}
	}
	farm, err := sim.New(&file.Settings, file.Topics, wires, sim.Options{Seed: 1, StartPH: 6.6, StartECShare: 0.6, Quiet: true, PumpError: -1})
	if err != nil {
		t.Fatal(err)
	}
	farm.Connected(true)
	w := &simWorld{farm: farm}
	sheet, err := prove.Run(w, station, false)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range sheet.Rules {
		want := prove.Held
		switch f.Rule {
		case "float-switch":
			want = prove.Waived
		case "cylinder":
			want = prove.NotShown
		}
		if f.Verdict != want {
			t.Errorf("%s: %s: %s", f.Rule, f.Verdict, f.Words)
		}
	}
	if len(sheet.Probes) != 3 || sheet.Probes[0].Readings == 0 {
		t.Errorf("probes %+v", sheet.Probes)
	}
}

// person answers what leat prove asks, and does at the node what it says.
type person struct {
	answers, node io.Writer
	mu            sync.Mutex
	said          strings.Builder
}

func (p *person) Write(text []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.said.Write(text)
	for words, typed := range map[string]string{">>> Press the stop": "stop 1", ">>> Release": "stop 0", ">>> Lift": "float 1", ">>> Let the float": "float 0"} {
		if strings.Contains(string(text), words) {
			if _, err := io.WriteString(p.node, typed+"\n"); err != nil {
				return 0, err
			}
		}
	}
	if line, asked := strings.CutSuffix(string(text), ": "); asked {
		go func() { // whoever asks is not yet listening
			time.Sleep(100 * time.Millisecond)
			_, _ = io.WriteString(p.answers, map[bool]string{true: "yes", false: ""}[strings.Contains(line, "yes or no")]+"\n")
		}()
	}
	return len(text), nil
}

// From outside: Debian's broker, the C node as a process of its own, the ledger on a disk.
func TestTheWeeklyProofOfARealNodeStandsInTheLedger(t *testing.T) {
	if _, err := os.Stat("/usr/include/mosquitto.h"); err != nil {
		if apptest.Real() {
			t.Fatal("no mosquitto.h (Debian: apt install libmosquitto-dev)")
		}
		t.Skip("no mosquitto.h; this test needs it (Debian: apt install libmosquitto-dev)")
	}
	broker := apptest.NewBroker(t)
	config := apptest.Config(t, broker.URL())
	program := apptest.BuildPumpNode(t, t.TempDir(), "shell_mqtt.c", "-lmosquitto")
	node := exec.Command(program, "127.0.0.1", broker.Port, "leat/bench", "pumps", filepath.Join(t.TempDir(), "memory"), "", "acid=60000,1000000", "feed-a=60000,1000000", "feed-b=60000,1000000")
	typed, err := node.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := node.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = typed.Close() // it ends when nobody types any more
		_ = node.Wait()
	})
	in, answers := io.Pipe()
	told := &person{answers: answers, node: typed}
	var out bytes.Buffer
	proof := Proof{Config: config, Weekly: true}
	if err := proof.Run(in, &out, told); err != nil {
		t.Fatalf("%v\n%s", err, told.said.String())
	}
	text, err := os.ReadFile(filepath.Join(apptest.State(config), prove.FileName("pumps", true)+".json"))
	if err != nil || !strings.Contains(string(text), `"holds": true`) {
		t.Errorf("%v: %s", err, text)
	}
	db, err := store.OpenReader(apptest.State(config))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	state, err := ledger.Replay(db, dosing.Instant{Wall: time.Now()}, false)
	if err != nil || state.Answered != 3 || state.LastEpoch != 3 {
		t.Errorf("%v; answered %d, last epoch %d", err, state.Answered, state.LastEpoch)
	}
	marked := false
	_, _, err = ledger.Verify(db, func(e ledger.Entry) error {
		marked = marked || e.Change == ledger.ChangeMark && strings.Contains(e.Note, "weekly proof of node pumps: Node pumps holds")
		return nil
	})
	if err != nil || !marked {
		t.Errorf("%v; the verdict stands in the ledger: %v", err, marked)
	}
}
