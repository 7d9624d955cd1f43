package payload

import (
	"math"
	"strconv"
	"time"
	"unicode/utf8"

	"leat/dosing"
	"leat/safety/ledger"
)

// encoder appends one JSON object with its keys in the order of writing, so that
// the same state is the same bytes on every machine.
type encoder struct {
	dst   []byte
	empty bool
}

func object(dst []byte) encoder {
	if dst == nil {
		dst = make([]byte, 0, 192) // an order's size: growing byte by byte would cost more than the rest
	}
	return encoder{dst: append(dst, '{'), empty: true}
}

func (e *encoder) end() []byte { return append(e.dst, '}') }

func (e *encoder) key(key string) {
	if !e.empty {
		e.dst = append(e.dst, ',')
	}
	e.empty = false
	// Keys are words of this package: nothing in them needs an escape.
	e.dst = append(append(append(e.dst, '"'), key...), '"', ':')
}

func (e *encoder) text(key, text string) {
	e.key(key)
	e.dst = appendText(e.dst, text)
}

func (e *encoder) order(key string, id ledger.OrderID) {
	e.key(key)
	e.dst = append(id.Append(append(e.dst, '"')), '"')
}

// some writes text only if there is any.
func (e *encoder) some(key, text string) {
	if text != "" {
		e.text(key, text)
	}
}

func (e *encoder) whole(key string, n int64) {
	e.key(key)
	e.dst = strconv.AppendInt(e.dst, n, 10)
}

func (e *encoder) count(key string, n uint64) {
	e.key(key)
	e.dst = strconv.AppendUint(e.dst, n, 10)
}

func (e *encoder) yes(key string, yes bool) {
	e.key(key)
	e.dst = strconv.AppendBool(e.dst, yes)
}

// number writes v with at most so many decimals; JSON has no NaN and no infinity,
// which become null.
func (e *encoder) number(key string, v float64, decimals int) {
	e.key(key)
	if math.IsNaN(v) || math.IsInf(v, 0) {
		e.dst = append(e.dst, "null"...)
		return
	}
	from := len(e.dst)
	e.dst = strconv.AppendFloat(e.dst, v, 'f', decimals, 64)
	e.dst = shorten(e.dst, from)
}

// shorten drops zeros after the point, and the sign of a zero.
func shorten(dst []byte, from int) []byte {
	point := false
	for _, c := range dst[from:] {
		point = point || c == '.'
	}
	for point && dst[len(dst)-1] == '0' {
		dst = dst[:len(dst)-1]
	}
	if point && dst[len(dst)-1] == '.' {
		dst = dst[:len(dst)-1]
	}
	if string(dst[from:]) == "-0" {
		dst = append(dst[:from], '0')
	}
	return dst
}

// volume writes mL to the microlitre.
func (e *encoder) volume(key string, v dosing.Volume) {
	e.key(key)
	if v < 0 {
		e.dst = append(e.dst, '-')
		v = -v
	}
	whole, rest := v/dosing.Millilitre, v%dosing.Millilitre
	e.dst = strconv.AppendInt(e.dst, int64(whole), 10)
	if rest > 0 {
		from := len(e.dst)
		e.dst = append(e.dst, '.', byte('0'+rest/100), byte('0'+rest/10%10), byte('0'+rest%10))
		e.dst = shorten(e.dst, from)
	}
}

// moment writes whole seconds UTC, rounded down; a zero time is left out.
func (e *encoder) moment(key string, t time.Time) {
	if t.IsZero() {
		return
	}
	e.key(key)
	e.dst = append(e.dst, '"')
	e.dst = t.UTC().AppendFormat(e.dst, time.RFC3339)
	e.dst = append(e.dst, '"')
}

// seconds writes a duration to the tenth of a second.
func (e *encoder) seconds(key string, d time.Duration) { e.number(key, d.Seconds(), 1) }

const hexDigits = "0123456789abcdef"

// appendText appends text as a JSON string. Bytes that are no UTF-8 become the
// replacement character rather than a payload that no reader accepts.
func appendText(dst []byte, text string) []byte {
	dst = append(dst, '"')
	if plainText(text) {
		return append(append(dst, text...), '"')
	}
	for _, r := range text {
		switch {
		case r == '"' || r == '\\':
			dst = append(dst, '\\', byte(r))
		case r == '\n':
			dst = append(dst, '\\', 'n')
		case r == '\t':
			dst = append(dst, '\\', 't')
		case r < 0x20 || r == 0x7f:
			dst = append(dst, '\\', 'u', '0', '0', hexDigits[r>>4], hexDigits[r&15])
		default:
			dst = utf8.AppendRune(dst, r)
		}
	}
	return append(dst, '"')
}

// plainText says that text stands in JSON as it is: keys, ids and most words do.
func plainText(text string) bool {
	for i := range len(text) {
		if c := text[i]; c < 0x20 || c >= 0x7f || c == '"' || c == '\\' {
			return false
		}
	}
	return true
}
