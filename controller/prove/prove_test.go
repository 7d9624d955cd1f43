package prove_test

import (
	"encoding/hex"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"leat/controller/app/apptest"
	"leat/controller/payload"
	"leat/controller/prove"
	"leat/dosing"
	"leat/safety/ledger"
)

// cWorld is the C node, its broker and its person, in a time that is told to it.
type cWorld struct {
	t       *testing.T
	node    *apptest.PumpNode
	station prove.Station
	now     int // ms
	waiting []prove.Happening
	due     []deed
	kept    map[string]string // retained bodies by topic, in hexadecimal
	thrown  bool
	boots   int
	said    strings.Builder

	onSince []int // by pump; -1 = off
	given   float64
	marked  float64 // given when a person last did something
	emptied float64 // and when the cylinder was last read

	fitted  bool
	loads   []string // that the person names
	loaded  bool
	secret  float64 // mL that came and were not told
	wrongID bool
}

type deed struct {
	at int
	do func()
}

var built struct {
	sync.Once
	path string
}

// program is the node in which a rule can be left out, built once for all tests.
func program(t *testing.T) string {
	t.Helper()
	built.Do(func() { built.path = apptest.BuildPumpNode(t, folder, "shell_lines.c", "-DLEAT_VARIANTS") })
	if built.path == "" {
		t.Skip("the pump node was not built")
	}
	return built.path
}

var folder string

func TestMain(m *testing.M) {
	var err error
	if folder, err = os.MkdirTemp("", "pumpnode"); err != nil {
		panic(err)
	}
	code := m.Run()
	_ = os.RemoveAll(folder)
	os.Exit(code)
}

var twoPumps = []prove.Pump{{Name: "acid", PerSecond: dosing.Millilitre / 2, Longest: 20 * time.Second, Outlet: "north"}, {Name: "feed", PerSecond: dosing.Millilitre, Longest: 10 * time.Second, Outlet: "north"}}

func newCWorld(t *testing.T, rule int) *cWorld {
	t.Helper()
	topics, err := payload.NewTopics("", "row", []string{"north", "south"}, nil)
	if err != nil {
		t.Fatal(err)
	}
	w := &cWorld{t: t, kept: map[string]string{}, onSince: []int{-1, -1}, fitted: true,
		station: prove.Station{Name: "row", Topics: topics, Node: "pumps", Pumps: twoPumps, Epoch: 7, Knows: func(ledger.OrderID) bool { return false },
			Probes: []prove.Probe{{Name: "ph", Topic: "probe", Unit: "pH", Fine: 0.02, Read: func(body []byte) (float64, bool) {
				v, err := strconv.ParseFloat(string(body), 64)
				return v, err == nil
			}}}}}
	w.node = apptest.StartPumpNode(t, program(t), "north", "acid=20000,200000", "feed=10000,400000")
	w.tell("rule %d", rule)
	w.boot()
	return w
}

func (w *cWorld) boot() {
	w.boots++
	w.tell("start boot%04d %d", w.boots, w.now)
	w.tell("link %d", w.now)
}

func (w *cWorld) tell(format string, args ...any) {
	said, now := w.node.Tell(format, args...)
	w.now = max(w.now, now)
	for _, s := range said {
		switch s.What {
		case "beat":
			w.waiting = append(w.waiting, prove.Happening{Topic: w.station.Topics.Node("pumps"), Body: s.Body})
		case "report":
			w.waiting = append(w.waiting, prove.Happening{Topic: w.station.Topics.Report(twoPumps[s.Pump].Name), Body: s.Body})
		case "pump":
			w.count()
			if w.onSince[s.Pump] = -1; s.On {
				w.onSince[s.Pump] = w.now
			}
		}
	}
}

// count adds up what running pumps gave until now.
func (w *cWorld) count() {
	for p := range w.onSince {
		if w.onSince[p] >= 0 {
			w.given += twoPumps[p].PerSecond.Millilitres() * float64(w.now-w.onSince[p]) / 1000
			w.onSince[p] = w.now
		}
	}
}

func (w *cWorld) Now() time.Duration { return time.Duration(w.now) * time.Millisecond }

func (w *cWorld) Publish(topic string, _ byte, retained bool, body []byte) error {
	text := hex.EncodeToString(body)
	if retained {
		w.kept[topic] = text
	}
	switch topics := w.station.Topics; topic {
	case topics.Lease():
		w.tell("lease %d 0 %s", w.now, text)
	case topics.Stop():
		w.tell("stop %d %s", w.now, text)
	case topics.Supply():
		w.tell("supply %d", w.now)
	default:
		for i := range twoPumps {
			if topic == topics.Order(twoPumps[i].Name) {
				w.tell("order %d %d 0 %s", w.now, i, text)
			}
		}
	}
	return nil
}

func (w *cWorld) Wait(until time.Duration) (prove.Happening, error) {
	end := int(until / time.Millisecond)
	for len(w.waiting) == 0 && w.now < end {
		next := end
		if len(w.due) > 0 {
			next = min(next, max(w.due[0].at, w.now+10))
		}
		if next = min(next, w.now/1000*1000+1000); next%1000 == 0 {
			w.read()
		}
		w.tell("until %d", next)
		if len(w.due) > 0 && w.now >= w.due[0].at {
			do := w.due[0].do
			w.due = w.due[1:]
			do()
		}
	}
	if len(w.waiting) == 0 {
		return prove.Happening{}, nil
	}
	first := w.waiting[0]
	w.waiting = w.waiting[1:]
	return first, nil
}

// read is a probe's value: a load adds to it, and so does the feed pump.
func (w *cWorld) read() {
	value := 6 + 0.002*float64(w.now/1000%3)
	if w.loaded {
		value += 0.3
	}
	if w.onSince[1] >= 0 && len(w.loads) > 0 {
		value -= 0.1
	}
	w.waiting = append(w.waiting, prove.Happening{Topic: "probe", Body: strconv.AppendFloat(nil, value, 'f', 4, 64)})
}

func (w *cWorld) Displace() string {
	if w.wrongID {
		return ""
	}
	w.due = append(w.due, deed{w.now + 1000, func() {
		w.tell("link %d", w.now)
		for i := range twoPumps {
			if body := w.kept[w.station.Topics.Order(twoPumps[i].Name)]; body != "" {
				w.tell("order %d %d 1 %s", w.now, i, body)
			}
		}
		w.thrown = true
	}})
	return ""
}

func (w *cWorld) Displaced() bool { return w.thrown }

func (w *cWorld) Say(text string) { w.said.WriteString(text + "\n") }

func (w *cWorld) Ask(q prove.Question, text string) {
	w.Say(text)
	w.due = append(w.due, deed{w.now + 1500, func() {
		w.count()
		line := map[bool]string{true: "yes", false: "no"}[w.fitted]
		switch q {
		case prove.AskEnter:
			line = ""
		case prove.AskWater:
			line = "water"
		case prove.AskStill:
			line = map[bool]string{true: "yes", false: "no"}[w.given-w.marked < 0.01]
		case prove.AskCylinder:
			line = strconv.FormatFloat(w.given-w.emptied+w.secret, 'f', 2, 64)
			w.emptied, w.secret = w.given, 0
		case prove.AskLoad:
			line = ""
			if len(w.loads) > 0 {
				line, w.loads = w.loads[0], w.loads[1:]
			}
		}
		w.waiting = append(w.waiting, prove.Happening{Typed: true, Line: line})
	}})
}

func (w *cWorld) Do(a prove.Act, text string) {
	w.Say(text)
	w.due = append(w.due, deed{w.now + 1000, func() {
		switch a {
		case prove.ActPower:
			w.boot()
		case prove.ActStop:
			w.tell("input stop 1")
		case prove.ActRelease:
			w.tell("input stop 0")
		case prove.ActLift:
			w.tell("input float 1")
		case prove.ActLower:
			w.tell("input float 0")
		case prove.ActClose:
			w.tell("input supply 1")
			w.tell("until %d", w.now+100)
			w.tell("input supply 0")
		case prove.ActSwitch:
			w.loaded = true
		case prove.ActRest:
			w.loaded = false
		}
		w.count()
		w.marked = w.given
	}})
}

// rules are those of enum leat_rule in deploy/node/leat_node.h and the check that must
// notice when one is left out.
var rules = []string{"", "run", "heartbeat", "lease", "lapse", "repeat", "older-order", "late", "boot", "retained", "incomplete", "busy",
	"own-limit", "hourly-limit", "outlet", "older-epoch", "epoch-ahead", "stop", "unreadable-stop", "supply", "stop-input", "float-switch",
	"off-at-boot", "memory"}

func TestEachRuleThatANodeLacksFailsItsOwnCheckAndNoOther(t *testing.T) {
	for rule, want := range rules {
		w := newCWorld(t, rule)
		sheet, err := prove.Run(w, w.station, false)
		if err != nil {
			t.Fatalf("rule %d (%s): %v\n%s", rule, want, err, w.said.String())
		}
		var failed []string
		for _, f := range sheet.Rules {
			if f.Verdict == prove.Failed {
				failed = append(failed, f.Rule)
			}
		}
		wanted := strings.Fields(want)
		if !slices.Equal(failed, wanted) || sheet.Holds != (rule == 0) {
			t.Errorf("without rule %d failed %v, want %v; holds %v\n%s", rule, failed, wanted, sheet.Holds, sheet.Text())
		}
		if rule == 0 {
			for _, f := range sheet.Rules {
				if f.Rule != "cylinder" && !slices.Contains(rules, f.Rule) {
					t.Errorf("no node without the rule of check %q is tried", f.Rule)
				}
			}
			t.Log(sheet.Text())
		}
	}
}
