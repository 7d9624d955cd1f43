package payload

import (
	"sort"
	"strconv"
	"strings"

	"leat/dosing"
)

// Unit turns what a sensor sends into the unit of its quantity. The zero Unit is
// "not stated" and converts nothing.
type Unit struct {
	name string
	// value = sent·times/over + plus. Dividing by 1000 is correctly rounded where
	// multiplying by 0.001 is not, so 1412 µS/cm is 1.412 mS/cm to the last bit.
	times, over, plus float64
}

// String is the unit as it was written.
func (u Unit) String() string { return u.name }

// Stated says whether the unit is known.
func (u Unit) Stated() bool { return u.times > 0 && u.over > 0 }

// Convert is the value in the quantity's unit: pH, mS/cm, °C, L, mV, or 0 and 1.
func (u Unit) Convert(sent float64) float64 { return float64(sent*u.times)/u.over + u.plus }

var (
	unitsOfEC = map[string]Unit{
		"mS/cm": {times: 1, over: 1}, "µS/cm": {times: 1, over: 1000}, "uS/cm": {times: 1, over: 1000},
		"dS/m": {times: 1, over: 1}, "mS/m": {times: 1, over: 100}, "S/m": {times: 10, over: 1},
		"S/cm": {times: 1000, over: 1}, "µS/m": {times: 1, over: 100_000}, "uS/m": {times: 1, over: 100_000},
		"CF": {times: 1, over: 10}, "ppm500": {times: 1, over: 500}, "ppm640": {times: 1, over: 640}, "ppm700": {times: 1, over: 700},
	}
	unitsOfTemperature = map[string]Unit{
		"°C": {times: 1, over: 1}, "C": {times: 1, over: 1}, "degC": {times: 1, over: 1}, "Cel": {times: 1, over: 1},
		"°F": {times: 5, over: 9, plus: -160.0 / 9}, "F": {times: 5, over: 9, plus: -160.0 / 9}, "degF": {times: 5, over: 9, plus: -160.0 / 9},
		"K": {times: 1, over: 1, plus: -273.15},
	}
	// Gallons: NIST Special Publication 811, appendix B (exact by definition).
	unitsOfVolume = map[string]Unit{
		"L": {times: 1, over: 1}, "l": {times: 1, over: 1}, "mL": {times: 1, over: 1000}, "ml": {times: 1, over: 1000},
		"dm3": {times: 1, over: 1}, "dm³": {times: 1, over: 1}, "m3": {times: 1000, over: 1}, "m³": {times: 1000, over: 1},
		"cm3": {times: 1, over: 1000}, "cm³": {times: 1, over: 1000},
		"US gal": {times: 3.785411784, over: 1}, "imp gal": {times: 4.54609, over: 1},
	}
	unitsOfRedox     = map[string]Unit{"mV": {times: 1, over: 1}, "V": {times: 1000, over: 1}}
	unitsOfOxygen    = map[string]Unit{"mg/L": {times: 1, over: 1}, "mg/l": {times: 1, over: 1}, "ppm": {times: 1, over: 1}, "µmol/L": {times: 31.998, over: 1000}}
	unitsOfFlow      = map[string]Unit{"L/min": {times: 1, over: 1}, "l/min": {times: 1, over: 1}, "L/h": {times: 1, over: 60}, "l/h": {times: 1, over: 60}, "L/s": {times: 60, over: 1}, "m3/h": {times: 1000, over: 60}, "m³/h": {times: 1000, over: 60}}
	unitsOfPressure  = map[string]Unit{"kPa": {times: 1, over: 1}, "bar": {times: 100, over: 1}, "mbar": {times: 1, over: 10}, "Pa": {times: 1, over: 1000}, "hPa": {times: 1, over: 10}, "psi": {times: 6.894757, over: 1}}
	unitsOfIntensity = map[string]Unit{"mW/cm²": {times: 1, over: 1}, "mW/cm2": {times: 1, over: 1}, "W/m²": {times: 1, over: 10}, "W/m2": {times: 1, over: 10}, "µW/cm²": {times: 1, over: 1000}, "uW/cm2": {times: 1, over: 1000}}
	unitsOfHours     = map[string]Unit{"h": {times: 1, over: 1}, "min": {times: 1, over: 60}, "s": {times: 1, over: 3600}, "d": {times: 24, over: 1}}
	unitsOfPercent   = map[string]Unit{"%": {times: 1, over: 1}, "1": {times: 100, over: 1}}
	unitsOfPH        = map[string]Unit{"": {times: 1, over: 1}, "pH": {times: 1, over: 1}}
	unitsOfSwitch    = map[string]Unit{"": {times: 1, over: 1}}
)

func unitsOf(q dosing.Quantity) map[string]Unit {
	switch q {
	case dosing.QuantityPH:
		return unitsOfPH
	case dosing.QuantityEC:
		return unitsOfEC
	case dosing.QuantityTemperature:
		return unitsOfTemperature
	case dosing.QuantityOxygen:
		return unitsOfOxygen
	case dosing.QuantityZoneFlow, dosing.QuantityLineFlow:
		return unitsOfFlow
	case dosing.QuantityFilterPressure:
		return unitsOfPressure
	case dosing.QuantityUVIntensity:
		return unitsOfIntensity
	case dosing.QuantityLampHours:
		return unitsOfHours
	case dosing.QuantityUVTransmittance:
		return unitsOfPercent
	case dosing.QuantityLevel, dosing.QuantityStockLevel, dosing.QuantityZoneLevel:
		return unitsOfVolume
	case dosing.QuantityRedox:
		return unitsOfRedox
	}
	if q.Switch() {
		return unitsOfSwitch
	}
	return nil
}

// ParseUnit reads the unit in which a sensor sends a quantity, such as "µS/cm" or
// "°F". A number before the unit is what one count of the sensor is worth: "12 L"
// for a level in per cent of a 1,200 L tank. EC in ppm must name its scale
// (ppm500, ppm640, ppm700), because the three differ by 40 %.
func ParseUnit(quantity dosing.Quantity, text string) (Unit, error) {
	name := strings.TrimSpace(text)
	scale := 1.0
	// Micro sign and Greek mu look alike and both are in use.
	key := strings.ReplaceAll(name, "μ", "µ")
	if number, rest, found := strings.Cut(key, " "); found {
		if v, err := parseNumber([]byte(number)); err == nil {
			if !(v > 0) {
				return Unit{}, refuse("state what one count is worth, such as \"12 L\"", "unit %.40q: %s is not above zero", text, number)
			}
			scale, key = v, strings.TrimSpace(rest)
		}
	}
	units := unitsOf(quantity)
	if units == nil {
		return Unit{}, refuse("state what the input measures", "unit %.40q: no quantity", text)
	}
	unit, known := units[key]
	if !known {
		what := "unit %.40q is not one of " + quantity.String()
		if key == "" {
			what = "unit %.40q: " + quantity.String() + " needs one"
		}
		hint := "write one of " + unitNames(units)
		if quantity == dosing.QuantityEC && strings.HasPrefix(key, "ppm") {
			hint = "name the scale: ppm500 (sodium chloride), ppm640 or ppm700"
		}
		return Unit{}, refuse(hint, what, text)
	}
	unit.name = name
	unit.times *= scale
	return unit, nil
}

func unitNames(units map[string]Unit) string {
	names := make([]string, 0, len(units))
	for name := range units {
		names = append(names, strconv.Quote(name))
	}
	sort.Strings(names)
	return strings.Join(names, ", ")
}
