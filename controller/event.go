package controller

import (
	"time"

	"leat/dosing"
	"leat/dosing/blend"
	"leat/dosing/ratio"
	"leat/safety"
	"leat/safety/ledger"
)

// EventKind says which field of an Event holds.
type EventKind uint8

// The kinds of events. The zero kind does nothing.
const (
	EventNone      EventKind = iota
	EventReading             // Reading
	EventTick                // time passed; the core decides when its period is over
	EventHeartbeat           // Heartbeat
	EventReport              // Report
	EventDurable             // Receipt: an intent is on disk
	EventRecorded            // Change: a change is on disk and takes effect
	EventLedger              // Ledger: the state of the store changed
	EventWithdrawn           // Order: the link was closed before the order was written to it
	EventLink                // Up: the link to the broker opened or closed
	EventRequest             // Request: a person asks
	EventRejected            // Input: a payload of this input was refused, with Text
	EventSettings            // Settings: a new configuration, whole and valid
	EventClock               // Jump: the wall clock stepped by this much
	EventOther               // Up: another daemon's lease is (or is no longer) seen on our topics
	EventZone                // Zone: what the node of a zone that leat runs says
	EventEnding              // the daemon ends in order: what only it knows is written down
)

// Event is one thing that happened. It is a struct rather than an interface so
// that a reading reaches the core without an allocation.
type Event struct {
	Kind      EventKind
	Up        bool
	Input     dosing.InputID
	Reading   dosing.Reading
	Heartbeat *Heartbeat
	Report    *Report
	Zone      *ZoneReport
	Receipt   ledger.Receipt
	Change    *ledger.Change
	Ledger    safety.LedgerState
	Order     ledger.OrderID
	Request   *Request
	Settings  *Settings
	Jump      time.Duration
	Text      string
}

// Heartbeat is what a node says of itself every two seconds.
type Heartbeat struct {
	Node safety.NodeID
	Boot string
	Tick time.Duration
	Idle bool
	Last *Report // the last order it ended, if any
	// Epoch is the highest that it has seen; 0 = it does not say.
	Epoch uint32
}

// Phase is how far a node is with an order.
type Phase uint8

// The phases a node reports.
const (
	PhaseUnknown Phase = iota
	PhaseAccepted
	PhaseRunning
	PhaseDone
	PhaseStopped // ended early: stop, lease, own limit
	PhaseRefused
	PhaseCount
)

var phaseNames = [PhaseCount]string{"unknown", "accepted", "running", "done", "stopped", "refused"}

func (p Phase) String() string { return phaseNames[min(p, PhaseCount-1)] }

// ParsePhase finds a phase by name.
func ParsePhase(name string) (Phase, bool) {
	for p, n := range phaseNames {
		if n == name && p > 0 {
			return Phase(p), true
		}
	}
	return PhaseUnknown, false
}

// Report is a node's word on one order.
type Report struct {
	Order  ledger.OrderID
	Pump   dosing.PumpID // from the topic; a heartbeat's last has none and matches by order
	Phase  Phase
	Volume dosing.Volume // delivered by the node's own count
	Run    time.Duration
	Cause  string // why it stopped or refused
}

// RequestKind is what a person asks for.
type RequestKind uint8

// The requests. Role is what the asker needs: view < operate < engineer.
const (
	RequestNone         RequestKind = iota
	RequestSetpoint                 // operate: Quantity, Value, Until, Confirm
	RequestArm                      // engineer
	RequestObserve                  // engineer
	RequestStop                     // operate: latched
	RequestClear                    // engineer: clears latched trips; Note says what was checked
	RequestPause                    // operate: until RequestResume or Until
	RequestResume                   // operate
	RequestMaintenance              // operate: probe or pump work begins
	RequestCleaning                 // operate: cleaning begins; ends in solution unconfirmed
	RequestConfirmWater             // engineer: "water or nutrient solution, no disinfectant, rinsed"; Water, and Analysis where it is one
	RequestServiced                 // operate: pump or probe serviced, filling changed: learning starts anew
	RequestHandDose                 // operate: Pump, Volume added by hand
	RequestAcknowledge              // operate: Cause
	RequestShelve                   // operate: Cause, For
	RequestAnalysis                 // engineer: Analysis, Sampled: what a laboratory found in the tank
	RequestRaiseEpoch               // engineer, on the machine itself: begins an epoch above what the nodes have seen
	RequestVoid                     // operate: Entry: an entry by hand was a mistake
	RequestRefill                   // operate: Pump's container was filled and holds Volume; Batch; Note says its strength
	RequestMark                     // operate: Note: what is to be found again at this time
	RequestCalibrate                // operate: Calibrating: a probe's slope and offset
	RequestEndHoliday               // operate: the holiday of the tank is over
	RequestPumpRate                 // operate: Pump gave Runs into a cylinder
	RequestNewTube                  // operate: Pump, or its tube, was replaced
	RequestMeter                    // operate: Meter: what a hand meter read in the tank
	RequestTitrate                  // engineer: small doses that measure how much the water buffers
	RequestFill                     // engineer: source water up to the working level, then up to the setpoints; Confirm approves the plan
	RequestCount
)

var requestNames = [RequestCount]string{"none", "setpoint", "arm", "observe", "stop", "clear", "pause", "resume",
	"maintenance", "cleaning", "confirm-water", "serviced", "hand-dose", "acknowledge", "shelve", "analysis", "raise-epoch", "void", "refill", "mark", "calibrate", "end-holiday", "pump-rate", "new-tube", "meter", "titrate", "fill"}

func (k RequestKind) String() string { return requestNames[min(k, RequestCount-1)] }

// ParseRequestKind finds a request by name.
func ParseRequestKind(name string) (RequestKind, bool) {
	for k, n := range requestNames {
		if n == name && k > 0 {
			return RequestKind(k), true
		}
	}
	return RequestNone, false
}

// Role is what a person may do.
type Role uint8

// The roles, each including the one before. The zero role may do nothing.
const (
	RoleNobody Role = iota
	RoleView
	RoleOperate
	RoleEngineer
	RoleCount
)

var roleNames = [RoleCount]string{"nobody", "view", "operate", "engineer"}

func (r Role) String() string { return roleNames[min(r, RoleCount-1)] }

// ParseRole finds a role by name.
func ParseRole(name string) (Role, bool) {
	for r, n := range roleNames {
		if n == name && r > 0 {
			return Role(r), true
		}
	}
	return RoleNobody, false
}

// OfStation says that a request of this kind is of no tank.
func (k RequestKind) OfStation() bool {
	return k == RequestRefill || k == RequestPumpRate || k == RequestNewTube
}

// Lessens says that a request of this kind lets nothing more happen to the water and hides
// nothing from who is called: whoever may ask for it need not prove anew who they are.
func (k RequestKind) Lessens() bool {
	switch k {
	case RequestStop, RequestPause, RequestMaintenance, RequestCleaning, RequestObserve, RequestAcknowledge, RequestMark:
		return true
	}
	return false
}

// Needs is the role a request of this kind needs.
func (k RequestKind) Needs() Role {
	switch k {
	case RequestArm, RequestObserve, RequestClear, RequestConfirmWater, RequestAnalysis, RequestRaiseEpoch, RequestTitrate, RequestFill:
		return RoleEngineer
	case RequestNone:
		return RoleCount
	}
	return RoleOperate
}

// Request is a person's wish, with who sent it and from where.
type Request struct {
	ID          uint64 // chosen by the adapter; the Answer repeats it
	Kind        RequestKind
	Tank        dosing.TankID
	Quantity    dosing.Quantity // of a setpoint: pH or EC
	Value       float64
	Until       string // "06:00" in the configured zone, or RFC 3339; empty = for good
	UntilAt     time.Time
	Confirm     string // token of an earlier answer
	Note        string
	By          string // name; "mqtt:" + claimed name where unproved
	From        string // "page", "mqtt", "socket user 1000"
	Role        Role   // proved by the adapter
	Cause       safety.Cause
	Pump        dosing.PumpID
	Volume      dosing.Volume
	Entry       string // name of an entry by hand
	Batch       string // of what was filled in
	For         time.Duration
	Analysis    blend.Analysis
	Sampled     time.Time // when the sample was taken; zero = now
	Water       ratio.Water
	Other       dosing.TankID // with ratio.WaterTank, the tank whose solution was filled in
	Calibrating Calibrating
	Runs        string // of a pump: seconds and mL of each
	Meter       Meter
	Replaced    float64 // share of the tank that is fresh source water; 0 = all of it
}
