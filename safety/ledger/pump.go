package ledger

import (
	"time"

	"leat/dosing"
)

// PumpRate is what a pump gave when it was last measured.
type PumpRate struct {
	PerSecond float64 // mL
	At        time.Time
}

// Tube is when a pump's tube was last replaced.
type Tube struct {
	Ever dosing.Volume // what was counted of the pump until then
	At   time.Time
}
