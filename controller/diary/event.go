// Package diary is what the record holds beside the ledger: which interlocks stood
// when, what pH and EC called for, the setpoints as they were, alarms, and the
// station as it was configured. It is for people; no dose rests on it.
//
// Decision: one row for each change, not a sample a minute. A night of a tank is
// some hundred rows. Whatever stands is said again twice a day, so that a reader
// needs no row older than a day before the time it asks for, and old rows are
// pruned without looking which of them still hold. Rejected: these rows in the
// ledger's chain, where a flapping probe would slow the appends of doses; and
// samples in the history of readings, which would forget what stood for less
// than a minute.
package diary

import "time"

// Kind is what an event says.
type Kind uint8

// The kinds of events.
const (
	KindNone      Kind = iota
	KindRun            // the daemon began or ended in order: Name
	KindStation        // Text = Station as JSON
	KindInterlock      // Name = cause, Pump of a pump's own; Value 1 = it stands, 0 = it ended; Text = detail
	KindAlarm          // Name = cause, Text = its state
	KindSetpoint       // Name = ph or ec; Value = the setpoint in force
	KindWant           // Name = the role of pump that pH and EC call for; none; or unknown
	KindDrift          // Name = ph or ec; Value = what it moves in an hour without doses
	KindTopUp          // Value = litres of plain water since the row before
	KindCount
)

var kindNames = [KindCount]string{"none", "run", "station", "interlock", "alarm", "setpoint", "want", "drift", "top-up"}

func (k Kind) String() string { return kindNames[min(k, KindCount-1)] }

// ParseKind finds a kind by name.
func ParseKind(name string) (Kind, bool) {
	for k, n := range kindNames {
		if n == name && k > 0 {
			return Kind(k), true
		}
	}
	return KindNone, false
}

// The names of a KindRun, of the quantities, and of a want nobody can know.
const (
	RunBegins = "begins"
	RunEnds   = "ends"
	PH        = "ph"
	EC        = "ec"
	Unknown   = "unknown"
)

// Event is one row.
type Event struct {
	At    time.Time
	Tank  string // empty = the station
	Kind  Kind
	Name  string
	Pump  string
	Value float64
	Text  string
}

// SaidAgain is how long an event may be the newest word on what it names. A reader
// begins that much before the time it asks for.
const SaidAgain = 24 * time.Hour
