package safety

import (
	"time"

	"leat/dosing"
)

// NodeID numbers the pump nodes of a station in the order of the configuration.
type NodeID uint8

// Settings is all the gate knows of a station from its configuration.
type Settings struct {
	Station string
	Pumps   []dosing.Pump
	Caps    []Caps // by pump
	Tanks   []Tank
	Inputs  []Input
	Nodes   []Node
	// PumpNode is the node of each pump.
	PumpNode []NodeID
	// LineVolume is what lies between manifold and outlet; 0 = not shared.
	LineVolume dosing.Volume
	// StartSettling is how long after a start nothing is dosed, at least one
	// mixing time of the slowest tank after a crash.
	StartSettling time.Duration
}

// Caps are the absolute limits of one pump. A zero cap allows nothing.
type Caps struct {
	PerDose, PerHour, PerDay dosing.Volume
	OnTime                   time.Duration // longest run of one order
}

// Tank is a tank's plant with the limits its water must keep for a dose.
type Tank struct {
	dosing.Tank
	MinTemperature, MaxTemperature dosing.Celsius
	// HalvedCaps is set where leak or stop is waived: hourly and daily caps halve.
	HalvedCaps bool
	TopUpBand  TopUpBand
}

// TopUpBand is the level between which a valve of ours keeps a tank, L. Zero = none does.
type TopUpBand struct {
	Low, High dosing.Litres // top-up begins below the one and ends at the other
	Overflow  dosing.Litres // where the tank runs over
}

// Input is one input as configured.
type Input struct {
	Name      string
	Tank      dosing.TankID // dosing.AllTanks for one of the station
	Quantity  dosing.Quantity
	NotFitted string        // why it is waived; empty = fitted
	Period    time.Duration // how often it is sent
	Noise     float64       // commissioned sd in the quantity's unit; 0 = not measured
	Step      float64       // resolution in the quantity's unit
	Min, Max  float64       // plausible range; both zero = the usual one of the quantity
	Pump      dosing.PumpID // whose container a stock level belongs to
	Zone      int           // of its tank, whose flow or level it is
	// Slope, in % of the theoretical, and Offset, in mV, are of a pH probe's last
	// calibration; a slope of 0 was never measured.
	Slope, Offset float64
	Compensation  dosing.Compensation // what its transmitter does about temperature
	// CalibrateEvery is after how long its next calibration is due; 0 = never.
	CalibrateEvery time.Duration
}

// Node is one pump node.
type Node struct {
	Name string
	// FullContract nodes acknowledge, report, de-duplicate, judge expiry and obey
	// the lease; others only take a bounded run time and get half the caps.
	FullContract bool
}

// Mode is what a tank is allowed to do. The zero mode never doses.
type Mode uint8

// The modes of a tank. Holding is not stored: it is armed with an active hold.
const (
	ModeObserving Mode = iota // reads and decides aloud, never doses
	ModeArmed
	ModeHolding // armed, and an interlock of action Hold is active
	ModeStopped // by a latched trip or a person; only a person clears
	ModeCount
)

var modeNames = [ModeCount]string{"observing", "armed", "holding", "stopped"}

func (m Mode) String() string { return modeNames[min(m, ModeCount-1)] }
