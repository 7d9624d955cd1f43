package web

import (
	"fmt"

	"leat/controller"
)

// readCalibrating reads a step of a probe's calibration.
func readCalibrating(value func(string) string, request *controller.Request) error {
	ask := controller.Calibrating{Probe: value("probe"), Step: value("step"), Standard: value("standard"), Found: value("found")}
	if label := value("label"); ask.Standard == "label" {
		stated, err := typed(label)
		if err != nil {
			return fmt.Errorf("label: %w", err)
		}
		ask.Standard = "label:" + plainNumber(stated)
	}
	if text := value("celsius"); text != "" {
		var err error
		if ask.Celsius, err = typed(text); err != nil {
			return err
		}
	}
	request.Calibrating = ask
	return nil
}
