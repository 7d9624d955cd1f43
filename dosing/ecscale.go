package dosing

import (
	"slices"
	"strconv"
)

// ECScale is another scale on which growers read EC. It is only ever shown, with
// its name, beside mS/cm: all that is entered, stored or published stays in mS/cm.
// The zero value is mS/cm alone. The factors are common practice.
type ECScale struct {
	Name   string
	factor float64 // per mS/cm
}

// ECScales are the scales that can be shown: conductivity factor, and dissolved
// solids by the two usual conversions (of sodium chloride, and of 442 mixtures or
// potassium chloride).
var ECScales = []ECScale{{"CF", 10}, {"ppm 500", 500}, {"ppm 700", 700}}

// ParseECScale finds a scale by its name; "" and "mS/cm" are mS/cm alone.
func ParseECScale(name string) (ECScale, bool) {
	if name == "" || name == "mS/cm" {
		return ECScale{}, true
	}
	i := slices.IndexFunc(ECScales, func(s ECScale) bool { return s.Name == name })
	if i < 0 {
		return ECScale{}, false
	}
	return ECScales[i], true
}

// Beside is c on the scale as an addition in brackets, " (18.0 CF)"; "" for mS/cm.
func (s ECScale) Beside(c Conductivity) string {
	if s.Name == "" {
		return ""
	}
	digits := 0
	if s.factor < 100 {
		digits = 1
	}
	return " (" + strconv.FormatFloat(float64(c)*s.factor, 'f', digits, 64) + " " + s.Name + ")"
}
