package ledger

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"leat/dosing"
)

// The record is read by people with a SQLite shell, so volumes stand in mL and
// uptimes in seconds; and it is added up by programs, so both are exact decimals
// of the integers inside and never pass through a float.

type millilitres dosing.Volume

type seconds time.Duration

// number is a float that survives JSON: what is not a number is null.
type number float64

// stamp is a wall time in UTC; the zero time is left out.
type stamp struct{ time.Time }

func (m millilitres) MarshalJSON() ([]byte, error) { return decimal(int64(m), 3), nil }
func (s seconds) MarshalJSON() ([]byte, error)     { return decimal(int64(s), 9), nil }

func (m *millilitres) UnmarshalJSON(text []byte) error {
	v, err := parseDecimal(string(text), 3)
	*m = millilitres(v)
	return err
}

func (s *seconds) UnmarshalJSON(text []byte) error {
	v, err := parseDecimal(string(text), 9)
	*s = seconds(v)
	return err
}

// decimal prints v·10^-digits without trailing zeros.
func decimal(v int64, digits int) []byte {
	sign := ""
	magnitude := uint64(v)
	if v < 0 {
		sign, magnitude = "-", -magnitude
	}
	text := fmt.Sprintf("%0*d", digits+1, magnitude)
	whole, fraction := text[:len(text)-digits], strings.TrimRight(text[len(text)-digits:], "0")
	if fraction != "" {
		fraction = "." + fraction
	}
	return []byte(sign + whole + fraction)
}

var errDecimal = errors.New("not a plain decimal number in range")

// parseDecimal reads what decimal prints and nothing else: no exponent, no null.
func parseDecimal(text string, digits int) (int64, error) {
	unsigned, negative := strings.CutPrefix(text, "-")
	whole, fraction, point := strings.Cut(unsigned, ".")
	if whole == "" || point && fraction == "" || len(fraction) > digits {
		return 0, errDecimal
	}
	for _, r := range whole + fraction {
		if r < '0' || r > '9' {
			return 0, errDecimal
		}
	}
	v, err := strconv.ParseInt(whole+fraction+strings.Repeat("0", digits-len(fraction)), 10, 64)
	if err != nil {
		return 0, errDecimal
	}
	if negative {
		v = -v
	}
	return v, nil
}

func (n number) MarshalJSON() ([]byte, error) {
	if math.IsNaN(float64(n)) || math.IsInf(float64(n), 0) {
		return []byte("null"), nil
	}
	return strconv.AppendFloat(nil, float64(n), 'g', -1, 64), nil
}

func (n *number) UnmarshalJSON(text []byte) error {
	if string(text) == "null" {
		*n = number(math.NaN())
		return nil
	}
	// The JSON decoder has checked the syntax, which has no NaN, Inf or hex.
	v, err := strconv.ParseFloat(string(text), 64)
	*n = number(v)
	return err
}

// IsZero keeps zeros out of the record; -0 is one of them.
func (n number) IsZero() bool { return n == 0 }

func (s stamp) MarshalJSON() ([]byte, error) {
	t := s.UTC()
	// A clock that is this wrong must not keep a dose from being recorded.
	if t.Year() < 1 {
		t = time.Date(1, 1, 1, 0, 0, 0, 0, time.UTC)
	} else if t.Year() > 9999 {
		t = time.Date(9999, 12, 31, 23, 59, 59, 0, time.UTC)
	}
	return []byte(`"` + t.Format(time.RFC3339Nano) + `"`), nil
}
