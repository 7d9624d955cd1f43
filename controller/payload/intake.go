package payload

import (
	"fmt"
	"time"

	"leat/dosing"
)

// Feed is one input as it arrives.
type Feed struct {
	Input        dosing.InputID
	Tank         dosing.TankID
	Quantity     dosing.Quantity
	Format       Format
	Compensation dosing.Compensation
}

// Intake makes readings of what arrives: it parses, and brings pH and EC to their
// reference with the newest temperature of their tank. It is used by one goroutine.
type Intake struct {
	feeds   []Feed
	thermal []*dosing.Thermal // by tank
	celsius []reading         // by tank
}

type reading struct {
	value float64
	at    time.Duration
	known bool
}

// temperatureHolds is how long a temperature serves for compensation: a tank of
// water does not change by a tenth of a kelvin in that time.
const temperatureHolds = 2 * time.Minute

// NewIntake makes the intake of these feeds; thermal has one table for each tank.
func NewIntake(feeds []Feed, thermal []*dosing.Thermal) *Intake {
	return &Intake{feeds: feeds, thermal: thermal, celsius: make([]reading, len(thermal))}
}

// Decode makes a reading of the payload of feed number slot.
func (in *Intake) Decode(slot int, at dosing.Instant, body []byte, retained bool) (dosing.Reading, error) {
	f := &in.feeds[slot]
	r, err := f.Format.Decode(f.Input, f.Quantity, at, body, retained)
	if err != nil || int(f.Tank) >= len(in.celsius) {
		return r, err
	}
	switch f.Quantity {
	case dosing.QuantityTemperature:
		if !retained {
			in.celsius[f.Tank] = reading{value: r.Value(), at: at.Up, known: true}
		}
	case dosing.QuantityEC:
		return in.compensate(f, r, (*dosing.Thermal).EC)
	case dosing.QuantityPH:
		if f.Compensation.Method == dosing.MethodNernst {
			return r, nil
		}
		return in.compensate(f, r, (*dosing.Thermal).PH)
	}
	return r, nil
}

func (in *Intake) compensate(f *Feed, r dosing.Reading, by func(*dosing.Thermal, dosing.Compensation, float64, float64) (float64, bool)) (dosing.Reading, error) {
	celsius := in.celsius[f.Tank]
	if !celsius.known || r.At().Up-celsius.at > temperatureHolds {
		return dosing.Reading{}, refuse("see that the temperature of this tank is sent", "%s cannot be compensated: no temperature in the last %s", f.Quantity, temperatureHolds)
	}
	value, ok := by(in.thermal[f.Tank], f.Compensation, r.Value(), celsius.value)
	if !ok {
		return dosing.Reading{}, refuse("check compensation in the configuration and the temperature probe",
			"%s cannot be compensated (%s) at %.1f °C", f.Quantity, f.Compensation, celsius.value)
	}
	compensated, err := dosing.NewReading(f.Input, f.Quantity, value, r.At(), r.Sequence(), r.Retained())
	if err != nil {
		return dosing.Reading{}, fmt.Errorf("after compensation: %w", err)
	}
	return compensated, nil
}

// Input is the input of feed number slot.
func (in *Intake) Input(slot int) dosing.InputID { return in.feeds[slot].Input }
