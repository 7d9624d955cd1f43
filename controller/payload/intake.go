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
	Correction   dosing.Correction // of its last calibration
}

// Intake makes readings of what arrives: it parses, and brings pH and EC to their
// reference with the temperature of their tank. It is used by one goroutine.
type Intake struct {
	feeds   []Feed
	thermal []*dosing.Thermal // by tank
	celsius []celsius         // by tank
}

// celsius is the latest temperatures of a tank, the newest first. The median of three
// is used: one wild sample would shift several readings of EC, which then bear one
// another out.
type celsius struct {
	value [3]float64
	at    [3]time.Duration
	count int
}

// temperatureHolds is how long a temperature serves for compensation: a tank of
// water does not change by a tenth of a kelvin in that time.
const temperatureHolds = 2 * time.Minute

func (c *celsius) take(value float64, at time.Duration) {
	c.value = [3]float64{value, c.value[0], c.value[1]}
	c.at = [3]time.Duration{at, c.at[0], c.at[1]}
	c.count = min(c.count+1, len(c.value))
}

// now is the temperature for a reading at up; false when the newest is too old.
func (c *celsius) now(up time.Duration) (float64, bool) {
	young := 0
	for young < c.count && up-c.at[young] <= temperatureHolds {
		young++
	}
	if young < len(c.value) {
		return c.value[0], young > 0
	}
	v := c.value
	return max(min(v[0], v[1]), min(max(v[0], v[1]), v[2])), true
}

// NewIntake makes the intake of these feeds; thermal has one table for each tank.
func NewIntake(feeds []Feed, thermal []*dosing.Thermal) *Intake {
	return &Intake{feeds: feeds, thermal: thermal, celsius: make([]celsius, len(thermal))}
}

// Decode makes a reading of the payload of feed number slot.
func (in *Intake) Decode(slot int, at dosing.Instant, body []byte, retained bool) (dosing.Reading, error) {
	f := &in.feeds[slot]
	r, err := f.Format.Decode(f.Input, f.Quantity, at, body, retained)
	if err != nil || int(f.Tank) >= len(in.celsius) {
		return r, err
	}
	if f.Correction != (dosing.Correction{}) {
		if r, err = r.Becomes(f.Correction.Of(f.Quantity, r.Value())); err != nil {
			return dosing.Reading{}, fmt.Errorf("after correction by its calibration: %w", err)
		}
	}
	switch f.Quantity {
	case dosing.QuantityTemperature:
		if !retained {
			in.celsius[f.Tank].take(r.Value(), at.Up)
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
	celsius, known := in.celsius[f.Tank].now(r.At().Up)
	if !known {
		return dosing.Reading{}, refuse("see that the temperature of this tank is sent", "%s cannot be compensated: no temperature in the last %s", f.Quantity, temperatureHolds)
	}
	value, ok := by(in.thermal[f.Tank], f.Compensation, r.Value(), celsius)
	if !ok {
		return dosing.Reading{}, refuse("check compensation in the configuration and the temperature probe",
			"%s cannot be compensated (%s) at %.1f °C", f.Quantity, f.Compensation, celsius)
	}
	compensated, err := r.Becomes(value)
	if err != nil {
		return dosing.Reading{}, fmt.Errorf("after compensation: %w", err)
	}
	return compensated, nil
}

// Correct makes the readings of an input from now on what its calibration says.
func (in *Intake) Correct(id dosing.InputID, c dosing.Correction) {
	for i := range in.feeds {
		if in.feeds[i].Input == id {
			in.feeds[i].Correction = c
		}
	}
}

// Input is the input of feed number slot.
func (in *Intake) Input(slot int) dosing.InputID { return in.feeds[slot].Input }
