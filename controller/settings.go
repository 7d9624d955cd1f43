package controller

import (
	"time"

	"leat/dosing"
	"leat/dosing/loop"
	"leat/dosing/ratio"
	"leat/safety"
	"leat/safety/line"
)

// Settings is one station as configured, whole and valid: controller/config fills
// it, the core never reads a file.
type Settings struct {
	Version string // identity of the configuration, cited by every dose
	Safety  safety.Settings
	Tanks   []TankSettings
	// ReArm says that a tank which was armed before a restart is armed again after
	// its wait; otherwise a person arms it.
	ReArm bool
	// ControlPeriod is the period of decisions.
	ControlPeriod time.Duration
	// StockWarn is how long before a container is empty a person is told; 0 = not.
	StockWarn time.Duration
	// Without leaves a part of the law out, for the rehearsal that shows what it is
	// worth. No configuration sets it; the gate stands as it is.
	Without loop.Without
}

// TankSettings is what a person may steer in one tank and within which bounds.
type TankSettings struct {
	PH, EC SetpointSettings
	Zones  []Zone
	// GasExchange is how fast CO2 passes between the tank's own water, that in the zones
	// left out, and the room, per hour: only a rehearsal asks. 0 = not at all.
	GasExchange float64
	Schedule    Schedule
	// PlantArea is the m² of plants that the tank waters; 0 = not stated.
	PlantArea float64
	// Line is what is only watched around the tank.
	Line line.Settings
	// Ratio is the recipe by which the tank's stocks are shared; nil = by the shares
	// of the pumps.
	Ratio *ratio.Plan
}

// ZoneKind is how a zone waters its plants.
type ZoneKind uint8

// The kinds of zones.
const (
	ZoneFlood ZoneKind = iota + 1 // ebb and flow: a bench fills, stands and drains
	ZoneFilm                      // nutrient film: a thin stream in channels
	ZoneRaft                      // deep water culture: rafts on a pond
)

var zoneKinds = [...]string{ZoneFlood: "flood", ZoneFilm: "film", ZoneRaft: "raft"}

func (k ZoneKind) String() string {
	if k >= ZoneFlood && k <= ZoneRaft {
		return zoneKinds[k]
	}
	return "unknown kind of zone"
}

// Zone takes water from a tank and gives it back.
type Zone struct {
	Name   string
	Kind   ZoneKind
	Litres dosing.Litres // held when in use
	// Exchange is the time in which it exchanges its water with the tank once; 0 of a
	// bench that fills and drains.
	Exchange time.Duration
	// GasExchange is that of its water, per hour, while it is wet.
	GasExchange float64
	// Own is how leat runs it; zero = its own controller does.
	Own Watering
}

// RunsZones are the names of the zones that leat runs, in their order; "" for one that it does not.
func (t *TankSettings) RunsZones() (names []string) {
	for i := range t.Zones {
		name := ""
		if t.Zones[i].Own.Stated() {
			name = t.Zones[i].Name
		}
		names = append(names, name)
	}
	return names
}

// SetpointSettings bounds one setpoint. Out of the absolute bounds is refused,
// never clamped; out of the recommended ones, or a step beyond Confirm, wants a
// second confirmation.
type SetpointSettings struct {
	Value                  float64 // from the file; pH or mS/cm
	Min, Max               float64 // absolute bounds
	AdvisedMin, AdvisedMax float64 // recommended bounds
	Confirm                float64 // largest step without a second confirmation
	RampPerHour            float64 // fastest change of the effective setpoint
	RampDownward           bool    // whether the ramp limits a lower setpoint too

	ConfirmWithin time.Duration // of uptime, for the second confirmation; 0 = two minutes
}

// Inputs are the inputs of the station, by dosing.InputID.
func (s *Settings) Inputs() []safety.Input { return s.Safety.Inputs }

// Pumps are the pumps of the row, by dosing.PumpID.
func (s *Settings) Pumps() []dosing.Pump { return s.Safety.Pumps }
