package payload

import (
	"slices"
	"strings"
	"unicode/utf8"

	"leat/dosing"
	"leat/safety"
)

// DefaultPrefix stands before every topic that is not replaced.
const DefaultPrefix = "leat"

// The payloads of Topics.Online.
const (
	Online  = "1"
	Offline = "0"
)

// Topics names every topic of one station: prefix, station, and then what belongs to the
// station, or the tank and what belongs to it. So a second tank renames nothing, and two
// stations on one broker share no topic. Where a method takes a tank, dosing.AllTanks
// stands for the station; an unknown tank has no topic ("").
type Topics struct {
	prefix   string // with the station
	daemons  string
	tanks    []string
	replaced map[string]string
}

// NewTopics builds the topics of a station from the prefix ("" = leat), the names
// of station and tanks (by TankID), and what the configuration replaces: the topic
// without prefix and station, such as "reservoir/reading/ph", to the whole one it becomes.
func NewTopics(prefix, station string, tanks []string, replace map[string]string) (*Topics, error) {
	prefix = strings.TrimSuffix(prefix, "/")
	if prefix == "" {
		prefix = DefaultPrefix
	}
	if err := CheckTopic(prefix); err != nil {
		return nil, err
	}
	if err := CheckName(station); err != nil {
		return nil, err
	}
	t := &Topics{prefix: prefix + "/" + station + "/", tanks: append([]string(nil), tanks...),
		daemons: prefix + "/daemon/", replaced: make(map[string]string, len(replace))}
	if station == "daemon" {
		return nil, refuse("name it otherwise", "station %.60q would share the topics of the daemons", station)
	}
	taken := make(map[string]bool, len(tanks))
	for _, name := range tanks {
		if err := CheckTankName(name); err != nil {
			return nil, err
		}
		if taken[name] {
			return nil, refuse("give each tank its own name", "two are named %.60q", name)
		}
		taken[name] = true
	}
	users := make(map[string]string, len(replace))
	for from, to := range replace {
		if err := CheckTopic(to); err != nil {
			return nil, err
		}
		// One payload may carry the values of several probes; anything else that
		// meets on one topic, such as two pumps, would be a fault.
		if other, twice := users[to]; twice && !(IsReading(from) && IsReading(other)) {
			return nil, refuse("give each its own topic", "%.60q and %.60q are both on topic %.60q", min(from, other), max(from, other), to)
		}
		users[to] = from
		t.replaced[from] = to
	}
	return t, nil
}

// IsReading says of a topic without prefix and station whether values of a probe arrive on it.
func IsReading(path string) bool {
	if strings.HasPrefix(path, "reading/") {
		return true
	}
	_, rest, _ := strings.Cut(path, "/")
	return strings.HasPrefix(rest, "reading/")
}

// StationWords are what stands in a topic where a tank's name would: no tank may have one
// of them for a name.
var StationWords = []string{"lease", "node", "order", "owner", "reading", "report", "stop", "supply"}

// CheckTankName says whether a tank may have this name.
func CheckTankName(name string) error {
	if slices.Contains(StationWords, name) {
		return refuse("name the tank otherwise", "%.60q stands in topics of the station itself", name)
	}
	return CheckName(name)
}

// CheckName says whether a name of a station, tank, probe, pump or node can stand
// in a topic.
func CheckName(name string) error {
	if strings.Contains(name, "/") {
		return refuse("leave the slash out", "name %.60q would split its topic", name)
	}
	return CheckTopic(name)
}

// CheckTopic says whether text can be published to: MQTT 3.1.1, 4.7.
func CheckTopic(text string) error {
	const longest = 1024 // a limit on everything; MQTT's own is 65,535 bytes
	switch {
	case text == "":
		return refuse("write one", "a topic or a name in it is empty")
	case len(text) > longest:
		return refuse("shorten it", "topic %.60q… is longer than %d bytes", text, longest)
	case !utf8.ValidString(text):
		return refuse("write it in UTF-8", "topic %.60q is not valid UTF-8", text)
	case strings.ContainsAny(text, "+#"):
		return refuse("leave + and # out: one input, one topic", "topic %.60q is a pattern", text)
	case strings.ContainsFunc(text, func(r rune) bool { return r < 0x20 || r == 0x7f }):
		return refuse("leave it out", "topic %.60q has a control character", text)
	case text[0] == '$':
		return refuse("begin it otherwise", "topic %.60q belongs to the broker", text)
	}
	return nil
}

func (t *Topics) topic(tank dosing.TankID, rest string) string {
	if tank == dosing.AllTanks {
		return t.named(rest)
	}
	if int(tank) >= len(t.tanks) {
		return ""
	}
	return t.named(t.tanks[tank] + "/" + rest)
}

func (t *Topics) named(path string) string {
	if to, ok := t.replaced[path]; ok {
		return to
	}
	return t.prefix + path
}

// Reading is where a probe's values arrive, of a tank or of the station.
func (t *Topics) Reading(tank dosing.TankID, probe string) string {
	return t.topic(tank, "reading/"+probe)
}

// Order is where a pump's orders go: QoS 1, never retained.
func (t *Topics) Order(pump string) string { return t.named("order/" + pump) }

// Report is where a pump's reports arrive.
func (t *Topics) Report(pump string) string { return t.named("report/" + pump) }

// Node is where a node's heartbeats arrive.
func (t *Topics) Node(node string) string { return t.named("node/" + node) }

// NodeOnline is where a node says that it is there, retained; the broker says that it is not
// (last will). It is for people and hubs: the daemon goes by heartbeats.
func (t *Topics) NodeOnline(node string) string { return t.named("node/" + node + "/online") }

// Lease is where the permission to dose goes: QoS 0, not retained.
func (t *Topics) Lease() string { return t.named("lease") }

// Owner is where it stands, retained, which daemon owns the station.
func (t *Topics) Owner() string { return t.named("owner") }

// Stop is where stop orders go: QoS 1, never retained.
func (t *Topics) Stop() string { return t.named("stop") }

// Supply is where the order to cut the group supply goes: QoS 1, never retained.
func (t *Topics) Supply() string { return t.named("supply") }

// Ask is where a person asks for a setpoint.
func (t *Topics) Ask(tank dosing.TankID, q dosing.Quantity) string {
	return t.topic(tank, "setpoint/"+q.String()+"/ask")
}

// Answer is where the answer to an ask goes.
func (t *Topics) Answer(tank dosing.TankID, q dosing.Quantity) string {
	return t.topic(tank, "setpoint/"+q.String()+"/answer")
}

// Setpoint is where the setpoint stands, retained.
func (t *Topics) Setpoint(tank dosing.TankID, q dosing.Quantity) string {
	return t.topic(tank, "setpoint/"+q.String())
}

// AnalysisAsk is where a laboratory's analysis of a tank is sent.
func (t *Topics) AnalysisAsk(tank dosing.TankID) string { return t.topic(tank, "analysis/ask") }

// AnalysisAnswer is where the answer to it goes.
func (t *Topics) AnalysisAnswer(tank dosing.TankID) string { return t.topic(tank, "analysis/answer") }

// CalibrationAsk is where the steps of a probe's calibration are sent.
func (t *Topics) CalibrationAsk(tank dosing.TankID) string { return t.topic(tank, "calibration/ask") }

// CalibrationAnswer is where the answers to them go.
func (t *Topics) CalibrationAnswer(tank dosing.TankID) string {
	return t.topic(tank, "calibration/answer")
}

// Ions is where it stands, retained, what a tank is thought to hold.
func (t *Topics) Ions(tank dosing.TankID) string { return t.topic(tank, "ions") }

// State is where a tank's state stands, retained.
func (t *Topics) State(tank dosing.TankID) string { return t.topic(tank, "state") }

// Alarm is where an alarm stands, retained.
func (t *Topics) Alarm(tank dosing.TankID, cause safety.Cause) string {
	return t.topic(tank, "alarm/"+cause.String())
}

// ZoneSchedule is where the schedule of a zone that leat runs goes: QoS 1, never retained.
func (t *Topics) ZoneSchedule(tank dosing.TankID, zone string) string {
	return t.topic(tank, "zone/"+zone+"/schedule")
}

// ZoneReport is where that zone's node says what it does.
func (t *Topics) ZoneReport(tank dosing.TankID, zone string) string {
	return t.topic(tank, "zone/"+zone+"/report")
}

// Fit is where it stands, retained, whether the water may go to plants.
func (t *Topics) Fit(tank dosing.TankID) string { return t.topic(tank, "fit") }

// Online is where the daemon of this name says that it is there, retained; the
// broker says that it is not (last will).
func (t *Topics) Online(name string) string { return t.daemons + name + "/online" }
