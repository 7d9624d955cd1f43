package controller

import (
	"time"

	"leat/dosing"
	"leat/safety"
	"leat/safety/ledger"
)

// Output is what the rim must carry out after a step. Its slices are the core's
// own and hold until the next step.
type Output struct {
	// Append goes to the ledger, in this order, before anything else happens on
	// account of it.
	Append []ledger.Draft
	// Orders go to the nodes. An order appears only in the output of the step that
	// was told its intent is durable, after the gate judged again.
	Orders []Order
	Stops  []StopOrder
	Supply bool // cut the pumps' supply, where a second contactor is fitted
	// Schedules go to the nodes of zones. They start no dosing pump and need no lease.
	Schedules []ZoneSchedule
	Lease     bool // emit the lease: the decision ran and its checks passed
	Answers   []Answer
	Notices   []Notice // for the log: doses, interlocks, alarms, changes
	// Corrections are what readings are corrected by from now on, where it changed.
	Corrections []InputCorrection
	Changed     bool // the view differs from the last one
}

// Order tells a node to run one pump once, with an end that the node can judge.
type Order struct {
	id      ledger.OrderID
	tank    dosing.TankID
	pump    dosing.PumpID
	volume  dosing.Volume
	run     time.Duration
	boot    string
	before  time.Duration
	expires time.Time
}

// ID is the order's identity.
func (o Order) ID() ledger.OrderID { return o.id }

// Tank is the tank it is flushed into.
func (o Order) Tank() dosing.TankID { return o.tank }

// Pump is the pump to run.
func (o Order) Pump() dosing.PumpID { return o.pump }

// Volume is the volume to deliver.
func (o Order) Volume() dosing.Volume { return o.volume }

// Run is the run time at the pump's commissioned rate.
func (o Order) Run() time.Duration { return o.run }

// Boot is the boot of the node for which the order holds.
func (o Order) Boot() string { return o.boot }

// BeforeTick is the node's tick before which it must start.
func (o Order) BeforeTick() time.Duration { return o.before }

// Expires is the wall time before which a node that has a clock must start.
func (o Order) Expires() time.Time { return o.expires }

// StopOrder tells nodes to stop a pump, or all pumps, at once.
type StopOrder struct {
	Tank dosing.TankID // dosing.AllTanks = the station
	Pump dosing.PumpID
	All  bool
}

// Answer is the core's word to a Request.
type Answer struct {
	Request  uint64
	Kind     RequestKind
	Tank     dosing.TankID
	Quantity dosing.Quantity
	Accepted bool
	Text     string // what was done, or why not and what to do
	Again    bool   // the same may be asked again in a moment: it could not be done yet
	Confirm  string // token to repeat, where a second confirmation is wanted
	Old, New float64
	Min      float64
	Max      float64
	From, By string
}

// NoticeKind sorts notices for the log.
type NoticeKind uint8

// The kinds of notices.
const (
	NoticeDose NoticeKind = iota + 1
	NoticeInterlock
	NoticeAlarm
	NoticeChange
	NoticeRefused
)

// Notice is one line for the log, in the same words as the page and the topics.
type Notice struct {
	Kind    NoticeKind
	Tank    dosing.TankID
	Cause   safety.Cause
	Active  bool
	Order   ledger.OrderID
	Pump    dosing.PumpID
	Volume  dosing.Volume
	Outcome ledger.Outcome
	Text    string
}
