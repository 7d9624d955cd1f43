package controller

import (
	"leat/dosing"
	"leat/dosing/calibration"
)

// Standards are the names of those that a probe of a quantity can be calibrated in.
func Standards(q dosing.Quantity) (names []string) {
	for _, s := range calibration.Standards(q) {
		names = append(names, s.Name)
	}
	return names
}
