package ledger

import (
	"strings"
	"time"

	"leat/dosing"
)

// Calibration is the newest of a probe.
type Calibration struct {
	dosing.Correction
	Quantity dosing.Quantity
	// Itself says that the probe's own transmitter corrects it: slope and offset are what
	// was left afterwards, and nothing is taken out of its readings.
	Itself bool
	At     time.Time
	By     string
}

// How a probe was calibrated, as the Text of a ChangeCalibration says it.
const (
	CalibratedHere   = "by leat"
	CalibratedItself = "by itself"
)

// CalibrationText is the Text of a ChangeCalibration.
func CalibrationText(probe string, itself bool, found string) string {
	how := CalibratedHere
	if itself {
		how = CalibratedItself
	}
	return probe + " " + how + ": " + found
}

// ReadCalibration finds in such a text the probe and how it was calibrated.
func ReadCalibration(text string) (probe, how string) {
	head, _, _ := strings.Cut(text, ": ")
	probe, how, _ = strings.Cut(head, " ")
	return probe, how
}
