package config

import (
	"cmp"
	"fmt"
	"path/filepath"
	"regexp"
	"strconv"
	"time"

	"leat/controller"
	"leat/controller/payload"
	"leat/dosing"
	"leat/safety"
)

// builder turns a layout into settings. Each step goes on after a fault, so that
// all are found; steps that rest on another's figures are skipped where those
// are missing.
type builder struct {
	*frame
	rim     rim
	vessels vessels
	row     row
	mixes   mixes
	inputs  inputs
	sizes   sizes
}

// frame is what every part of the building reads and writes to.
type frame struct {
	*decoder
	layout layout
	env    Env
	file   *File
	// replaced topics, by the topic without its prefix
	replaced map[string]string
	tankIDs  map[string]dosing.TankID
}

func newBuilder(env Env, name string) *builder {
	f := &frame{env: env, file: &File{Name: name}, replaced: map[string]string{}, tankIDs: map[string]dosing.TankID{}}
	b := &builder{frame: f, vessels: vessels{f, calendars{f}}, inputs: inputs{f}, sizes: sizes{f}}
	b.rim, b.row, b.mixes = rim{f, &b.inputs}, row{f, liquids{f}, &b.inputs}, mixes{f, &b.vessels}
	return b
}

func (b *builder) build() {
	b.rim.station()
	b.vessels.tanks()
	b.rim.nodes()
	b.row.pumps()
	if len(b.faults) == 0 {
		b.mixes.recipes()
	}
	if len(b.faults) == 0 {
		b.mixes.shares()
	}
	if len(b.faults) == 0 {
		b.mixes.solutions()
	}
	if len(b.faults) == 0 {
		b.mixes.laterShares()
		b.row.caps()
	}
	b.inputs.read()
	b.mixes.uncountedWater()
	b.rim.topics()
	b.rim.broker()
	b.rim.page()
	b.rim.notify()
	b.rim.folders()
}

func (b *frame) settings() *controller.Settings { return &b.file.Settings }

func (b *frame) gate() *safety.Settings { return &b.file.Settings.Safety }

func (b *frame) warn(path, text string) {
	where := b.label(path)
	if line := b.line(path); line > 0 {
		where = fmt.Sprintf("line %d, %s", line, where)
	}
	b.file.Warnings = append(b.file.Warnings, where+": "+text)
}

// goodName is a name that can be said aloud, typed on a phone and put in a topic,
// a metric label and a file name.
var goodName = regexp.MustCompile(`^[a-z0-9][a-z0-9_-]*$`)

func (b *frame) name(path, name string) bool {
	switch {
	case !goodName.MatchString(name) || len(name) > longestName:
		b.fault(path, quoted(name), "is no name for a topic", fmt.Sprintf("use a to z, 0 to 9, - and _, at most %d of them, such as north-2", longestName))
	case name == "daemon":
		b.fault(path, quoted(name), "is the level of the daemon's own topics", "choose another name")
	default:
		return true
	}
	return false
}

func (b *rim) station() {
	s := &b.layout.Station
	name := s.Name
	if name == "" {
		name = "station"
	} else {
		b.name("station.name", name)
	}
	b.gate().Station = name
	b.settings().ReArm = s.RearmAfterRestart
	b.settings().ControlPeriod = s.ControlPeriod.or(10 * time.Second)
	if d := b.settings().ControlPeriod; d < time.Second || d > time.Minute {
		b.fault("station.control_period", quoted(s.ControlPeriod.text), "is out of range", "decide every 1s to 60s")
	}
	b.settings().StockWarn = s.StockWarn.or(3 * 24 * time.Hour)
	if w := b.settings().StockWarn; w < time.Hour || w > 90*24*time.Hour {
		b.fault("station.container_warn", quoted(s.StockWarn.text), "is out of range", "1h to 2160h, which is 90 days")
	}
	zone := s.TimeZone
	if zone == "" {
		zone = "UTC"
	}
	location, err := time.LoadLocation(zone)
	if err != nil || zone == "Local" {
		b.fault("station.time_zone", quoted(zone), "is not a known time zone", "use an IANA name such as Europe/Lisbon or UTC")
	}
	b.file.Zone = location
}

func (b *rim) nodes() {
	seen := map[string]string{}
	for i := range b.layout.Nodes {
		n := &b.layout.Nodes[i]
		path := join("node", strconv.Itoa(i))
		b.unique(seen, path, n.Name, "node")
		switch n.Contract {
		case "", "full", "timed":
		case "switch", "on-off", "onoff":
			b.fault(join(path, "contract"), quoted(n.Contract), "is refused: a node that can only be switched on and off stays on when the network fails",
				"use a node that ends each dose by its own clock")
		default:
			b.fault(join(path, "contract"), quoted(n.Contract), "is no contract", "write full or timed")
		}
		if w := n.Watchdog.or(lease); w <= 0 || w > 5*time.Minute {
			b.fault(join(path, "watchdog"), quoted(n.Watchdog.text), "is out of range", "a hardware watchdog of 1s to 5min")
		}
		b.gate().Nodes = append(b.gate().Nodes, safety.Node{Name: n.Name, FullContract: n.Contract != "timed"})
	}
	if len(b.layout.Nodes) == 0 {
		b.gate().Nodes = []safety.Node{{Name: "dosing", FullContract: true}}
		b.file.Warnings = append(b.file.Warnings, `no [[node]] stated: one is taken, named "dosing", of the full contract (it reports, de-duplicates, judges expiry and obeys the lease); a node that does not is never sent a second dose`)
	}
}

// unique checks a name and that no table before bears it.
func (b *frame) unique(seen map[string]string, path, name, what string) {
	key := join(path, "name")
	if name == "" {
		return // missing, said already
	}
	if !b.name(key, name) {
		return
	}
	if first, twice := seen[name]; twice {
		b.fault(key, quoted(name), fmt.Sprintf("is the name of another %s, on line %d", what, b.line(first)), "give each its own name")
		return
	}
	seen[name] = key
}

func (b *rim) topics() {
	names := make([]string, 0, len(b.layout.Tanks))
	for i := range b.layout.Tanks {
		name := b.layout.Tanks[i].Name
		if !goodName.MatchString(name) {
			return
		}
		names = append(names, name)
	}
	station := b.gate().Station
	for i, name := range names {
		if err := payload.CheckTankName(name); err != nil {
			b.fault(join("tank."+strconv.Itoa(i), "name"), quoted(name), err.Error(), "")
			return
		}
	}
	topics, err := payload.NewTopics(b.layout.Broker.Prefix, station, names, b.replaced)
	if err != nil {
		if len(b.faults) == 0 {
			b.fault("broker.prefix", quoted(b.layout.Broker.Prefix), err.Error(), "")
		}
		return
	}
	b.file.Topics = topics
	b.oneTopicEach(topics)
}

// oneTopicEach refuses two uses of one topic, default topics included: two pumps
// on one order topic would both run, two probes that read the same place of one
// payload would both be right. Probes that read different places may share one.
func (b *rim) oneTopicEach(topics *payload.Topics) {
	used, places, kinds := map[string]string{}, map[string]string{}, map[string]payload.Kind{}
	claim := func(topic, path, what string) {
		if other, twice := used[topic]; twice {
			b.fault(path, quoted(topic), "is also the topic of "+other, "give each its own topic")
			return
		}
		used[topic] = what
	}
	for i := range b.file.InputTopics {
		t := &b.file.InputTopics[i]
		in := b.gate().Inputs[t.Input]
		t.Topic = topics.Reading(in.Tank, in.Name)
		what, place := "the input "+b.label(b.inputs.pathOf(in)), t.Format.Pointer+t.Format.SenMLName
		kind, shared := kinds[t.Topic]
		if !shared {
			claim(t.Topic, b.inputs.pathOf(in), what)
			kinds[t.Topic], places[t.Topic+"\n"+place] = t.Format.Kind, what
			continue
		}
		other, twice := places[t.Topic+"\n"+place]
		if twice || kind != t.Format.Kind || place == "" {
			b.fault(b.inputs.pathOf(in), quoted(t.Topic), "is also the topic of "+cmp.Or(other, used[t.Topic]), "give each its own topic, or its own pointer or record in one payload")
		}
		places[t.Topic+"\n"+place] = what
	}
	named := map[string]bool{} // a name that stands twice is a fault of its own
	for i, p := range b.gate().Pumps {
		path := "pump." + strconv.Itoa(i)
		if named[p.Name] {
			continue
		}
		named[p.Name] = true
		claim(topics.Order(p.Name), join(path, "order_topic"), fmt.Sprintf("the orders of pump %q", p.Name))
		claim(topics.Report(p.Name), join(path, "report_topic"), fmt.Sprintf("the reports of pump %q", p.Name))
	}
	clear(named)
	for _, n := range b.gate().Nodes {
		if named[n.Name] {
			continue
		}
		named[n.Name] = true
		claim(topics.Node(n.Name), "node", fmt.Sprintf("node %q", n.Name))
	}
}

// replace notes a topic that the file states in place of the default one.
func (b *frame) replace(path, from, to string) {
	if to == "" {
		return
	}
	if err := payload.CheckTopic(to); err != nil {
		b.fault(path, quoted(to), "is no topic: "+err.Error(), "")
		return
	}
	for other, topic := range b.replaced {
		if topic == to && !(payload.IsReading(from) && payload.IsReading(other)) {
			b.fault(path, quoted(to), "is also the topic of "+other, "give each its own topic")
			return
		}
	}
	b.replaced[from] = to
}

// path makes a path of the file absolute or relative to the file's folder.
func (b *frame) path(p string) string {
	if p == "" || filepath.IsAbs(p) {
		return p
	}
	return filepath.Join(b.env.Folder, p)
}
