package dosing

import (
	"fmt"
	"math"
)

// InputID numbers the inputs of a station in the order of the configuration.
type InputID uint16

// TankID numbers the tanks of a station, PumpID its pumps, both in the order of
// the configuration.
type (
	TankID uint8
	PumpID uint8
)

// AllTanks stands in an input's tank for an input of the whole station.
const AllTanks TankID = 0xff

// Quantity is what an input measures. The zero value measures nothing.
type Quantity uint8

// The quantities. Switches read 1 for true and 0 for false.
const (
	QuantityNone        Quantity = iota
	QuantityPH                   // pH
	QuantityEC                   // mS/cm at 25 °C
	QuantityTemperature          // °C of the solution
	QuantityLevel                // L in the tank
	QuantityRedox                // mV
	QuantityCirculation          // switch: water moves past the probes and the injection point
	QuantityLeak                 // switch: water where none should be
	QuantityFlood                // switch: a flood zone is filling, standing or draining
	QuantityTopUp                // switch: the top-up valve is open
	QuantitySampleFlow           // switch: the probes' sample line flows
	QuantityOutlet               // switch: the outlet valve into this tank is proved open
	QuantityStop                 // switch: the stop input is pressed
	QuantityLight                // switch: the plants' lamps burn; no dose rests on it
	QuantityStockLevel           // L left in a stock container

	// What follows is watched and alarmed, and no dose ever rests on it.
	QuantityOxygen          // mg/L dissolved
	QuantityZoneFlow        // L/min into a film zone
	QuantityZoneLevel       // L that stand in a zone
	QuantityFilterPressure  // kPa lost across the filter
	QuantityLineFlow        // L/min through the treatment line
	QuantityUVIntensity     // mW/cm² at the lamp's sleeve
	QuantityLampHours       // h that the lamp has burnt
	QuantityUVTransmittance // % of UV that passes 1 cm of the water
	QuantityCount
)

var quantityNames = [QuantityCount]string{"none", "ph", "ec", "temperature", "level", "redox", "circulation",
	"leak", "flood", "top_up", "sample_flow", "outlet", "stop", "light", "stock_level",
	"oxygen", "zone_flow", "zone_level", "filter_pressure", "line_flow", "uv_intensity", "lamp_hours", "uv_transmittance"}

var quantityUnits = [QuantityCount]string{"", "", "mS/cm", "°C", "L", "mV", "", "", "", "", "", "", "", "", "L",
	"mg/L", "L/min", "L", "kPa", "L/min", "mW/cm²", "h", "%"}

// String is the name used in topics, metrics and the configuration.
func (q Quantity) String() string {
	if q >= QuantityCount {
		return "none"
	}
	return quantityNames[q]
}

// Unit is the unit a value of q is shown in; empty for pH and switches.
func (q Quantity) Unit() string {
	if q >= QuantityCount {
		return ""
	}
	return quantityUnits[q]
}

// Switch says whether q is a two-valued input.
func (q Quantity) Switch() bool { return q >= QuantityCirculation && q <= QuantityLight }

// Watched says whether q is only watched: its alarms call a person, the gate never sees it.
func (q Quantity) Watched() bool { return q >= QuantityOxygen && q < QuantityCount }

// physicalRange is what a value can be at all; beyond it a parser refuses.
var physicalRange = [QuantityCount][2]float64{
	QuantityPH: {0, 14}, QuantityEC: {0, 200}, QuantityTemperature: {-30, 110}, QuantityLevel: {0, 1e6},
	QuantityRedox: {-2000, 2000}, QuantityCirculation: {0, 1}, QuantityLeak: {0, 1}, QuantityFlood: {0, 1},
	QuantityTopUp: {0, 1}, QuantitySampleFlow: {0, 1}, QuantityOutlet: {0, 1}, QuantityStop: {0, 1}, QuantityLight: {0, 1}, QuantityStockLevel: {0, 1e6},
	QuantityOxygen: {0, 60}, QuantityZoneFlow: {0, 1e5}, QuantityZoneLevel: {0, 1e6}, QuantityFilterPressure: {-100, 2000},
	QuantityLineFlow: {0, 1e5}, QuantityUVIntensity: {0, 1000}, QuantityLampHours: {0, 1e6}, QuantityUVTransmittance: {0, 100},
}

// Quality is the fitness of a reading, in the categories of NAMUR NE 107. The
// zero value is failure: what nobody judged may not dose.
type Quality uint8

// Qualities from worst to best.
const (
	QualityFailure Quality = iota
	QualityFunctionCheck
	QualityOutOfSpecification
	QualityMaintenanceRequired
	QualityGood
	QualityCount
)

var qualityNames = [QualityCount]string{"failure", "function-check", "out-of-specification", "maintenance-required", "good"}

func (q Quality) String() string {
	if q >= QualityCount {
		return "failure"
	}
	return qualityNames[q]
}

// MayDose says whether a dose may rest on a reading of this quality.
func (q Quality) MayDose() bool { return q == QualityGood || q == QualityMaintenanceRequired }

// Reading is one value from one input, parsed once: finite and physically
// possible, with its time of arrival. Only controller/payload makes Readings.
type Reading struct {
	input    InputID
	quantity Quantity
	retained bool
	sequence uint64
	value    float64
	sent     float64
	at       Instant
}

// NewReading checks value against what the quantity can be. Sequence is the
// sender's counter, 0 when it sends none. Retained marks the broker's stored
// copy, which is shown but never used.
func NewReading(input InputID, quantity Quantity, value float64, at Instant, sequence uint64, retained bool) (Reading, error) {
	if quantity == QuantityNone || quantity >= QuantityCount {
		return Reading{}, fmt.Errorf("reading of input %d: no quantity", input)
	}
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return Reading{}, fmt.Errorf("%s reads %v: not a number; check the sender", quantity, value)
	}
	if bounds := physicalRange[quantity]; value < bounds[0] || value > bounds[1] {
		return Reading{}, fmt.Errorf("%s reads %g %s: outside %g to %g, which it cannot be; check unit and wiring",
			quantity, value, quantity.Unit(), bounds[0], bounds[1])
	}
	return Reading{input: input, quantity: quantity, retained: retained, sequence: sequence, value: value, sent: value, at: at}, nil
}

// Input is the input that was read.
func (r Reading) Input() InputID { return r.input }

// Quantity is what was measured.
func (r Reading) Quantity() Quantity { return r.quantity }

// Value is the value in the quantity's unit.
func (r Reading) Value() float64 { return r.value }

// Sent is what the probe itself sent, in the quantity's unit, before it was corrected and
// compensated.
func (r Reading) Sent() float64 { return r.sent }

// Becomes is the reading with another value, corrected or compensated; what was sent stays.
func (r Reading) Becomes(value float64) (Reading, error) {
	made, err := NewReading(r.input, r.quantity, value, r.at, r.sequence, r.retained)
	made.sent = r.sent
	return made, err
}

// At is when the reading arrived.
func (r Reading) At() Instant { return r.at }

// Sequence is the sender's counter, 0 if it has none.
func (r Reading) Sequence() uint64 { return r.sequence }

// Retained says that the broker sent its stored copy.
func (r Reading) Retained() bool { return r.retained }
