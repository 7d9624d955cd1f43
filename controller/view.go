package controller

import (
	"time"

	"leat/dosing"
	"leat/safety"
	"leat/safety/alarm"
	"leat/safety/ledger"
	"leat/safety/line"
)

// View is a snapshot of everything a person or a metric may see. The rim hands it
// out read-only; a new one replaces the old whole.
type View struct {
	At            dosing.Instant
	Station       string
	Verdict       Verdict // all tanks in one sentence
	Epoch         uint32
	Configuration string
	LinkUp        bool
	Ledger        safety.LedgerState
	Tanks         []TankView
	Pumps         []PumpView
	Nodes         []NodeView
}

// TankView is one tank.
type TankView struct {
	Name    string
	Mode    safety.Mode
	Cause   safety.Cause // the most severe thing that withholds doses; CauseNone = nothing
	Reason  string       // mode and cause in words
	Verdict Verdict      // how it fares in one sentence; of a whole View only
	Next    string       // the next step in words
	Inputs  []InputView
	PH, EC  SetpointView
	Settled SettledView
	Unseen  []UnseenView // acid, base and stock
	Holds   []HoldView   // every active interlock, most severe first
	Alarms  []AlarmView
	// Until pH or EC leaves its band if nothing is dosed, at the drift last seen; 0 =
	// outside now, negative = not in sight or unforeseen.
	LeavesWarn, LeavesHarm time.Duration
	Leaving                dosing.Quantity // which of pH and EC leaves its warn band first
	PauseEnds              time.Time       // zero = nothing is paused, or until a person resumes
	Fit                    bool            // may this water go to plants
	FitCause               string
	Wants                  dosing.Role   // what pH and EC call for now, permitted or not
	ToppedUp               dosing.Litres // plain water that came in since the start
	WouldDose              string        // what an armed tank would dose now, in words; observing only
	Withheld               [safety.CauseCount]uint64
	Ions                   *IonsView     // nil without a recipe
	Pours                  []PourView    // what can be added by hand
	Schedule               string        // stage or holiday in words; empty without a schedule
	Plan                   *Schedule     // nil without one
	Stocks                 []StockView   // the containers from which it is dosed
	Calibrating            string        // probe whose calibration is under way
	Titration              string        // how far one is, or what the newest found of the water; empty = there was none
	Fill                   string        // how far an approved fill is, or what came of the last; empty = there was none
	Filling                bool          // one is under way
	Titrating              bool          // one is under way
	StepBy                 time.Time     // when it is given up unless its next step comes
	Lapsed                 string        // probe whose calibration was given up so
	Hands                  []HandView    // what was added by hand in the last day, the newest first
	Line                   []line.Figure // oxygen, films, filter and lamp in words
}

// InputView is one input with its last value.
type InputView struct {
	Name        string
	Quantity    dosing.Quantity
	NotFitted   string
	Present     bool // a value ever arrived
	Value       float64
	Age         time.Duration
	Quality     dosing.Quality
	Retained    bool
	Calibration *CalibrationView // nil where none was entered
}

// SetpointView is one setpoint.
type SetpointView struct {
	Working, Final float64 // effective now; where the ramp ends
	Source         string  // "file", "page", "mqtt", "schedule"
	Min, Max       float64
	AdvisedMin     float64
	AdvisedMax     float64
	Confirm        float64
	By             string
	At             time.Time
	Until          time.Time // zero = for good
	// What the last change of this run replaced, where there was one.
	Undoable    bool
	Before      float64
	BeforeUntil time.Time
}

// UnseenView is what no reading has shown yet of acid, base or stock.
type UnseenView struct {
	Role  dosing.Role
	Share float64 // of the most that may be
	Words string
}

// SettledView is where the tank will come to rest with what is already in it.
type SettledView struct {
	Known             bool
	PH, EC            float64
	AcidInTransit     float64 // pH units at the commissioned buffer capacity, positive lowers
	ECInTransit       float64 // mS/cm
	DriftPH           float64 // per hour
	DriftEC           float64 // mS/cm per hour
	BufferScale       float64
	BufferScaleSpread float64 // sd of its logarithm
	ECGain            float64 // true ÷ predicted effect of the stocks on EC, as learned
}

// HoldView is one active interlock in the words of the table.
type HoldView struct {
	Cause  safety.Cause
	Action safety.Action
	Scope  safety.Scope
	Pump   string // of a pump's own interlock
	Since  dosing.Instant
	Text   string
	Clears string
}

// AlarmView is one alarm in the states of ISA-18.2.
type AlarmView struct {
	Cause    safety.Cause
	State    alarm.State
	Priority safety.Priority
	Text     string
	Advice   string
	Since    dosing.Instant
}

// PumpView is one pump with its counts.
type PumpView struct {
	Name, Reagent       string
	Liquid              string // reagent with its strength
	Role                dosing.Role
	Hour, Day, Ever     dosing.Volume
	HourlyCap, DailyCap dosing.Volume
	Largest             []LargestView // by tank that it serves
	Left                dosing.Volume // in the container, by its level or by ledger and refills; negative = unknown
	Refilled            time.Time     // the newest refill that was entered; zero = none
	Batch               string        // of it
	Lasts               StockView
	TubeRan             time.Duration // since its tube was replaced, by the ledger
	Measured            float64       // mL per second when it was last measured; 0 = never
	MeasuredAt          time.Time
	Doses               [ledger.OutcomeCount]uint64
	Volume              [ledger.OutcomeCount]dosing.Volume
	OpenOrder           string
}

// LargestView is how large a dose of a pump into a tank may be now, and why not larger.
type LargestView struct {
	Tank  string
	Most  dosing.Volume // zero: none
	By    safety.Cause  // what forbids any, or the limit that binds
	Words string
}

// PourView is a pump whose liquid a person may add to the tank, and what 10 mL of it do.
type PourView struct {
	Pump   string
	Liquid string
	PH, EC float64
}

// HandView is an entry by hand.
type HandView struct {
	Name, Pump, Liquid string
	Volume             dosing.Volume
	At                 time.Time
	By                 string
	Voided             bool
}

// NodeView is one pump node.
type NodeView struct {
	Name string
	Seen bool
	Age  time.Duration
	Boot string
}
