package payload

import (
	"bytes"
	"math"
	"strconv"
	"time"

	"leat/dosing"
)

// json reads a value, and where asked a time and a counter, in one pass.
func (f *Format) json(q dosing.Quantity, at dosing.Instant, body []byte) (sent float64, sequence uint64, err error) {
	s := scanner{wanted: [targets]string{targetValue: f.Pointer, targetTime: f.TimePointer, targetSequence: f.SequencePointer}}
	if _, err := s.scan(body); err != nil {
		return 0, 0, err
	}
	if sent, err = f.sentValue(q, s.found[targetValue], f.Pointer); err != nil {
		return 0, 0, err
	}
	if f.TimePointer != "" {
		stamp, err := timeOf(s.found[targetTime], f.TimePointer)
		if err != nil {
			return 0, 0, err
		}
		if err := checkTime(stamp, at); err != nil {
			return 0, 0, err
		}
	}
	if f.SequencePointer != "" {
		if sequence, err = counterOf(s.found[targetSequence], f.SequencePointer); err != nil {
			return 0, 0, err
		}
	}
	return sent, sequence, nil
}

// sentValue is the number that a JSON value stands for. A switch may also be true
// or false or one of its words; a measured value is a number and nothing else,
// because "6.0" in quotes is as often a display text.
func (f *Format) sentValue(q dosing.Quantity, v value, where string) (float64, error) {
	switch {
	case v.form == formNumber && !q.Switch():
		return parseNumber(v.raw)
	case q.Switch() && (v.form == formNumber || v.form == formBoolean):
		return f.word(q, v.raw)
	case q.Switch() && v.form == formText:
		return f.word(q, unescape(v.raw))
	}
	hint := "send a number there, or point to where it is"
	if v.form == formNull {
		hint = "the sensor has no value: check probe and wiring"
	}
	return 0, refuse(hint, "%s at %.60q is %s", q, where, v.form)
}

// timeOf reads Unix seconds, Unix milliseconds (from 100,000,000,000 on, which as
// seconds would be the year 5138) or RFC 3339.
func timeOf(v value, where string) (time.Time, error) {
	switch v.form {
	case formNumber:
		seconds, err := parseNumber(v.raw)
		if err != nil {
			return time.Time{}, err
		}
		if seconds >= 1e11 {
			seconds /= 1000
		}
		if seconds >= 0 && seconds < 1e11 {
			return unix(seconds), nil
		}
	case formText:
		if stamp, err := time.Parse(time.RFC3339Nano, string(unescape(v.raw))); err == nil {
			return stamp, nil
		}
	}
	return time.Time{}, refuse("send Unix seconds, Unix milliseconds or RFC 3339", "time at %.60q is %s, %s", where, v.form, excerpt(v.raw))
}

func unix(seconds float64) time.Time {
	whole := math.Floor(seconds)
	return time.Unix(int64(whole), int64((seconds-whole)*1e9))
}

// checkTime refuses what cannot be a measurement of now.
func checkTime(stamp time.Time, at dosing.Instant) error {
	age := at.Wall.Sub(stamp)
	const hint = "set the clocks of the sender and of this machine"
	if age < -aheadAtMost {
		return refuse(hint, "reading is from the future, by %s", (-age).Round(time.Second))
	}
	if age > behindAtMost {
		return refuse(hint+", or see why it arrives so late", "reading is %s old by its own time", age.Round(time.Second))
	}
	return nil
}

// counterOf reads a whole number.
func counterOf(v value, where string) (uint64, error) {
	if v.form == formNumber && len(v.raw) <= 20 && bytes.IndexByte(v.raw, '-') < 0 {
		if n, err := strconv.ParseUint(string(v.raw), 10, 64); err == nil {
			return n, nil
		}
	}
	return 0, refuse("send a whole number that rises with each reading", "counter at %.60q is %s, %s", where, v.form, excerpt(v.raw))
}
