package web

import "leat/controller"

// readCalibrating reads a step of a probe's calibration.
func readCalibrating(value func(string) string, request *controller.Request) error {
	ask := controller.Calibrating{Probe: value("probe"), Step: value("step"), Standard: value("standard"), Found: value("found")}
	if text := value("celsius"); text != "" {
		var err error
		if ask.Celsius, err = typed(text); err != nil {
			return err
		}
	}
	request.Calibrating = ask
	return nil
}
