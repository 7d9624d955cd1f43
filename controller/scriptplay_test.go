package controller_test

import (
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"leat/controller"
	"leat/controller/config"
	"leat/controller/sim"
	"leat/dosing"
	"leat/dosing/chem"
	"leat/safety"
	"leat/safety/ledger"
)

var update = flag.Bool("update", false, "rewrite what goes out in the scenario files")

// player plays a script: the real core, gate, ledger and parsers, and the farm's pump
// nodes; what its probes and switches read is what the file says.
type player struct {
	*stage
	script      *script
	clock       time.Duration
	wires       map[string]*wire            // by input, as in the topics
	loaded      float64                     // pH, while a pump runs
	answers     map[dosing.Quantity]float64 // to doses: times as late as commissioned; none = what pumps give changes no reading
	does        map[dosing.PumpID]float64   // times what it should, where it does not
	given       []portion
	buffer      float64 // as commissioned, meq/L per pH
	keepBack    bool
	watered     ledger.OrderID // the schedule that was shown last
	confirm     string
	pumpOfOrder map[ledger.OrderID]dosing.PumpID
	goesBack    bool                             // to a copy of the ledger
	copies      map[time.Duration]*ledger.Memory // the ledger as it was, each minute
	rows        int                              // that were shown
	out         []string                         // since the last input
	holds       map[held]safety.Action
	alarms      map[safety.Cause]bool
	due         map[safety.Cause]time.Duration // when its names are compared
	late        []ledger.OrderID               // that the link kept back
	into        *scriptLine                    // what came in last
}

type held struct {
	cause safety.Cause
	pump  string
}

// A farm in its bands: what a probe reads until the file says otherwise.
var inBand = map[string]float64{"ph": 5.8, "ph_2": 5.8, "ec": 1.8, "temperature": 25, "level": 1400, "circulation": 1, "leak": 0, "drip_tray": 0,
	"top_up": 0, "flood": 0, "outlet": 1, "sample_flow": 1, "stop": 0, "level_of_calcium": 100,
	"oxygen": 8, "filter_pressure": 15, "line_flow": 15, "uv_intensity": 24, "lamp_hours": 3000, "bench_level": 0, "channels_flow": 30}

func newPlayer(t *testing.T, s *script) *player {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(scenarioFolder, "farm.toml"))
	if err != nil {
		t.Fatal(err)
	}
	file, err := config.Parse("farm.toml", text, config.Env{})
	if err != nil {
		t.Fatal(err)
	}
	file.Settings.Version = "farm"
	p := &player{stage: &stage{rig: &rig{file: file}, t: t, taps: map[string]func([]byte) []byte{}}, script: s, wires: map[string]*wire{},
		pumpOfOrder: map[ledger.OrderID]dosing.PumpID{}, copies: map[time.Duration]*ledger.Memory{}, holds: map[held]safety.Action{},
		answers: map[dosing.Quantity]float64{}, does: map[dosing.PumpID]float64{}, alarms: map[safety.Cause]bool{}, due: map[safety.Cause]time.Duration{}}
	p.goesBack = slices.ContainsFunc(s.lines, func(l scriptLine) bool { return strings.Contains(l.text, " on a copy from ") })
	for _, given := range s.given {
		if err := given(p); err != nil {
			t.Fatal(err)
		}
	}
	tank := &file.Settings.Safety.Tanks[0]
	curve, err := chem.NewCurve(tank.Expected(), 25)
	if err != nil {
		t.Fatal(err)
	}
	p.buffer = curve.Buffer(5.8) * tank.BufferScale
	p.rig = unstarted(t, file, sim.Options{Seed: 3})
	for name, value := range inBand {
		p.wires[name] = &wire{value: value}
	}
	for i := range file.InputTopics {
		p.connect(file.InputTopics[i].Topic, &file.Settings.Safety.Inputs[file.InputTopics[i].Input])
	}
	p.start(t, evening, p.attend)
	return p
}

// connect makes an input read what its wire does.
func (p *player) connect(topic string, in *safety.Input) {
	name := topic[strings.LastIndexByte(topic, '/')+1:]
	if in.Quantity == dosing.QuantityStockLevel {
		name = "level_of_" + p.file.Settings.Safety.Pumps[in.Pump].Name
	}
	if name == "leak" && in.Tank == dosing.AllTanks {
		name = "drip_tray"
	}
	w := p.wires[name]
	if w == nil {
		p.t.Fatalf("input %s reads nothing", topic)
	}
	p.taps[topic] = func([]byte) []byte {
		more := 0.0
		if _, running := p.farm.Running(); running && in.Quantity == dosing.QuantityPH {
			more = p.loaded
		}
		return w.body(p.clock, in.Noise, more+p.answer(in.Quantity))
	}
}

// attend hooks the player to a leat that has just started.
func (p *player) attend() {
	p.listen()
	p.Seen = p.seen
}

// seen notes what a step put out. What the ledger took before it stands above it.
func (p *player) seen(now dosing.Instant, e *controller.Event, out *controller.Output) {
	p.flush()
	for _, s := range out.Stops {
		if s.All {
			p.say(showOrders, "stop all pumps")
		} else {
			p.say(showOrders, "stop %s", p.file.Settings.Safety.Pumps[s.Pump].Name)
		}
	}
	if out.Supply {
		p.say("", "cut the supply of the pumps")
	}
	for _, o := range out.Orders {
		p.pumpOfOrder[o.ID()] = o.Pump()
		p.pour(&p.file.Settings.Safety.Pumps[o.Pump()], o.Volume().Millilitres())
		p.say(showOrders, "order %s: %s of %s into north", o.ID(), amount(o.Volume()), p.file.Settings.Safety.Pumps[o.Pump()].Name)
		if p.keepBack {
			p.keepBack = false
			p.farm.Connected(false)
			p.late = append(p.late, o.ID())
		}
	}
	for i := range out.Schedules {
		if s := &out.Schedules[i]; s.ID != p.watered {
			p.watered = s.ID
			p.say(showOrders, "schedule %s of %s: %s", s.ID, p.file.Settings.Tanks[north].Zones[s.Zone].Name, s.Words())
		}
	}
	for _, a := range out.Answers {
		p.confirm = a.Confirm
		word := "no"
		switch {
		case a.Accepted:
			word = "yes"
		case a.Confirm != "":
			word = "asks back"
		}
		p.say(showAnswers, "%s: %s", word, a.Text)
	}
}

func amount(v dosing.Volume) string {
	if v >= dosing.Litre {
		return fmt.Sprintf("%.3g L", v.Litres())
	}
	return fmt.Sprintf("%.3g mL", v.Millilitres())
}

// portion is what a dose does in the end.
type portion struct {
	at     time.Duration
	ph, ec float64
}

// pour notes what a dose does to a water of the commissioned buffer capacity.
func (p *player) pour(pump *dosing.Pump, ml float64) {
	tank := &p.file.Settings.Safety.Tanks[0]
	perLitre := ml / float64(tank.Volume)
	one := portion{at: p.clock, ph: -perLitre * pump.AcidPerML / (p.buffer), ec: perLitre * pump.ECPerML}
	for id, times := range p.does {
		switch {
		case pump.Name != p.file.Settings.Safety.Pumps[id].Name:
		case pump.Role == dosing.RoleStock:
			one.ec *= times
		default:
			one.ph *= times
		}
	}
	p.given = append(p.given, one)
}

// answer is what the doses have done so far to what a probe reads, where the file says that
// they do.
func (p *player) answer(q dosing.Quantity) (sum float64) {
	late, does := p.answers[q]
	if !does {
		return 0
	}
	tank := &p.file.Settings.Safety.Tanks[0]
	for _, one := range p.given {
		age := float64(p.clock-one.at) - late*float64(tank.DeadTime)
		if age <= 0 {
			continue
		}
		effect := one.ph
		if q == dosing.QuantityEC {
			effect = one.ec
		}
		sum += effect * (1 - math.Exp(-age/(late*float64(tank.TimeConstant))))
	}
	return sum
}

// everyday are interlocks that come and go with each dose and each start. They are
// shown where the scenario is about them.
func everyday(c safety.Cause) bool {
	switch c {
	case safety.CauseMixingWait, safety.CauseStarting, safety.CauseObserving, safety.CauseNodeBusy:
		return true
	}
	return safety.OfOneDose(c)
}

// awaits is how long after a start it is not shown what has merely not been heard yet.
const awaits = 10 * time.Second

// shows says whether an interlock that holds is a line of this script.
func (p *player) shows(h *controller.HoldView) bool {
	own := slices.Contains(p.script.about, h.Cause.String())
	switch h.Cause {
	case safety.CauseStarting, safety.CausePHMissing, safety.CauseECMissing:
		return own || h.Cause != safety.CauseStarting && p.Now().Up > awaits
	}
	if h.Action == safety.Hold && p.Now().Up <= awaits {
		return false
	}
	return own || !everyday(h.Cause) && slices.Contains(p.script.shows, showInterlocks)
}

// say adds a line to what goes out, if the script shows such; nothing names no kind, and
// is always shown.
func (p *player) say(what, format string, args ...any) {
	if what == "" || slices.Contains(p.script.shows, what) {
		p.out = append(p.out, fmt.Sprintf("   %s  -> %s", clockText(p.clock), fmt.Sprintf(format, args...)))
	}
}

// quiet are the rows that only help a restart to remember what was learned.
var quiet = []ledger.ChangeKind{ledger.ChangeLearned, ledger.ChangeDrift, ledger.ChangeLevel, ledger.ChangeOwed}

// flush shows the rows that have reached the ledger.
func (p *player) flush() {
	err := p.store.Load(uint64(p.rows)+1, func(row ledger.Row) error {
		p.rows++
		e, err := ledger.Decode(row)
		if err == nil && !slices.Contains(quiet, e.Change) {
			p.say(showRows, "ledger: %s", e)
		}
		return err
	})
	if err != nil {
		p.t.Fatal(err)
	}
}

// look shows which interlocks and alarms came and went.
func (p *player) look() {
	p.flush()
	shown, sounding := p.Core.Standing(p.Now(), north)
	holds := map[held]safety.Action{}
	for i := range shown {
		h := &shown[i]
		key := held{h.Cause, h.Pump}
		if !p.shows(h) {
			continue
		}
		holds[key] = h.Action
		if was, shown := p.holds[key]; !shown || was != h.Action {
			p.say("", "interlock %s %s %s: %s", h.Cause, does(h.Action), reach(h), safety.Of(h.Cause).Text)
		}
		p.compareNames(h.Cause)
	}
	if p.Now().Up <= awaits {
		for key, action := range p.holds { // of the run before
			holds[key] = action
		}
	}
	for _, key := range sortedHolds(p.holds) {
		if _, stands := holds[key]; !stands {
			p.say("", "interlock %s ends", strings.TrimSpace(key.cause.String()+" "+key.pump))
		}
	}
	p.holds = holds
	alarms := map[safety.Cause]bool{}
	for i := range sounding {
		a := &sounding[i]
		if !a.State.Stands() || a.Priority == safety.PriorityLog {
			continue
		}
		alarms[a.Cause] = true
		if !p.alarms[a.Cause] {
			p.say(p.ofAlarm(a.Cause), "alarm %s, %s: %s", a.Cause, a.Priority, safety.Of(a.Cause).Text)
		}
		if safety.Of(a.Cause).Action == safety.Run {
			p.compareNames(a.Cause)
		}
	}
	for cause := range safety.CauseCount {
		if p.alarms[cause] && !alarms[cause] {
			p.say(p.ofAlarm(cause), "alarm %s ends", cause)
		}
	}
	p.alarms = alarms
}

// ofAlarm is the kind of line that an alarm is: that which the script is about is shown
// in any case.
func (p *player) ofAlarm(c safety.Cause) string {
	if slices.Contains(p.script.about, c.String()) {
		return ""
	}
	return showAlarms
}

// compareNames checks, a second after a cause of the script came, that page, metric,
// topics and log give it the same name and words.
func (p *player) compareNames(c safety.Cause) {
	if !slices.Contains(p.script.about, c.String()) {
		return
	}
	if due, seen := p.due[c]; !seen {
		p.due[c] = p.clock + time.Second
	} else if due == p.clock {
		p.namedAlike(north, c)
	}
}

func sortedHolds(holds map[held]safety.Action) []held {
	var all []held
	for key := range holds {
		all = append(all, key)
	}
	slices.SortFunc(all, func(a, b held) int { return strings.Compare(a.cause.String()+a.pump, b.cause.String()+b.pump) })
	return all
}

func does(a safety.Action) string {
	switch a {
	case safety.Lockout:
		return "locks out"
	case safety.Stop:
		return "stops"
	}
	return "holds"
}

func reach(h *controller.HoldView) string {
	switch h.Scope {
	case safety.ScopeStation:
		return "the station"
	case safety.ScopeNutrients:
		return "all stocks of north"
	case safety.ScopeReagents:
		return "acid and base of north"
	case safety.ScopePump:
		return h.Pump
	}
	return "north"
}

// putBack makes the ledger what it was at a moment of the night.
func (p *player) putBack(at time.Duration, restored bool) error {
	copied := p.copies[at.Truncate(time.Minute)]
	if copied == nil {
		return fmt.Errorf("there is no copy of %s", clockText(at))
	}
	p.store, p.rows = copied, copied.Len()
	if !restored {
		return nil
	}
	book, err := ledger.Open(copied)
	if err != nil {
		return err
	}
	return book.Append(ledger.Change{Kind: ledger.ChangeRestored, At: dosing.Instant{Wall: p.Now().Wall}, Value: 41,
		Until: evening.Add(at.Truncate(time.Minute)), By: "Ada"})
}

// play plays the whole script and leaves in it what went out.
func (p *player) play() {
	for i := range p.script.lines {
		at := &p.script.lines[i]
		if at.deed == nil {
			continue
		}
		for p.clock < at.at {
			p.second()
		}
		if i > 0 {
			p.give()
		}
		if err := at.deed(p); err != nil {
			p.t.Fatalf("%s: %v", at.text, err)
		}
		p.look()
		p.into = at
	}
	p.give()
}

// give hands what went out to the line that came in before it.
func (p *player) give() {
	if p.into != nil {
		p.into.outputs, p.out = p.out, nil
	}
}

func (p *player) second() {
	if p.goesBack && p.clock%time.Minute == 0 {
		p.copies[p.clock] = p.store.Copy()
	}
	p.clock += time.Second
	p.pass(time.Second)
	for _, id := range p.late {
		p.farm.Connected(true)
		p.Step(controller.Event{Kind: controller.EventWithdrawn, Order: id})
	}
	p.late = nil
	p.look()
}

func TestScenariosGoAsTheirFilesTell(t *testing.T) {
	for _, file := range scenarioFiles(t) {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txt"), func(t *testing.T) {
			t.Parallel()
			s, text := readScenario(t, file)
			newPlayer(t, s).play()
			played := s.String()
			if *update && played != text {
				if err := os.WriteFile(file, []byte(played), 0o644); err != nil {
					t.Fatal(err)
				}
				return
			}
			if played != text {
				t.Errorf("it goes otherwise than %s tells. If that is meant, look at the difference after\n\tgo test ./controller -run Scenarios -update\n%s", file, firstDifference(text, played))
			}
		})
	}
}

func firstDifference(told, played string) string {
	a, b := strings.Split(told, "\n"), strings.Split(played, "\n")
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			return fmt.Sprintf("line %d\n  told   %s\n  played %s", i+1, a[i], b[i])
		}
	}
	return "one is longer"
}
