package payload

import "leat/controller"

// CalibrationAsk is a step of a probe's calibration as sent to the daemon.
type CalibrationAsk struct {
	controller.Calibrating
	Note string
	By   string // claimed; MQTT 3.1.1 does not tell who sent
}

// ParseCalibration reads {"probe":"ph","step":"read","standard":"4.01","celsius":21.5}, and
// of a transmitter that was calibrated by its own means
// {"probe":"ph","step":"entered","celsius":22,"found":"7.00=7.02, 4.01=4.05"}.
func ParseCalibration(body []byte) (CalibrationAsk, error) {
	fields, err := fieldsOf(body, "probe", "step", "standard", "celsius", "found", "note", "by")
	if err != nil {
		return CalibrationAsk{}, err
	}
	ask := CalibrationAsk{Calibrating: controller.Calibrating{Probe: fields.name("probe"), Step: fields.name("step"), Standard: fields.optionalName("standard"),
		Found: fields.optional("found", longestNote)}, Note: fields.optional("note", longestNote), By: fields.optionalName("by")}
	if fields.has("celsius") {
		ask.Celsius = fields.number("celsius")
	}
	return ask, fields.err
}

// AppendCalibration writes a step as ParseCalibration reads it.
func AppendCalibration(dst []byte, a CalibrationAsk) []byte {
	e := object(dst)
	e.text("probe", a.Probe)
	e.text("step", a.Step)
	e.some("standard", a.Standard)
	if a.Celsius != 0 {
		e.number("celsius", a.Celsius, 2)
	}
	e.some("found", a.Found)
	e.some("note", a.Note)
	e.some("by", a.By)
	return e.end()
}
