package controller_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"leat/controller"
	"leat/controller/config"
	"leat/controller/metrics"
	"leat/controller/payload"
	"leat/controller/sim"
	"leat/controller/web"
	"leat/deploy"
	"leat/dosing"
	"leat/safety"
)

// The pumps and tanks of the sample farm.
const (
	acidNorth dosing.PumpID = iota
	baseNorth
	acidNursery
	baseNursery
	calcium
	potassiumNitrate
	magnesiumNitrate
	phosphate
	magnesiumSulfate
	potassiumSulfate
	ammonium
	iron
	traces
	pumpCount

	north   dosing.TankID = 0
	nursery dosing.TankID = 1
)

// scenario is a sample farm other than the usual one.
type scenario struct {
	cause    safety.Cause
	recipe   bool                       // the sample's recipes stand; else its stocks are shared by hand
	text     func(string) string        // other configuration
	settings func(*controller.Settings) // other settings, past the checks of the configuration
	options  func(*sim.Options)         // another farm
}

// stage is a rig with everything written down that a person could have seen.
type stage struct {
	*rig
	t       *testing.T
	notices []noted
	orders  []ordered
	taps    map[string]func([]byte) []byte
}

type noted struct {
	at dosing.Instant
	controller.Notice
}

type ordered struct {
	at   dosing.Instant
	tank dosing.TankID
	pump dosing.PumpID
	ml   float64
}

// sharedByHand takes the recipes out of the sample and states a share for each stock:
// scenarios about single doses need to know which stock comes next.
func sharedByHand(text string) string {
	for pump, share := range map[string]string{"calcium": "29.3", "potassium-nitrate": "23.2", "magnesium-nitrate": "5.3", "phosphate": "8.4",
		"magnesium-sulfate": "10.2", "potassium-sulfate": "4.6", "ammonium": "6.2", "iron": "6.6", "traces": "6.2"} {
		text = replaceOnce(text, "name = \""+pump+"\"\nrole = \"stock\"\n", "name = \""+pump+"\"\nrole = \"stock\"\nshare = \""+share+" %\"\n")
	}
	for {
		from := strings.Index(text, "\n[tank.recipe]")
		if from < 0 {
			return text
		}
		text = text[:from] + text[from+strings.Index(text[from:], "\n[tank.solution]"):]
	}
}

func newStage(t *testing.T, s *scenario) *stage {
	t.Helper()
	text := string(deploy.Sample)
	if !s.recipe {
		text = sharedByHand(text)
	}
	if s.text != nil {
		text = s.text(text)
	}
	file, err := config.Parse("sample", []byte(text), config.Env{})
	if err != nil {
		t.Fatal(err)
	}
	if s.settings != nil {
		s.settings(&file.Settings)
	}
	options := sim.Options{Seed: 3, StartPH: 6.6, StartECShare: 0.5, StartHour: 22}
	if s.options != nil {
		s.options(&options)
	}
	st := &stage{rig: unstarted(t, file, options), t: t, taps: map[string]func([]byte) []byte{}}
	st.start(t, evening, st.listen)
	return st
}

// listen hooks the stage's ears to a daemon that has just started.
func (s *stage) listen() {
	s.Notice = func(now dosing.Instant, n controller.Notice) { s.notices = append(s.notices, noted{now, n}) }
	s.Seen = func(now dosing.Instant, _ *controller.Event, out *controller.Output) {
		for _, o := range out.Orders {
			s.orders = append(s.orders, ordered{now, o.Tank(), o.Pump(), o.Volume().Millilitres()})
		}
	}
	s.Tap = func(topic string, body []byte) []byte {
		if tap := s.taps[topic]; tap != nil {
			return tap(body)
		}
		return body
	}
}

// restart ends the daemon and starts it again on the same record and farm.
func (s *stage) restart(after time.Duration) {
	s.t.Helper()
	s.store.Reopen()
	s.start(s.t, s.Now().Wall.Add(after), s.listen)
}

// tap alters what arrives of an input: nil lets nothing arrive.
func (s *stage) tap(tank dosing.TankID, q dosing.Quantity, with func([]byte) []byte) {
	for i := range s.file.InputTopics {
		set := &s.file.Settings.Safety.Inputs[s.file.InputTopics[i].Input]
		if set.Tank == tank && set.Quantity == q {
			s.taps[s.file.InputTopics[i].Topic] = with
			return
		}
	}
	s.t.Fatalf("tank %d has no input of %s", tank, q)
}

func nothing([]byte) []byte { return nil }

func says(text string) func([]byte) []byte { return func([]byte) []byte { return []byte(text) } }

// busy makes a node's heartbeats say that it is at work.
func (s *stage) busy(node string, on bool) {
	topic := s.file.Topics.Node(node)
	if !on {
		delete(s.taps, topic)
		return
	}
	s.taps[topic] = func(body []byte) []byte { return bytes.Replace(body, []byte(`"idle":true`), []byte(`"idle":false`), 1) }
}

// inject makes something go wrong now, for some time or to the end.
func (s *stage) inject(fault string, for_ time.Duration, pump ...dosing.PumpID) {
	s.t.Helper()
	in := sim.Injection{Fault: fault, At: s.farm.Truth(north).At, For: for_}
	if len(pump) > 0 {
		in.Pump = &pump[0]
	}
	if err := s.farm.Inject(in); err != nil {
		s.t.Fatal(err)
	}
}

func replaceOnce(text, old, fresh string) string {
	if !strings.Contains(text, old) {
		panic("the sample has no line " + old)
	}
	return strings.Replace(text, old, fresh, 1)
}

func (s *stage) ask(kind controller.RequestKind, note string) controller.Answer {
	return s.Ask(controller.Request{Kind: kind, Tank: north, Note: note, By: "Ada", From: "page", Role: controller.RoleEngineer})
}

func (s *stage) must(kind controller.RequestKind, note string) {
	s.t.Helper()
	if a := s.ask(kind, note); !a.Accepted {
		s.t.Fatalf("%s: %s", kind, a.Text)
	}
}

func (s *stage) pass(d time.Duration) { s.Run(d, nil) }

// until passes time until it is so, second by second (of a long time, in longer
// steps), and says whether it came so.
func (s *stage) until(limit time.Duration, so func() bool) bool {
	step := max(limit/4000, time.Second).Truncate(time.Second)
	for end := s.Now().Up + limit; s.Now().Up < end; s.pass(step) {
		if so() {
			return true
		}
	}
	return so()
}

func (s *stage) view(tank dosing.TankID) *controller.TankView {
	view := s.Core.Tank(s.Now(), tank)
	return &view
}

// hold is what the view shows of a cause.
func (s *stage) hold(tank dosing.TankID, cause safety.Cause) (controller.HoldView, bool) {
	holds, _ := s.Core.Standing(s.Now(), tank)
	for _, h := range holds {
		if h.Cause == cause {
			return h, true
		}
	}
	return controller.HoldView{}, false
}

func (s *stage) holds(tank dosing.TankID) string {
	var all []string
	holds, _ := s.Core.Standing(s.Now(), tank)
	for _, h := range holds {
		all = append(all, fmt.Sprintf("%s %s [%s]", h.Cause, h.Action, h.Text))
	}
	return strings.Join(all, "; ")
}

func (s *stage) alarm(tank dosing.TankID, cause safety.Cause) (controller.AlarmView, bool) {
	_, alarms := s.Core.Standing(s.Now(), tank)
	for _, a := range alarms {
		if a.Cause == cause {
			return a, true
		}
	}
	return controller.AlarmView{}, false
}

// dosed says whether a pump of the set was ordered for the tank since a moment.
func (s *stage) dosed(tank dosing.TankID, since time.Duration, pumps ...dosing.PumpID) bool {
	for _, o := range s.orders {
		if o.tank == tank && o.at.Up > since && slices.Contains(pumps, o.pump) {
			return true
		}
	}
	return false
}

// namedAlike checks that page, metric, topics and log call a cause by the same name
// and give the grower the same words.
func (s *stage) namedAlike(tank dosing.TankID, cause safety.Cause) {
	s.t.Helper()
	view := s.Core.View(s.Now())
	row, tankView := safety.Of(cause), &view.Tanks[tank]
	text, standing := row.Text, row.Action < safety.Run
	if standing {
		hold, ok := s.hold(tank, cause)
		if !ok {
			s.t.Fatalf("the view does not show %s; it shows %s", cause, s.holds(tank))
		}
		if !strings.HasPrefix(hold.Text, row.Text) || hold.Clears != row.Clears || hold.Since.Up > s.Now().Up {
			s.t.Errorf("hold %+v does not speak the table's words", hold)
		}
		text = hold.Text
	}
	s.pageNames(view, cause, text)
	series := "leat_interlock_active"
	if !standing {
		series = "leat_alarm_state"
	}
	if got := metric(s.t, view, series, tankView.Name, cause); !(got > 0) {
		s.t.Errorf("%s{tank=%q,cause=%q} is %g", series, tankView.Name, cause, got)
	}
	if standing {
		s.stateNames(view, tank, cause, text)
	}
	s.alarmNames(view, tank, cause)
	kind := controller.NoticeInterlock
	if !standing {
		kind = controller.NoticeAlarm
	}
	if !slices.ContainsFunc(s.notices, func(n noted) bool {
		return n.Kind == kind && n.Cause == cause && n.Active && (n.Tank == tank || n.Tank == dosing.AllTanks)
	}) {
		s.t.Errorf("the log never named %s", cause)
	}
}

func (s *stage) pageNames(view *controller.View, cause safety.Cause, text string) {
	s.t.Helper()
	page, err := web.Page(view, "Ada", controller.RoleView)
	if err != nil {
		s.t.Fatal(err)
	}
	plain := strings.NewReplacer("&#39;", "'", "&#34;", `"`, "&lt;", "<", "&gt;", ">", "&amp;", "&", "&#43;", "+").Replace(string(page))
	if !strings.Contains(plain, cause.String()) || !strings.Contains(plain, text) {
		s.t.Errorf("the page does not say %q and %q", cause, text)
	}
}

// metric is the value that Prometheus would scrape; NaN or a missing line is -1.
func metric(t *testing.T, view *controller.View, series, tank string, cause safety.Cause) float64 {
	t.Helper()
	answer := httptest.NewRecorder()
	metrics.New("row", func() *controller.View { return view }).Handler().ServeHTTP(answer, httptest.NewRequest(http.MethodGet, "/metrics", nil))
	for line := range strings.Lines(answer.Body.String()) {
		if strings.HasPrefix(line, series+"{") && strings.Contains(line, fmt.Sprintf("cause=%q", cause)) && strings.Contains(line, fmt.Sprintf("tank=%q", tank)) {
			var value float64
			if _, err := fmt.Sscan(line[strings.LastIndexByte(strings.TrimSpace(line), ' '):], &value); err != nil {
				t.Fatalf("%s: %v", line, err)
			}
			return value
		}
	}
	return -1
}

func (s *stage) stateNames(view *controller.View, tank dosing.TankID, cause safety.Cause, text string) {
	s.t.Helper()
	var state struct {
		Interlocks []struct{ Cause, Text, Clears string }
	}
	if err := json.Unmarshal(payload.AppendState(nil, &view.Tanks[tank], s.Now().Wall), &state); err != nil {
		s.t.Fatal(err)
	}
	for _, h := range state.Interlocks {
		if h.Cause == cause.String() && h.Text == text && h.Clears == safety.Of(cause).Clears {
			return
		}
	}
	s.t.Errorf("the state topic does not name %s: %+v", cause, state.Interlocks)
}

// alarmNames checks the alarm's topic and page where the cause calls a person; what
// is part of the work is shown as a hold and calls nobody.
func (s *stage) alarmNames(view *controller.View, tank dosing.TankID, cause safety.Cause) {
	s.t.Helper()
	alarm, stands := s.alarm(tank, cause)
	if !stands {
		return
	}
	var message struct{ Cause, Text, Advice, State, Priority string }
	if err := json.Unmarshal(payload.AppendAlarm(nil, alarm), &message); err != nil {
		s.t.Fatal(err)
	}
	row := safety.Of(cause)
	if message.Cause != cause.String() || !strings.HasPrefix(message.Text, row.Text) || message.Advice != row.Advice ||
		message.State != alarm.State.String() || message.Priority != alarm.Priority.String() {
		s.t.Errorf("the alarm topic says %+v", message)
	}
	s.pageNames(view, cause, alarm.Text)
}
