package ledger

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"time"
	"unicode/utf8"
)

// The record is read whole at every start, on small machines too, and it must
// not be read generously: encoding/json takes a key twice, in other case, or as
// null. So bodies are read by this scanner, which takes what encode writes, keys
// in the order of the record, and nothing else.

// fields are the keys in the order of the record.
var fields = [...]string{"kind", "change", "run", "wall", "up_s", "order", "tank", "pump", "volume_ml", "ordered_ml", "outcome",
	"cause", "reason", "ph", "ec_ms_per_cm", "temp_c", "configuration", "quantity", "old", "value", "spread", "file_value", "until",
	"trusted", "text", "note", "by", "from"}

// set gives the value of field i.
func (b *body) set(i int, value []byte) (err error) {
	if text := b.text(fields[i]); text != nil {
		*text, err = scanText(value)
	} else if number := b.number(fields[i]); number != nil {
		*number, err = scanNumber(value)
	}
	switch fields[i] {
	case "run":
		b.Run, err = scanRun(value)
	case "wall":
		b.Wall, err = scanStamp(value)
	case "up_s":
		err = b.Up.UnmarshalJSON(value)
	case "volume_ml":
		err = b.Volume.UnmarshalJSON(value)
	case "ordered_ml":
		err = b.Ordered.UnmarshalJSON(value)
	case "until":
		b.Until, err = scanStamp(value)
	case "trusted":
		b.Trusted, err = scanBool(value)
	}
	if err != nil {
		return fmt.Errorf("%s %.40q: %w", fields[i], value, err)
	}
	return nil
}

// text is where a field that is a text goes; nil for others.
func (b *body) text(field string) *string {
	switch field {
	case "kind":
		return &b.Kind
	case "change":
		return &b.Change
	case "order":
		return &b.Order
	case "tank":
		return &b.Tank
	case "pump":
		return &b.Pump
	case "outcome":
		return &b.Outcome
	case "cause":
		return &b.Cause
	case "reason":
		return &b.Reason
	case "configuration":
		return &b.Configuration
	case "quantity":
		return &b.Quantity
	case "text":
		return &b.Text
	case "note":
		return &b.Note
	case "by":
		return &b.By
	case "from":
		return &b.From
	}
	return nil
}

// number is where a field that is a number goes; nil for others.
func (b *body) number(field string) *number {
	switch field {
	case "ph":
		return &b.PH
	case "ec_ms_per_cm":
		return &b.EC
	case "temp_c":
		return &b.Temperature
	case "old":
		return &b.Old
	case "value":
		return &b.Value
	case "spread":
		return &b.Spread
	case "file_value":
		return &b.FileValue
	}
	return nil
}

var errForm = errors.New("not a row of the ledger: want one JSON object as the ledger writes it")

// scan reads a body.
func (b *body) scan(text []byte) error {
	rest, ok := bytes.CutPrefix(text, []byte{'{'})
	next := 0
	for ok {
		var key, value []byte
		if key, rest, ok = cutString(rest); !ok {
			break
		}
		if rest, ok = bytes.CutPrefix(rest, []byte{':'}); !ok {
			break
		}
		if value, rest, ok = cutValue(rest); !ok || len(rest) == 0 {
			break
		}
		name := key[1 : len(key)-1]
		for next < len(fields) && fields[next] != string(name) {
			next++
		}
		if next == len(fields) {
			return fmt.Errorf("%.40q is not known, stands twice or is out of order", name)
		}
		if err := b.set(next, value); err != nil {
			return err
		}
		next++
		if string(rest) == "}" {
			return nil
		}
		rest, ok = bytes.CutPrefix(rest, []byte{','})
	}
	return errForm
}

// cutString takes a string with its quotes off the front.
func cutString(text []byte) (quoted, rest []byte, ok bool) {
	if len(text) == 0 || text[0] != '"' {
		return nil, nil, false
	}
	for i := 1; i < len(text); i++ {
		switch text[i] {
		case '\\':
			i++
		case '"':
			return text[:i+1], text[i+1:], true
		}
	}
	return nil, nil, false
}

// cutValue takes a string, number, bool or null off the front.
func cutValue(text []byte) (value, rest []byte, ok bool) {
	if len(text) > 0 && text[0] == '"' {
		return cutString(text)
	}
	end := bytes.IndexAny(text, ",}")
	if end <= 0 {
		return nil, nil, false
	}
	return text[:end], text[end:], true
}

var errText = errors.New("want a text")

func scanText(value []byte) (string, error) {
	if len(value) < 2 || value[0] != '"' {
		return "", errText
	}
	inside := value[1 : len(value)-1]
	plain := utf8.Valid(inside)
	for _, c := range inside {
		plain = plain && c != '\\' && c >= 0x20
	}
	if plain {
		return string(inside), nil
	}
	var text string
	err := json.Unmarshal(value, &text)
	return text, err
}

func scanRun(value []byte) (uint32, error) {
	v, err := parseDecimal(string(value), 0)
	if err != nil || v < 0 || v > 1<<32-1 {
		return 0, errDecimal
	}
	return uint32(v), nil
}

func scanNumber(value []byte) (n number, err error) {
	// strconv alone would take NaN, hexadecimal and more.
	if value[0] == '"' || !json.Valid(value) {
		return 0, errors.New("not a number")
	}
	err = n.UnmarshalJSON(value)
	return n, err
}

func scanStamp(value []byte) (s stamp, err error) {
	if len(value) < 2 || value[0] != '"' {
		return s, errText
	}
	t, err := time.Parse(time.RFC3339Nano, string(value[1:len(value)-1]))
	return stamp{t.UTC()}, err
}

func scanBool(value []byte) (bool, error) {
	if string(value) != "true" {
		return false, errors.New("want true, or the key left out")
	}
	return true, nil
}
