package payload

import (
	"bytes"
	"unicode/utf8"
)

// deepest is how far JSON may nest: no sensor needs more, and a reader without a
// limit can be made to exhaust the stack.
const deepest = 16

// form is what a JSON value is.
type form uint8

const (
	formAbsent form = iota
	formNull
	formBoolean
	formNumber
	formText
	formObject
	formArray
)

var formNames = [...]string{"absent", "null", "true or false", "a number", "a string", "an object", "an array"}

func (f form) String() string { return formNames[f] }

// value is one JSON value as it stands in its document: for a string without the
// quotes, still escaped.
type value struct {
	form form
	raw  []byte
}

// scanner reads JSON (RFC 8259) in one pass without building anything. It is here
// because encoding/json takes duplicate keys, other case and null silently, and
// allocates for every reading.
type scanner struct {
	body []byte
	at   int
	// wanted are JSON Pointers (RFC 6901), found what they point to.
	wanted [targets]string
	found  [targets]value
}

// The pointers looked for in one pass.
const (
	targetValue = iota
	targetTime
	targetSequence
	targets
)

// scan checks the whole document, finds what the pointers of wanted point to and
// returns the document's own value. An empty pointer in wanted is looked for only
// as targetValue, where it means the whole document.
func (s *scanner) scan(body []byte) (value, error) {
	if len(body) > LargestPayload {
		return value{}, tooLarge(body)
	}
	if !utf8.Valid(body) {
		return value{}, refuse("send UTF-8", "payload is not valid UTF-8")
	}
	s.body, s.at = body, 0
	var t trail
	for i, pointer := range s.wanted {
		if i == targetValue || pointer != "" {
			t.rest[i], t.alive = pointer, t.alive|1<<i
		}
	}
	s.space()
	root, err := s.value(0, t)
	if err != nil {
		return value{}, err
	}
	s.space()
	if s.at != len(body) {
		return value{}, s.fault("something after the end")
	}
	return root, nil
}

func (s *scanner) fault(what string) error {
	if s.at >= len(s.body) && what != "something after the end" {
		return refuse("check the sender: it may be cut off", "JSON ends too early after %d bytes", len(s.body))
	}
	return refuse("check the sender", "no valid JSON: %s at byte %d", what, s.at)
}

func (s *scanner) space() {
	for s.at < len(s.body) && blank(s.body[s.at]) {
		s.at++
	}
}

func (s *scanner) value(depth int, t trail) (value, error) {
	if s.at >= len(s.body) {
		return value{}, s.fault("a value is missing")
	}
	from := s.at
	var v value
	var err error
	switch c := s.body[s.at]; {
	case c == '{':
		v.form, err = formObject, s.object(depth+1, t)
	case c == '[':
		v.form, err = formArray, s.array(depth+1, t)
	case c == '"':
		v.form = formText
		v.raw, err = s.text()
	case c == '-' || c >= '0' && c <= '9':
		v.form, err = formNumber, s.number()
	default:
		v.form, err = s.word()
	}
	if err != nil {
		return value{}, err
	}
	if v.form != formText {
		v.raw = s.body[from:s.at]
	}
	for i := range t.rest {
		if t.alive&(1<<i) != 0 && t.rest[i] == "" {
			s.found[i] = v
		}
	}
	return v, nil
}

func (s *scanner) word() (form, error) {
	for i, word := range [...]string{"null", "true", "false"} {
		if bytes.HasPrefix(s.body[s.at:], []byte(word)) {
			s.at += len(word)
			return [...]form{formNull, formBoolean, formBoolean}[i], nil
		}
	}
	return formAbsent, s.fault("no value begins like this")
}

func (s *scanner) number() error {
	if s.body[s.at] == '-' {
		s.at++
	}
	n := digits(s.body, s.at)
	if n == 0 || n > 1 && s.body[s.at] == '0' {
		return s.fault("a number is malformed")
	}
	s.at += n
	if s.at < len(s.body) && s.body[s.at] == '.' {
		n = digits(s.body, s.at+1)
		s.at += 1 + n
		if n == 0 {
			return s.fault("a number is malformed")
		}
	}
	if s.at < len(s.body) && (s.body[s.at] == 'e' || s.body[s.at] == 'E') {
		s.at++
		if s.at < len(s.body) && (s.body[s.at] == '-' || s.body[s.at] == '+') {
			s.at++
		}
		n = digits(s.body, s.at)
		s.at += n
		if n == 0 {
			return s.fault("a number is malformed")
		}
	}
	return nil
}

// text reads a string and returns it without its quotes, still escaped.
func (s *scanner) text() ([]byte, error) {
	s.at++
	from := s.at
	for s.at < len(s.body) {
		switch c := s.body[s.at]; {
		case c == '"':
			s.at++
			return s.body[from : s.at-1], nil
		case c < 0x20:
			return nil, s.fault("a control character in a string")
		case c == '\\':
			n := escape(s.body[s.at:])
			if n == 0 {
				return nil, s.fault("a malformed escape")
			}
			s.at += n
		default:
			s.at++
		}
	}
	return nil, s.fault("a string does not end")
}

func (s *scanner) object(depth int, t trail) error {
	if depth > deepest {
		return refuse("flatten it", "JSON nests deeper than %d", deepest)
	}
	var seen keys
	s.at++
	for n := 0; ; n++ {
		s.space()
		if s.at < len(s.body) && s.body[s.at] == '}' && n == 0 {
			s.at++
			return nil
		}
		if s.at >= len(s.body) || s.body[s.at] != '"' {
			return s.fault("a key is missing")
		}
		raw, err := s.text()
		if err != nil {
			return err
		}
		key := unescape(raw)
		if !seen.add(key) {
			return refuse("send each key once", "JSON has the key %s twice", excerpt(key))
		}
		s.space()
		if s.at >= len(s.body) || s.body[s.at] != ':' {
			return s.fault("a colon is missing")
		}
		s.at++
		s.space()
		if _, err := s.value(depth, t.key(key)); err != nil {
			return err
		}
		s.space()
		if s.at < len(s.body) && s.body[s.at] == '}' {
			s.at++
			return nil
		}
		if s.at >= len(s.body) || s.body[s.at] != ',' {
			return s.fault("a comma is missing")
		}
		s.at++
	}
}

func (s *scanner) array(depth int, t trail) error {
	if depth > deepest {
		return refuse("flatten it", "JSON nests deeper than %d", deepest)
	}
	s.at++
	for n := 0; ; n++ {
		s.space()
		if s.at < len(s.body) && s.body[s.at] == ']' && n == 0 {
			s.at++
			return nil
		}
		if _, err := s.value(depth, t.index(n)); err != nil {
			return err
		}
		s.space()
		if s.at < len(s.body) && s.body[s.at] == ']' {
			s.at++
			return nil
		}
		if s.at >= len(s.body) || s.body[s.at] != ',' {
			return s.fault("a comma is missing")
		}
		s.at++
	}
}
