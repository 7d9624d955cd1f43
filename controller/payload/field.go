package payload

import (
	"math"
	"time"
	"unicode/utf8"

	"leat/dosing"
	"leat/safety/ledger"
)

// fields are the members of one object by name. The first fault stays in err and
// everything read after it is zero, so that a reader states its fields in a row
// and asks once.
type fields struct {
	names  []string
	values []value
	few    [8]value // where values lie, if they are no more
	err    error
}

// fieldsOf scans a document that is an object and keeps the named members. Others
// are passed over: a node may tell more than it is asked.
func fieldsOf(body []byte, names ...string) (*fields, error) {
	var s scanner
	root, err := s.scan(body)
	if err != nil {
		return nil, err
	}
	f, _ := fieldsIn(root, names...)
	if f.err != nil {
		return nil, f.err
	}
	return f, nil
}

// fieldsIn keeps the named members of an object and returns the first other key.
func fieldsIn(v value, names ...string) (f *fields, unknown string) {
	f = &fields{names: names}
	if len(names) <= len(f.few) {
		f.values = f.few[:len(names)]
	} else {
		f.values = make([]value, len(names))
	}
	if v.form != formObject {
		f.err = refuse("send a JSON object", "payload is %s", v.form)
		return f, ""
	}
	for key, member := range v.members() {
		if i := f.index(string(key)); i >= 0 {
			f.values[i] = member
		} else if unknown == "" {
			unknown = string(key)
		}
	}
	return f, unknown
}

func (f *fields) index(name string) int {
	for i, n := range f.names {
		if n == name {
			return i
		}
	}
	return -1
}

func (f *fields) get(name string) value {
	if i := f.index(name); i >= 0 {
		return f.values[i]
	}
	return value{}
}

// has says whether a member is there and not null.
func (f *fields) has(name string) bool { return f.get(name).form > formNull }

func (f *fields) fail(name, wanted string) {
	if f.err == nil {
		v := f.get(name)
		f.err = refuse("send "+wanted, "%q is %s %s", name, v.form, excerpt(v.raw))
	}
}

func (f *fields) number(name string) float64 {
	if v := f.get(name); v.form == formNumber {
		if n, err := parseNumber(v.raw); err == nil {
			return n
		}
	}
	f.fail(name, "a number")
	return 0
}

func (f *fields) yes(name string) bool {
	v := f.get(name)
	if v.form != formBoolean {
		f.fail(name, "true or false")
	}
	return string(v.raw) == "true"
}

// count reads a whole number from 0 to highest.
func (f *fields) count(name string, highest float64) uint64 {
	n := f.number(name)
	if f.err == nil && (n < 0 || n > highest || n != math.Floor(n)) {
		f.fail(name, "a whole number that is not negative and not beyond reason")
	}
	if f.err != nil {
		return 0
	}
	return uint64(n)
}

func (f *fields) milliseconds(name string, longest time.Duration) time.Duration {
	return time.Duration(f.count(name, float64(longest.Milliseconds()))) * time.Millisecond
}

func (f *fields) volume(name string, up bool) dosing.Volume {
	v, ok := microlitres(f.number(name), up)
	if f.err == nil && !ok {
		f.fail(name, "millilitres from 0 to 10,000,000")
	}
	return v
}

// sentence reads a string of at most so many bytes, on one line: what is shown to
// people must not be able to forge a second line of a log.
func (f *fields) sentence(name string, longest int) string {
	v := f.get(name)
	text := unescape(v.raw)
	if v.form != formText || len(text) > longest || !printable(text) {
		f.fail(name, "one line of text, not too long")
		return ""
	}
	return string(text)
}

func printable(text []byte) bool {
	for _, c := range text {
		if c < 0x20 || c == 0x7f {
			return false
		}
	}
	return utf8.Valid(text)
}

func (f *fields) optional(name string, longest int) string {
	if !f.has(name) {
		return ""
	}
	return f.sentence(name, longest)
}

func (f *fields) optionalName(name string) string { return f.optional(name, longestName) }

func (f *fields) name(name string) string {
	text := f.sentence(name, longestName)
	if f.err == nil && text == "" {
		f.fail(name, "a name")
	}
	return text
}

func (f *fields) order(name string) ledger.OrderID {
	text := f.name(name)
	if f.err != nil {
		return ledger.OrderID{}
	}
	id, err := ledger.ParseOrderID(text)
	// 07-1 and +7-1 are no second spelling of 7-000001.
	if err != nil || id.String() != text {
		f.fail(name, "the id of the order as it was sent, such as 7-000123")
		return ledger.OrderID{}
	}
	return id
}

func (f *fields) moment(name string) time.Time {
	t, err := time.Parse(time.RFC3339Nano, f.name(name))
	if f.err == nil && err != nil {
		f.fail(name, "a time of RFC 3339")
	}
	return t
}
