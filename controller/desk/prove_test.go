package desk

import (
	"bytes"
	"testing"
	"time"

	"leat/controller/app/apptest"
	"leat/controller/prove"
	"leat/controller/sim"
)

// simWorld is the simulated farm and its person, in a told time.
type simWorld struct {
	farm    *sim.Farm
	now     time.Duration
	waiting []prove.Happening
	due     []func()
	kept    map[string][]byte
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
func (w *simWorld) Displace(string) {
	w.due = append(w.due, func() {
		w.farm.Connected(false)
		w.farm.Connected(true)
		w.thrown = true
	})
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
	station, err := ProveStation(file, "", "")
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
