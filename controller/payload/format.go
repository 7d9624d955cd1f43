// Package payload is the one place where bytes from the broker become values and
// values become bytes: readings, orders, reports, leases, asks, and the topics they
// travel on. It is pure: bytes in, values out. It alone makes dosing.Readings, so
// whoever holds one need not check again that it is finite and possible.
//
// A payload is refused whole or taken whole. Nothing is clamped, guessed or
// filled in: 5,9 is not 5.9, "6.0" is not a number, and a key that stands twice
// has no value.
package payload

import (
	"strings"
	"time"

	"leat/dosing"
)

// LargestPayload is the size in bytes beyond which nothing is decoded.
const LargestPayload = 64 << 10

// A sender's clock may be this much ahead of ours. A reading its sender calls
// older than the longest freshness limit is a backlog, not a measurement of now.
const (
	aheadAtMost  = time.Minute
	behindAtMost = 2 * time.Minute
)

// Kind is how a sensor writes its value.
type Kind uint8

// The kinds. The zero kind is not stated and decodes nothing.
const (
	KindNone  Kind = iota
	KindPlain      // the number alone
	KindJSON       // JSON, the value where Pointer says
	KindSenML      // JSON of RFC 8428, the record named SenMLName
	kindCount
)

var kindNames = [kindCount]string{"none", "plain", "json", "senml"}

func (k Kind) String() string { return kindNames[min(k, kindCount-1)] }

// ParseKind finds a kind by name.
func ParseKind(name string) (Kind, bool) {
	for k, n := range kindNames {
		if n == name && k > 0 {
			return Kind(k), true
		}
	}
	return KindNone, false
}

// Format is how one input's payloads are read. Check it once when it is
// configured; Decode then neither allocates nor depends on anything but its
// arguments.
type Format struct {
	Kind Kind
	// Pointer is where the value stands in JSON (RFC 6901); "" is the whole document.
	Pointer string
	// SenMLName is the full name of the record, base name included; "" takes the
	// only one there is.
	SenMLName string
	// Unit is what is sent. SenML may state its own, which then counts.
	Unit Unit
	// TimePointer and SequencePointer lead to the sender's time (Unix seconds or
	// milliseconds, or RFC 3339) and counter (a whole number); "" = none is sent.
	TimePointer, SequencePointer string
	// TrueWords and FalseWords replace 1, true, on and 0, false, off for a switch;
	// both or neither. Case does not matter.
	TrueWords, FalseWords []string
}

// Check says whether the format can read a quantity at all.
func (f *Format) Check(q dosing.Quantity) error {
	if f.Kind == KindNone || f.Kind >= kindCount {
		return refuse("write plain, json or senml", "format is not stated")
	}
	if !f.Unit.Stated() && f.Kind != KindSenML {
		return refuse("state the unit the sensor sends", "unit of %s is not stated", q)
	}
	for _, pointer := range [...]string{f.Pointer, f.TimePointer, f.SequencePointer} {
		if err := checkPointer(pointer); err != nil {
			return err
		}
	}
	if f.Kind != KindJSON && f.Pointer+f.TimePointer+f.SequencePointer != "" {
		return refuse("leave the pointers out, or write format json", "a JSON pointer in a format that is %s", f.Kind)
	}
	if f.Kind != KindSenML && f.SenMLName != "" {
		return refuse("leave the name out, or write format senml", "a SenML name in a format that is %s", f.Kind)
	}
	if (len(f.TrueWords) == 0) != (len(f.FalseWords) == 0) {
		return refuse("give words for both", "only one of the words for on and off is given")
	}
	if len(f.TrueWords) > 0 && !q.Switch() {
		return refuse("leave them out", "words for on and off, but %s is no switch", q)
	}
	for _, on := range f.TrueWords {
		for _, off := range f.FalseWords {
			if strings.EqualFold(on, off) {
				return refuse("choose another word", "%.40q means both on and off", on)
			}
		}
	}
	return nil
}

// Decode makes a Reading of one payload, or refuses it with an *Error. At is when
// it arrived; retained marks the broker's stored copy. A plain number costs no
// allocation.
func (f *Format) Decode(in dosing.InputID, q dosing.Quantity, at dosing.Instant, body []byte, retained bool) (dosing.Reading, error) {
	if len(body) > LargestPayload {
		return dosing.Reading{}, tooLarge(body)
	}
	var sent float64
	var sequence uint64
	var err error
	unit := f.Unit
	switch f.Kind {
	case KindPlain:
		sent, err = f.plain(q, trim(body))
	case KindJSON:
		sent, sequence, err = f.json(q, at, body)
	case KindSenML:
		sent, unit, err = f.senML(q, at, body)
	default:
		err = refuse("write plain, json or senml", "format is not stated")
	}
	if err != nil {
		return dosing.Reading{}, err
	}
	if !unit.Stated() {
		return dosing.Reading{}, refuse("state it in the configuration or send it", "unit of %s is not stated", q)
	}
	reading, err := dosing.NewReading(in, q, unit.Convert(sent), at, sequence, retained)
	if err != nil {
		return dosing.Reading{}, &Error{What: err.Error(), Cause: err}
	}
	return reading, nil
}

func tooLarge(body []byte) error {
	return refuse("send the value alone", "payload of %d bytes is larger than %d", len(body), LargestPayload)
}

func (f *Format) plain(q dosing.Quantity, text []byte) (float64, error) {
	if q.Switch() {
		return f.word(q, text)
	}
	return parseNumber(text)
}

// word reads a switch: 1 for on, 0 for off, and nothing between.
func (f *Format) word(q dosing.Quantity, text []byte) (float64, error) {
	if len(f.TrueWords) > 0 {
		for _, on := range f.TrueWords {
			if strings.EqualFold(string(text), on) {
				return 1, nil
			}
		}
		for _, off := range f.FalseWords {
			if strings.EqualFold(string(text), off) {
				return 0, nil
			}
		}
		return 0, refuse("send one of the words of the configuration", "%s reads %s, which is neither on nor off", q, excerpt(text))
	}
	switch {
	case len(text) > 0 && len(text) < longestNumber && decimal(text):
		if v, err := parseNumber(text); err == nil && (v == 0 || v == 1) {
			return v, nil
		}
	case strings.EqualFold(string(text), "true"), strings.EqualFold(string(text), "on"):
		return 1, nil
	case strings.EqualFold(string(text), "false"), strings.EqualFold(string(text), "off"):
		return 0, nil
	}
	return 0, refuse("send 1 or 0, true or false, on or off, or give your words in the configuration",
		"%s reads %s, which is neither on nor off", q, excerpt(text))
}
