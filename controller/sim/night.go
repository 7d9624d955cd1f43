package sim

import (
	"errors"
	"fmt"
	"time"

	"leat/controller"
	"leat/controller/payload"
	"leat/dosing"
	"leat/safety"
	"leat/safety/ledger"
)

// Feed is one input with the topic on which it arrives.
type Feed struct {
	payload.Feed
	Topic string
}

// Night joins the farm to the shipped core, gate, ledger code and parsers on one
// thread: no broker, no disk, no clock, the same decisions.
type Night struct {
	Farm   *Farm
	Core   *controller.Core
	Ledger *ledger.Ledger

	settings *controller.Settings
	topics   *payload.Topics
	intake   *payload.Intake
	inlets   map[string]inlet // by topic
	hearts   []payload.Heartbeats
	now      dosing.Instant
	beat     uint64
	fitTold  time.Duration
	asked    uint64
	drafts   []ledger.Draft     // waiting for the disk
	events   []controller.Event // drafts that became durable, waiting to be told
	full     bool
	failed   bool
	event    controller.Event // of the step under way
	word     controller.Heartbeat
	ear      Send   // hear, bound once
	lease    string // topic
	leased   []byte // body of the last lease

	// Notice is told each line for the log; nil = nobody.
	Notice func(now dosing.Instant, n controller.Notice)
	// Seen is shown every step before it is carried out; nil = nobody.
	Seen func(now dosing.Instant, event *controller.Event, out *controller.Output)
	// Tap is a hand on the wire to the daemon: it returns what arrives in place of
	// body, or nil when nothing does; nil = all arrives as sent.
	Tap func(topic string, body []byte) []byte
	// SlowDisk keeps what the disk wrote from the core until Sync: an append that
	// takes long.
	SlowDisk bool
	// Answers are the core's words to requests since the start.
	Answers []controller.Answer
}

// inlet is what arrives on a topic of the daemon.
type inlet struct {
	kind  inletKind
	index int // feed, pump or node; of a zone its tank
	zone  int
}

type inletKind uint8

const (
	inletNone inletKind = iota
	inletReading
	inletReport
	inletHeartbeat
	inletZone
)

// fullRetry is how often a full disk is tried again.
const fullRetry = 5 * time.Second

// NewNight starts the daemon's core on a store at wall time, with a farm that may
// have run before it.
func NewNight(settings *controller.Settings, topics *payload.Topics, feeds []Feed, farm *Farm, store ledger.Store, wall time.Time) (*Night, error) {
	n, err := PrepareNight(settings, topics, feeds, farm, store, wall)
	if err == nil {
		n.Begin()
	}
	return n, err
}

// PrepareNight is NewNight before the core's first step, for whoever wants to hear
// that one too.
func PrepareNight(settings *controller.Settings, topics *payload.Topics, feeds []Feed, farm *Farm, store ledger.Store, wall time.Time) (*Night, error) {
	n := &Night{Farm: farm, settings: settings, topics: topics, inlets: map[string]inlet{},
		hearts: make([]payload.Heartbeats, len(settings.Safety.Nodes)), now: dosing.Instant{Wall: wall}}
	var thermal []*dosing.Thermal
	for i := range settings.Safety.Tanks {
		t, err := dosing.NewThermal(settings.Safety.Tanks[i].Expected())
		if err != nil {
			return nil, fmt.Errorf("tank %q: %w", settings.Safety.Tanks[i].Name, err)
		}
		thermal = append(thermal, t)
	}
	n.ear, n.lease = n.hear, topics.Lease()
	var inner []payload.Feed
	for i := range feeds {
		inner = append(inner, feeds[i].Feed)
	}
	n.intake = payload.NewIntake(inner, thermal)
	for i := range settings.Safety.Nodes {
		n.inlets[topics.Node(settings.Safety.Nodes[i].Name)] = inlet{kind: inletHeartbeat, index: i}
	}
	for i := range settings.Safety.Pumps {
		n.inlets[topics.Report(settings.Safety.Pumps[i].Name)] = inlet{kind: inletReport, index: i}
	}
	for i := range feeds {
		n.inlets[feeds[i].Topic] = inlet{kind: inletReading, index: i}
	}
	for i := range settings.Tanks {
		for k := range settings.Tanks[i].Zones {
			if z := &settings.Tanks[i].Zones[k]; z.Own.Stated() {
				n.inlets[topics.ZoneReport(dosing.TankID(i), z.Name)] = inlet{kind: inletZone, index: i, zone: k}
			}
		}
	}
	var err error
	if n.Ledger, err = ledger.Open(store); err != nil {
		return nil, err
	}
	state, err := ledger.Replay(store, n.now, false)
	if err != nil {
		return nil, err
	}
	if n.Core, err = controller.New(settings, state, n.now); err != nil {
		return nil, err
	}
	return n, nil
}

// Begin takes the core's first steps: the record, the stop for all pumps, the link.
func (n *Night) Begin() {
	out := n.Core.Begin(n.now, false)
	if n.Seen != nil {
		n.Seen(n.now, &controller.Event{}, out)
	}
	n.carryOut(out)
	n.Sync()
	n.Step(controller.Event{Kind: controller.EventLedger, Ledger: safety.LedgerReady})
	n.SetLink(true)
}

// Now is the daemon's time.
func (n *Night) Now() dosing.Instant { return n.now }

// SetLink opens or closes the links of both sides.
func (n *Night) SetLink(up bool) {
	n.Farm.Connected(up)
	n.Step(controller.Event{Kind: controller.EventLink, Up: up})
}

// StepWall moves the wall clock, as a person or a time server does, and tells the core.
func (n *Night) StepWall(by time.Duration) {
	n.now.Wall = n.now.Wall.Add(by)
	n.Step(controller.Event{Kind: controller.EventClock, Jump: by})
}

// Written says that the disk has written all there is and the core knows it.
func (n *Night) Written() bool { return len(n.drafts) == 0 && len(n.events) == 0 && !n.failed }

// Ask puts a request to the core and returns its answer; with a slow disk there is
// none yet, and what is returned accepts nothing.
func (n *Night) Ask(r controller.Request) controller.Answer {
	n.asked++
	r.ID = n.asked
	n.Step(controller.Event{Kind: controller.EventRequest, Request: &r})
	return n.Answer(r.ID)
}

// Answer is the last word so far to a request.
func (n *Night) Answer(id uint64) controller.Answer {
	for i := len(n.Answers) - 1; i >= 0; i-- {
		if n.Answers[i].Request == id {
			return n.Answers[i]
		}
	}
	return controller.Answer{}
}

// Arm arms every tank.
func (n *Night) Arm() {
	for i := range n.settings.Tanks {
		n.Ask(controller.Request{Kind: controller.RequestArm, Tank: dosing.TankID(i), By: "rehearsal", From: "rehearsal", Role: controller.RoleEngineer})
	}
}

// Run advances farm and daemon second by second for a time and calls each, if any,
// after every second.
func (n *Night) Run(for_ time.Duration, each func(now dosing.Instant)) {
	for end := n.now.Up + for_; n.now.Up < end; {
		n.now = n.now.Add(time.Second)
		n.Farm.Advance(n.Farm.now+time.Second, n.ear)
		if n.full && n.now.Up%fullRetry == 0 {
			n.write()
		}
		n.event = controller.Event{Kind: controller.EventTick}
		n.take()
		if each != nil {
			each(n.now)
		}
	}
}

// Step gives the core one event, carries out what it puts out, and tells it what
// became durable on the way.
func (n *Night) Step(event controller.Event) {
	// An event is large and lives for one step: one place for it saves a heap object
	// each second. A step within carryOut comes when this one has been read.
	n.event = event
	n.take()
}

// take gives the core n.event.
func (n *Night) take() {
	n.step(&n.event)
	if !n.SlowDisk {
		n.Sync()
	}
}

// Sync tells the core what has become durable and what follows from that.
func (n *Night) Sync() {
	for len(n.events) > 0 {
		next := n.events[0]
		n.events = n.events[1:]
		n.step(&next)
	}
}

func (n *Night) step(event *controller.Event) {
	out := n.Core.Step(n.now, event)
	if n.Seen != nil {
		n.Seen(n.now, event, out)
	}
	n.carryOut(out)
}

// hear is the daemon's side of what the farm sends.
func (n *Night) hear(topic string, _ byte, retained bool, body []byte) {
	if n.Tap != nil {
		if body = n.Tap(topic, body); body == nil {
			return
		}
	}
	switch in := n.inlets[topic]; in.kind {
	case inletReading:
		r, err := n.intake.Decode(in.index, n.now, body, retained)
		if err != nil {
			n.Step(controller.Event{Kind: controller.EventRejected, Input: n.intake.Input(in.index), Text: err.Error()})
			return
		}
		n.event = controller.Event{Kind: controller.EventReading, Reading: r}
		n.take()
	case inletReport:
		if r, err := payload.ParseReport(body); err == nil {
			r.Pump = dosing.PumpID(in.index)
			n.Step(controller.Event{Kind: controller.EventReport, Report: &r})
		}
	case inletZone:
		if r, err := payload.ParseZoneReport(body); err == nil {
			r.Tank, r.Zone = dosing.TankID(in.index), in.zone
			n.Step(controller.Event{Kind: controller.EventZone, Zone: &r})
		}
	case inletHeartbeat:
		if h, err := n.hearts[in.index].Parse(body); err == nil {
			n.word = h
			n.word.Node = safety.NodeID(in.index)
			n.Step(controller.Event{Kind: controller.EventHeartbeat, Heartbeat: &n.word})
		}
	}
}

// carryOut does what the core put out. The slices of out are the core's own, so
// everything that leads to another step waits until they have been read.
func (n *Night) carryOut(out *controller.Output) {
	for _, c := range out.Corrections {
		n.intake.Correct(c.Input, c.Correction)
	}
	n.drafts = append(n.drafts, out.Append...)
	if !n.full {
		n.write()
	}
	if n.Notice != nil {
		for _, notice := range out.Notices {
			n.Notice(n.now, notice)
		}
	}
	n.Answers = append(n.Answers, out.Answers...)
	n.water(out)
	if len(out.Stops) == 0 && len(out.Orders) == 0 && !out.Supply {
		if out.Lease {
			n.beat++
			n.leased = payload.AppendLease(n.leased[:0], n.Core.Epoch(), n.beat)
			n.Farm.Receive(n.lease, n.leased, n.ear)
		}
		return
	}
	messages := n.messages(out)
	for _, m := range messages {
		n.Farm.Receive(m.topic, m.body, n.ear)
	}
}

// write appends what waits, in order, and keeps the events that tell the core so.
// A full disk is tried again later; after any other failure nothing is written
// until a restart.
func (n *Night) write() {
	for len(n.drafts) > 0 && !n.failed {
		event, err := n.append(n.drafts[0])
		switch {
		case errors.Is(err, ledger.ErrFull):
			if !n.full {
				n.full = true
				n.events = append(n.events, controller.Event{Kind: controller.EventLedger, Ledger: safety.LedgerFull, Text: err.Error()})
			}
			return
		case err != nil:
			n.failed = true
			n.events = append(n.events, controller.Event{Kind: controller.EventLedger, Ledger: safety.LedgerFailed, Text: err.Error()})
			return
		}
		if n.full {
			n.full = false
			n.events = append(n.events, controller.Event{Kind: controller.EventLedger, Ledger: safety.LedgerReady})
		}
		n.events = append(n.events, event)
		n.drafts = n.drafts[1:]
	}
}

// append writes one draft and returns the event that tells the core so.
func (n *Night) append(draft ledger.Draft) (controller.Event, error) {
	switch d := draft.(type) {
	case ledger.Intent:
		receipt, err := n.Ledger.AppendIntent(d)
		return controller.Event{Kind: controller.EventDurable, Receipt: receipt}, err
	case ledger.Change:
		return controller.Event{Kind: controller.EventRecorded, Change: &d}, n.Ledger.Append(d)
	}
	return controller.Event{}, n.Ledger.Append(draft)
}
