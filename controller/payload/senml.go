package payload

import (
	"time"

	"leat/dosing"
)

// newestSenML is the version of SenML that RFC 8428 describes.
const newestSenML = 10

// relativeBelow is where SenML times stop being relative to now (RFC 8428, 4.5.3).
const relativeBelow = 1 << 28

// record is one SenML record with what its base values left to it.
type record struct {
	baseName, baseUnit   value
	baseTime, base       float64
	name, unit           value
	time, value          float64
	switched, text, data value // vb, vs, vd
	number               value // v
}

// senML takes from a pack (RFC 8428, JSON) the newest record of the wanted name.
// The unit that the record or its base states counts before the configured one.
func (f *Format) senML(q dosing.Quantity, at dosing.Instant, body []byte) (sent float64, unit Unit, err error) {
	var s scanner
	root, err := s.scan(body)
	if err != nil {
		return 0, Unit{}, err
	}
	if root.form != formArray {
		return 0, Unit{}, refuse("send a SenML pack: an array of records", "payload is %s, no SenML", root.form)
	}
	var newest record
	var newestTime time.Time
	var base record
	matches := 0
	for element := range root.elements() {
		if element.form != formObject {
			return 0, Unit{}, refuse("send an array of records", "SenML has %s between its records", element.form)
		}
		r, err := base.next(element)
		if err != nil {
			return 0, Unit{}, err
		}
		base = record{baseName: r.baseName, baseUnit: r.baseUnit, baseTime: r.baseTime, base: r.base}
		if r.number.form == formAbsent && r.switched.form == formAbsent && r.text.form == formAbsent || !r.named(f.SenMLName) {
			continue
		}
		matches++
		if stamp := r.stamp(at); matches == 1 || stamp.After(newestTime) {
			newest, newestTime = r, stamp
		}
	}
	switch {
	case matches == 0:
		return 0, Unit{}, refuse("give the full name, base name included", "SenML has no record %.60q with a value", f.SenMLName)
	case matches > 1 && f.SenMLName == "":
		return 0, Unit{}, refuse("name the wanted one in the configuration", "SenML has %d records", matches)
	}
	if err := checkTime(newestTime, at); err != nil {
		return 0, Unit{}, err
	}
	if unit, err = f.unitOf(q, newest); err != nil {
		return 0, Unit{}, err
	}
	sent, err = f.valueOf(q, newest)
	return sent, unit, err
}

// next reads one record; base values of earlier records hold on (RFC 8428, 4.1).
func (r record) next(element value) (record, error) {
	for key, v := range element.members() {
		var err error
		switch string(key) {
		case "bn":
			r.baseName, err = v, wantForm(v, formText, "bn")
		case "bu":
			r.baseUnit, err = v, wantForm(v, formText, "bu")
		case "bt":
			r.baseTime, err = numberOf(v, "bt")
		case "bv":
			r.base, err = numberOf(v, "bv")
		case "bver":
			var version float64
			if version, err = numberOf(v, "bver"); err == nil && version > newestSenML {
				err = refuse("set the sender to version 10", "SenML of version %g is not known", version)
			}
		case "n":
			r.name, err = v, wantForm(v, formText, "n")
		case "u":
			r.unit, err = v, wantForm(v, formText, "u")
		case "t":
			r.time, err = numberOf(v, "t")
		case "v":
			r.value, err = numberOf(v, "v")
			r.number = v
		case "vb":
			r.switched = v
		case "vs":
			r.text = v
		case "vd":
			r.data = v
		default:
			// RFC 8428, 4.4: who does not know such a field must refuse the pack.
			if len(key) > 0 && key[len(key)-1] == '_' {
				err = refuse("set the sender to plain SenML", "SenML field %s must be understood and is not", excerpt(key))
			}
		}
		if err != nil {
			return record{}, err
		}
	}
	values := 0
	for _, v := range [...]value{r.number, r.switched, r.text, r.data} {
		if v.form != formAbsent {
			values++
		}
	}
	if values > 1 {
		return record{}, refuse("send one of v, vb, vs, vd", "a SenML record has %d values", values)
	}
	return r, nil
}

// named says whether base name and name together are wanted.
func (r record) named(wanted string) bool {
	if wanted == "" {
		return true
	}
	first, second := unescape(r.baseName.raw), unescape(r.name.raw)
	return len(first)+len(second) == len(wanted) && wanted[:len(first)] == string(first) && wanted[len(first):] == string(second)
}

// stamp is the record's time; below 2^28 it is relative to now.
func (r record) stamp(at dosing.Instant) time.Time {
	seconds := r.baseTime + r.time
	if !(seconds >= relativeBelow) {
		// Far beyond any backlog the exact figure does not matter, and a Duration
		// of more than 292 years would wrap round to the future.
		return at.Wall.Add(time.Duration(max(seconds, -relativeBelow) * float64(time.Second)))
	}
	return unix(min(seconds, 1e11))
}

func (f *Format) unitOf(q dosing.Quantity, r record) (Unit, error) {
	stated := r.unit
	if stated.form == formAbsent {
		stated = r.baseUnit
	}
	if stated.form == formAbsent || q.Switch() {
		return f.Unit, nil
	}
	text := unescape(stated.raw)
	if string(text) == f.Unit.name && f.Unit.Stated() {
		return f.Unit, nil
	}
	return ParseUnit(q, string(text))
}

func (f *Format) valueOf(q dosing.Quantity, r record) (float64, error) {
	switch {
	case r.number.form != formAbsent && !q.Switch():
		return r.base + r.value, nil
	case r.number.form != formAbsent:
		return f.sentValue(q, r.number, "v")
	case r.switched.form == formBoolean:
		return f.sentValue(q, r.switched, "vb")
	case r.text.form == formText && q.Switch():
		return f.sentValue(q, r.text, "vs")
	}
	return 0, refuse("send the value as v", "SenML record has no number for %s", q)
}

func wantForm(v value, form form, key string) error {
	if v.form == form {
		return nil
	}
	return refuse("check the sender", "%q is %s, not %s", key, v.form, form)
}

func numberOf(v value, key string) (float64, error) {
	if err := wantForm(v, formNumber, key); err != nil {
		return 0, err
	}
	return parseNumber(v.raw)
}
