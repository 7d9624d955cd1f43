package web

import (
	"fmt"

	"leat/controller"
	"leat/dosing"
)

// litresPerGallon is the US gallon's, exactly.
const litresPerGallon = 3.785411784

// besideReading is a reading in US units, in brackets behind the metric one: what is typed
// and kept stays metric, so that no figure is read in the wrong unit.
func besideReading(in controller.InputView, us bool) string {
	switch {
	case !us || !in.Present:
		return ""
	case in.Quantity == dosing.QuantityTemperature:
		return fmt.Sprintf(" (%.1f °F)", in.Value*9/5+32)
	case in.Quantity.Unit() == "L":
		return gallons(in.Value)
	}
	return ""
}

// besideVolume is a volume from a litre on in gallons; of a dose millilitres are the unit.
func besideVolume(v dosing.Volume, us bool) string {
	if !us || v < dosing.Litre {
		return ""
	}
	return gallons(v.Litres())
}

func gallons(litres float64) string {
	return " (" + significant(litres/litresPerGallon) + " gal)"
}
