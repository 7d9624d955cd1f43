package diary

import (
	"time"

	"leat/safety/ledger"
)

// Minute is one minute of one input.
type Minute struct {
	At             time.Time // its beginning, UTC
	Count          int       // readings in it
	Low, Mean, Top float64   // in the input's unit
}

// Past is what a record holds of a time.
type Past struct {
	From, To    time.Time
	First, Last time.Time // of the whole record
	Zone        *time.Location
	Station     *Station           // as it was at the end; nil = the record does not tell
	Entries     []ledger.Entry     // of the time, and how its doses were settled later
	Events      []Event            // of the time and of the day before it
	Minutes     map[string]Minutes // by input
	Deeds       []Deed             // of the audit, the newest last
	Rows        uint64             // of the ledger, whose chain holds
}

// Deed is one line of the audit: a sign-in, an ask that was refused, a change of people.
type Deed struct {
	Wall         time.Time
	Who, From    string
	What, Detail string
}

// Minutes are those of one input, in order.
type Minutes []Minute
