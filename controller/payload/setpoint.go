package payload

import (
	"time"

	"leat/controller"
	"leat/dosing"
)

// Ask is a wish for a setpoint as sent by a phone.
type Ask struct {
	Value   float64 // pH or mS/cm; finite, otherwise unjudged: the core refuses 58
	Until   string  // "06:00" in the configured zone, or RFC 3339; "" = for good
	Confirm string  // token of an earlier answer
	Note    string
	By      string // claimed; MQTT 3.1.1 does not tell who sent
}

// ParseAsk reads 5.9 or {"value":5.9,"until":"06:00","confirm":"…","note":"…","by":"…"}.
// An unknown key is refused: "untill" would otherwise make a change for one night
// one for good.
func ParseAsk(body []byte) (Ask, error) {
	if len(body) > LargestPayload {
		return Ask{}, tooLarge(body)
	}
	text := trim(body)
	if len(text) == 0 || text[0] != '{' {
		value, err := parseNumber(text)
		if err != nil {
			return Ask{}, err
		}
		return Ask{Value: value}, nil
	}
	var s scanner
	root, err := s.scan(text)
	if err != nil {
		return Ask{}, err
	}
	fields, unknown := fieldsIn(root, "value", "until", "confirm", "note", "by")
	if unknown != "" {
		return Ask{}, refuse("send value, and if you like until, confirm, note, by", "unknown key %.40q", unknown)
	}
	ask := Ask{Value: fields.number("value"), Until: fields.optionalName("until"), Confirm: fields.optionalName("confirm"),
		Note: fields.optional("note", longestNote), By: fields.optionalName("by")}
	if fields.err == nil && ask.Until != "" && !untilReadable(ask.Until) {
		fields.fail("until", "a time of day such as 06:00, or a time of RFC 3339")
	}
	if fields.err != nil {
		return Ask{}, fields.err
	}
	return ask, nil
}

func untilReadable(text string) bool {
	_, clock := time.Parse("15:04", text)
	_, full := time.Parse(time.RFC3339, text)
	return clock == nil && len(text) == len("06:00") || full == nil
}

// AppendAnswer writes what became of an ask.
func AppendAnswer(dst []byte, a controller.Answer) []byte {
	e := object(dst)
	e.yes("accepted", a.Accepted)
	e.text("text", a.Text)
	e.number("old", a.Old, shownDecimals(a.Quantity))
	e.number("new", a.New, shownDecimals(a.Quantity))
	e.number("min", a.Min, shownDecimals(a.Quantity))
	e.number("max", a.Max, shownDecimals(a.Quantity))
	e.some("unit", a.Quantity.Unit())
	e.some("confirm", a.Confirm)
	e.some("by", a.By)
	return e.end()
}

// AppendRefusal writes the answer to an ask that could not even be read.
func AppendRefusal(dst []byte, err error) []byte {
	e := object(dst)
	e.yes("accepted", false)
	e.text("text", err.Error())
	return e.end()
}

// AppendSetpoint writes where a setpoint stands.
func AppendSetpoint(dst []byte, q dosing.Quantity, v controller.SetpointView) []byte {
	decimals := shownDecimals(q)
	e := object(dst)
	// Along a ramp it changes every second; two decimals are what anyone can steer
	// by, and spare the broker nine retained messages in ten.
	e.number("working", v.Working, 2)
	e.number("final", v.Final, decimals)
	e.some("unit", q.Unit())
	e.text("source", v.Source)
	e.number("min", v.Min, decimals)
	e.number("max", v.Max, decimals)
	e.number("advised_min", v.AdvisedMin, decimals)
	e.number("advised_max", v.AdvisedMax, decimals)
	e.number("confirm_step", v.Confirm, decimals)
	e.text("by", v.By)
	e.moment("at", v.At)
	e.moment("until", v.Until)
	return e.end()
}
