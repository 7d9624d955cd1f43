package ledger

import (
	"errors"
	"time"

	"leat/dosing"
	"leat/safety"
)

// Outcome is the fate of a dose. The zero outcome is open: it counts in full.
type Outcome uint8

// The outcomes.
const (
	OutcomeOpen      Outcome = iota
	OutcomeConfirmed         // the node reported this order, and was believed as far as it counts
	OutcomeRefused           // the node would not run it; counts in full all the same
	OutcomeUncertain         // nobody knows; counts in full and is never retried
	OutcomeWithdrawn         // never left this process; the only outcome that counts nothing
	OutcomeCount
)

var outcomeNames = [OutcomeCount]string{"open", "confirmed", "refused", "uncertain", "withdrawn"}

func (o Outcome) String() string { return outcomeNames[min(o, OutcomeCount-1)] }

// ParseOutcome finds an outcome by name.
func ParseOutcome(name string) (Outcome, bool) {
	for o, n := range outcomeNames {
		if n == name {
			return Outcome(o), true
		}
	}
	return OutcomeOpen, false
}

// Draft is something to append: an Intent, a Settlement or a Change, made in this
// package only.
type Draft interface{ draft() }

// Basis is what a dose rests on, for the record.
type Basis struct {
	Configuration string
	TankName      string
	PumpName      string
	PH            float64
	EC            float64
	Temperature   float64
}

// Intent is a dose about to be ordered. Only Intend makes one.
type Intent struct {
	order  OrderID
	plan   dosing.Plan
	at     dosing.Instant
	basis  Basis
	filled bool
	// recalled marks an intent read back from the record: it can be settled, never
	// appended again, so it never yields a second receipt.
	recalled bool
}

func (Intent) draft() {}

// ErrNoClearance says that no gate permitted this dose, or that its clearance was
// used before.
var ErrNoClearance = errors.New("no clearance: the gate did not permit this dose, or its permission was used before")

// Intend spends a clearance and makes the intent of its dose.
func Intend(clearance *safety.Clearance, order OrderID, basis Basis) (Intent, error) {
	plan, at, ok := clearance.Spend()
	if !ok || plan.Volume <= 0 || order.Epoch == 0 || order.Number == 0 {
		return Intent{}, ErrNoClearance
	}
	return Intent{order: order, plan: plan, at: at, basis: basis, filled: true}, nil
}

// Order is the intent's identity.
func (i Intent) Order() OrderID { return i.order }

// Plan is the dose.
func (i Intent) Plan() dosing.Plan { return i.plan }

// At is when the gate permitted it.
func (i Intent) At() dosing.Instant { return i.at }

// Basis is what it rests on.
func (i Intent) Basis() Basis { return i.basis }

// Settlement closes an intent. Its volume is what counts from then on.
type Settlement struct {
	order   OrderID
	plan    dosing.Plan
	at      dosing.Instant
	outcome Outcome
	volume  dosing.Volume
	cause   string
	basis   Basis
}

func (Settlement) draft() {}

// Settle closes an intent with an outcome, or raises what counts of one that was
// closed before. A confirmed dose counts as given, over-delivery included; a withdrawn
// one counts nothing; every other counts in full, or counted if that is more.
func Settle(intent Intent, outcome Outcome, counted dosing.Volume, at dosing.Instant, cause string) Settlement {
	volume := min(max(counted, 0), largestVolume)
	switch outcome {
	case OutcomeConfirmed:
	case OutcomeWithdrawn:
		volume = 0
	default:
		volume = max(volume, intent.plan.Volume)
	}
	return Settlement{order: intent.order, plan: intent.plan, at: at, outcome: outcome, volume: volume, cause: cause, basis: intent.basis}
}

// Order is the identity of the dose it closes.
func (s Settlement) Order() OrderID { return s.order }

// Plan is the dose as ordered.
func (s Settlement) Plan() dosing.Plan { return s.plan }

// Outcome is the fate of the dose.
func (s Settlement) Outcome() Outcome { return s.outcome }

// Volume is what counts.
func (s Settlement) Volume() dosing.Volume { return s.volume }

// At is when it was settled.
func (s Settlement) At() dosing.Instant { return s.at }

// Cause says in words why it ended as it did.
func (s Settlement) Cause() string { return s.cause }

// Receipt proves that an intent is durable. Only Ledger.AppendIntent makes one.
type Receipt struct {
	intent   Intent
	sequence uint64
}

// Intent is the durable intent; ok is false for a zero receipt.
func (r Receipt) Intent() (intent Intent, ok bool) {
	return r.intent, r.sequence > 0 && r.intent.filled
}

// Sequence is the row's number in the ledger.
func (r Receipt) Sequence() uint64 { return r.sequence }

// ChangeKind is what a Change records.
type ChangeKind uint8

// The kinds of changes that must outlive a restart, or that a person must be able
// to look up.
const (
	ChangeNone        ChangeKind = iota
	ChangeStart                  // the daemon started; made by Start
	ChangeMode                   // Text = mode, By, Note
	ChangeSetpoint               // Quantity, Old, Value, Until
	ChangeTrip                   // Text = cause of a latched trip
	ChangeClear                  // a person cleared latched trips, the tank is observing; Note says what was checked
	ChangeUnconfirmed            // solution unconfirmed, Text = why
	ChangeConfirmed              // a person confirmed the water; Text = which water it is, empty = not said
	ChangeHandDose               // Pump, Volume added by hand; Text = the entry's name
	ChangeServiced               // pump or probe serviced, stock refilled, filling changed
	ChangePause                  // pause, maintenance or cleaning began (Text) or ended (""); a cleaning ends by ChangeConfirmed
	ChangeSettings               // a new configuration took effect, Text = version
	ChangeLearned                // Value, Spread = mean and sd of ln(scale) of a Quantity's loop; without one, of pH's
	ChangeClock                  // the wall clock stepped: Value in seconds; Trusted = it is synchronised now
	ChangeOwed                   // Volume of Pump that a begun blend still owes the tank; 0 = paid
	ChangeAnalysis               // a laboratory's analysis of the tank: Text = the ions, Value = age of the sample in s, Trusted = no check left a doubt
	ChangeIons                   // Text = the account of the tank's ions
	ChangeDrift                  // Value, Spread = mean and sd of a Quantity's drift, meq/L or mS/cm per hour
	ChangeLevel                  // Value = litres that the tank held at rest
	ChangeEpoch                  // a person raised the epoch of the run from Old to Value, above what the nodes have seen
	ChangeRestored               // a copy was put back: Value = the epoch above which the next run begins, Until = when the copy ended
	ChangeSpent                  // Volume of Pump counts against its caps for a time that the ledger does not cover
	ChangeDisarmed               // the tank was armed and now observes, without a person's word; Text = why
	ChangeHandVoid               // the entry by hand named in Text was a mistake: Pump, Volume as they were entered
	ChangeUnseen                 // given to the tank and shown by no reading: Value of acid and Old of base, meq/L, Spread of stock, mS/cm
	ChangeRefill                 // the container of Pump was filled and holds Volume; Text = batch, Note = its strength or what else is to be known
	ChangeMark                   // Note = what a person wants to find again at this time
	ChangeCalibration            // a probe was calibrated: Quantity, Value = its slope, Old = its offset; Text = probe, how and what it read
	ChangeHolidayEnd             // a person confirmed the end of the holiday in Text
	ChangePumpRate               // Pump gave Value mL per second where the file said Old; Spread of the runs in Text
	ChangeTube                   // Pump, or its tube, was replaced; the old one ran Value hours
	ChangeMeter                  // a hand meter read Value of Quantity in the tank, where the probe read Old; 0 = nothing valid
	ChangeTitration              // a titration began (no Text), found Value = meq/L per pH at pH Old, with Spread as a share and the words in Text, or ended without (Text alone)
	ChangeFill                   // a person approved a fill of Value litres until Until; Text = what each pump may give. Without Until it ended, Text = how
	ChangeCount
)

var changeNames = [ChangeCount]string{"none", "start", "mode", "setpoint", "trip", "clear", "unconfirmed", "confirmed",
	"hand-dose", "serviced", "pause", "settings", "learned", "clock", "owed", "analysis", "ions", "drift", "level", "epoch", "restored", "spent",
	"disarmed", "hand-void", "unseen", "refill", "mark", "calibration", "holiday-end", "pump-rate", "new-tube", "meter", "titration", "fill"}

func (k ChangeKind) String() string { return changeNames[min(k, ChangeCount-1)] }

// ParseChangeKind finds a kind by name.
func ParseChangeKind(name string) (ChangeKind, bool) {
	for k, n := range changeNames {
		if n == name && k > 0 {
			return ChangeKind(k), true
		}
	}
	return ChangeNone, false
}

// PauseCleaning is the Text of a ChangePause that only confirmed water ends.
const PauseCleaning = "cleaning"

// PauseECDoubted is the Text of a ChangePause that withholds stocks alone.
const PauseECDoubted = "ec-doubted"

// Change is anything but a dose that the record keeps: who did what, from where,
// old and new. Names rather than numbers: a configuration may be reordered.
type Change struct {
	Kind     ChangeKind
	At       dosing.Instant
	Tank     string // empty = the station
	Pump     string
	Quantity dosing.Quantity
	Old      float64
	Value    float64
	Spread   float64
	// FileValue is what the configuration said when a setpoint was asked for: the
	// ask ends when the file says something else.
	FileValue float64
	Volume    dosing.Volume
	Until     time.Time
	Text      string
	Note      string
	By, From  string
	// Trusted says that the system clock was synchronised (ChangeStart,
	// ChangeClock). Only between two trusted moments does the replay believe a
	// wall-clock difference of more than an hour.
	Trusted bool
	// Ticket tells whoever appends the change what waits for it. It is not recorded.
	Ticket uint64
}

func (Change) draft() {}

// Start is the first entry of a run: its epoch, the configuration it began with,
// and whether the system clock was synchronised. Epochs rise; State.LastEpoch+1
// is the next.
func Start(epoch uint32, configuration string, at dosing.Instant, synchronised bool) Change {
	return Change{Kind: ChangeStart, At: at, Value: float64(epoch), Text: configuration, Trusted: synchronised}
}
