package prove

import (
	"time"

	"leat/controller/payload"
	"leat/dosing"
	"leat/safety/ledger"
)

// World is the broker, the clock and the person.
type World interface {
	// Now is a time that never steps.
	Now() time.Duration
	Publish(topic string, qos byte, retained bool, body []byte) error
	// Wait returns the next thing that happens, or nothing where none does until then.
	Wait(until time.Duration) (Happening, error)
	// Displace connects once as the node, so that the broker throws that one out; why not,
	// where it cannot.
	Displace() (whyNot string)
	// Displaced says that it has taken its id back since.
	Displaced() bool
	Say(text string)
	// Ask asks the person something, who answers by a Happening.
	Ask(q Question, text string)
	// Do has the person do something, without an answer.
	Do(a Act, text string)
}

// Happening is a message that arrived or a line that was typed; the zero value is neither.
type Happening struct {
	Topic    string
	Body     []byte
	Retained bool
	Typed    bool
	Line     string
}

// Question is what a person is asked.
type Question uint8

// The questions. Whatever is asked besides, the text says.
const (
	AskEnter    Question = iota // to press Enter
	AskWater                    // to confirm that water is in the lines
	AskFitted                   // yes or no
	AskStill                    // yes or no: did the pump stand still
	AskCylinder                 // mL
	AskLoad                     // a name, or nothing
)

// Act is what a person does at the node.
type Act uint8

// The acts.
const (
	ActPower Act = iota // pull the plug and plug in again
	ActStop
	ActRelease
	ActLift
	ActLower
	ActClose  // the contactor of the supply
	ActSwitch // a load on
	ActRest   // and off
)

// Station is what is proved: one node with its pumps.
type Station struct {
	Name   string
	Topics *payload.Topics
	Node   string
	Pumps  []Pump
	Probes []Probe
	Epoch  uint32                    // of the proof, begun in the ledger
	Knows  func(ledger.OrderID) bool // does the ledger know of this order?
}

// Pump is one pump of the node.
type Pump struct {
	Name      string
	PerSecond dosing.Volume // as configured
	Longest   time.Duration // run of one order
	Outlet    string        // of an order; empty where the station has one tank
}

// gives is what it gives in a run.
func (p *Pump) gives(run time.Duration) dosing.Volume {
	return max(dosing.Volume(float64(p.PerSecond)*run.Seconds()), 1)
}

// Probe is a probe of the tanks, to see whether loads disturb it.
type Probe struct {
	Name  string
	Topic string
	Unit  string
	Fine  float64 // a shift below it matters to nobody
	Read  func(body []byte) (float64, bool)
}

func (s *Station) pumpOf(topic string) (int, bool) {
	for i := range s.Pumps {
		if s.Topics.Report(s.Pumps[i].Name) == topic {
			return i, true
		}
	}
	return 0, false
}

// Subscriptions are the topics that a proof listens to.
func (s *Station) Subscriptions() []string {
	topics := []string{s.Topics.Node(s.Node), s.Topics.Lease()}
	for i := range s.Pumps {
		topics = append(topics, s.Topics.Report(s.Pumps[i].Name))
	}
	seen := map[string]bool{}
	for i := range s.Probes {
		if topic := s.Probes[i].Topic; !seen[topic] {
			seen[topic] = true
			topics = append(topics, topic)
		}
	}
	return topics
}
