package ledger

import (
	"time"

	"leat/dosing"
	"leat/safety"
)

// ReplayedDose is a dose of the last 25 hours as the caps must count it. Up and
// SettledUp are uptimes of the new run, negative for what came before it.
type ReplayedDose struct {
	Order      OrderID // zero for one added by hand
	Tank, Pump string
	Ordered    dosing.Volume
	Volume     dosing.Volume // what counts: in full while open
	Up         time.Duration // when the gate permitted it
	SettledUp  time.Duration // when its fate was known; Up while open
	Outcome    Outcome
	ByHand     bool
	Entry      Remark // of one added by hand: Text is its name
	Voided     bool   // it was a mistake: it is on its way for all that, but in no hour and no day
	Spent      bool   // of no tank: it counts against the pump's caps and nowhere else
}

// OpenIntent is an intent without a settlement: it counts as delivered in full,
// and nobody knows whether it was.
type OpenIntent struct {
	Order      OrderID
	Tank, Pump string
	Volume     dosing.Volume
	Reason     dosing.Reason
	At         dosing.Instant // wall time as recorded; uptime in the new run, negative
	Basis      Basis
}

// Intent makes it something that Settle closes, with the numbers that its tank
// and pump have in the present configuration. It can never be appended again.
func (o OpenIntent) Intent(tank dosing.TankID, pump dosing.PumpID) Intent {
	return Intent{order: o.Order, plan: dosing.Plan{Tank: tank, Pump: pump, Volume: o.Volume, Reason: o.Reason},
		at: o.At, basis: o.Basis, filled: true, recalled: true}
}

// Counts are the doses of one pump by outcome.
type Counts struct {
	Doses  [OutcomeCount]uint64
	Volume [OutcomeCount]dosing.Volume
}

// Latch is a latched trip that no person has cleared. At.Up is in the new run.
type Latch struct {
	Tank, Pump string // Pump is empty unless the trip is the pump's own
	Cause      string
	At         dosing.Instant
}

// Remark is a thing a person or the daemon said of a tank and that still holds.
type Remark struct {
	Text     string
	Note     string
	By, From string
	At       dosing.Instant // uptime in the new run
	Until    time.Time      // zero = for good; the core judges whether it is over
}

// Setpoint is the newest accepted ask for one quantity of one tank.
type Setpoint struct {
	Tank       string
	Quantity   dosing.Quantity
	Old, Value float64
	FileValue  float64   // of the configuration then
	Until      time.Time // zero = for good; the core judges whether it is over
	By, From   string
	At         dosing.Instant
}

// Learned is what a tank's answers to doses taught of one quantity. A service, a
// refill or other water makes it void.
type Learned struct {
	Scale, Drift dosing.Belief
	At           dosing.Instant // of the newest
}

// Titration is what the newest one found of a tank's water. A service, a refill or other water makes it void.
type Titration struct {
	Buffer float64 // meq/L per pH
	PH     float64 // at which
	Spread float64 // sd of its logarithm
	Text   string  // in words
	At     dosing.Instant
}

// Unseen is what a tank was given that no reading has shown: as last written, and by pump
// what was dosed since.
type Unseen struct {
	safety.Unseen
	Since map[string]dosing.Volume
}

// Of names one quantity of one tank.
type Of struct {
	Tank     string
	Quantity dosing.Quantity
}

// Analysis is a laboratory's word on a tank.
type Analysis struct {
	Text    string
	Ago     time.Duration // how long before At the sample was taken
	Trusted bool
	At      dosing.Instant
}

// Refill is a person's word on what a container holds.
type Refill struct {
	Volume dosing.Volume // what it held then
	Ever   dosing.Volume // what was counted of the pump until then, as State.Ever counts
	At     time.Time
	Batch  string
}

// State is all that the record says of the moment before a run. Maps are by the
// name of the tank, or of the pump where it says so; the station's own entries
// stand under the empty name.
type State struct {
	LastEpoch     uint32    // the next run is LastEpoch+1
	LastOrders    []OrderID // the last of each epoch, ascending, of the last KeptEpochs that had one
	Answered      uint32    // a person has answered for what nodes know of epochs before this one
	Restored      bool      // a copy was put back and no run has begun since
	Before        time.Time // when that copy ended
	Rows          uint64
	Head          [32]byte      // hash of the newest row
	First, Last   time.Time     // wall times of the first and newest row
	Covers        time.Duration // from the first row to now
	Configuration string        // version in force last
	Doses         []ReplayedDose
	Open          []OpenIntent
	Ever          map[string]dosing.Volume   // counted by pump since the first row, by-hand doses aside
	Recent        map[string]dosing.Volume   // counted by pump in the last 72 h; Covers tells whether that is a whole mean
	Hourly        map[string][]dosing.Volume // counted by pump in each of the last DemandHours, the newest last
	Outcomes      map[string]Counts          // by pump
	Modes         map[string]safety.Mode
	Latches       []Latch
	Disarmed      map[string]Remark // was armed and observes without a person's word; Text = why
	Unconfirmed   map[string]Remark
	Pauses        map[string][]Remark // pause, maintenance, cleaning
	Setpoints     []Setpoint
	Learned       map[Of]Learned
	Fills         map[string]Remark                   // approved and not ended, by tank; Text = what each pump may give
	Titrations    map[string]Titration                // by tank
	Levels        map[string]float64                  // litres at rest, by tank
	Unseen        map[string]Unseen                   // given and shown by no reading, by tank
	Owed          map[string]map[string]dosing.Volume // tank → pump → rest of a begun blend
	Ions          map[string][]Remark                 // accounts of the ions, the newest last, earlier ones some hours apart
	Analyses      map[string]Analysis                 // the newest of each tank
	Fillings      map[string]Remark                   // the newest of each tank; Text = the water that a person confirmed
	Refills       map[string]Refill                   // the newest of each pump
	Holidays      map[string]map[string]time.Time     // when the end of each was confirmed, by tank
	Rates         map[string]PumpRate                 // as last measured, by pump
	Tubes         map[string]Tube                     // the newest of each pump
	Calibrations  map[string]Calibration              // the newest of each probe, by tank/probe
	Starts        int                                 // starts recorded in the last 10 minutes
}
