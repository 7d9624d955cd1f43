package payload

import (
	"bytes"
	"math"
	"strconv"

	"leat/dosing"
)

// longestNumber bounds the text of one number; 17 digits are exact, the rest is
// somebody's formatting.
const longestNumber = 64

// parseNumber reads a decimal number and nothing else. strconv.ParseFloat alone
// would take NaN, Inf, 0x1p4 and 1_0. No allocation up to 32 bytes.
func parseNumber(text []byte) (float64, error) {
	if len(text) == 0 {
		return 0, refuse("send the number", "payload is empty")
	}
	if len(text) > longestNumber {
		return 0, refuse("send one number with at most 64 characters", "%s… is no number", excerpt(text))
	}
	if !decimal(text) {
		return 0, refuse(numberHint(text), "%s is no decimal number", excerpt(text))
	}
	value, err := strconv.ParseFloat(string(text), 64)
	if err != nil || math.IsInf(value, 0) || math.IsNaN(value) {
		return 0, refuse("check the sensor", "%s is too large for a number", excerpt(text))
	}
	return value, nil
}

// decimal says whether text is sign, digits, point, digits, exponent with at
// least one digit before the exponent.
func decimal(text []byte) bool {
	at := 0
	if text[0] == '-' || text[0] == '+' {
		at = 1
	}
	whole := digits(text, at)
	at += whole
	fraction := 0
	if at < len(text) && text[at] == '.' {
		fraction = digits(text, at+1)
		at += 1 + fraction
	}
	if whole+fraction == 0 {
		return false
	}
	if at < len(text) && (text[at] == 'e' || text[at] == 'E') {
		at++
		if at < len(text) && (text[at] == '-' || text[at] == '+') {
			at++
		}
		power := digits(text, at)
		if power == 0 {
			return false
		}
		at += power
	}
	return at == len(text)
}

func digits(text []byte, from int) int {
	n := from
	for n < len(text) && text[n] >= '0' && text[n] <= '9' {
		n++
	}
	return n - from
}

func numberHint(text []byte) string {
	switch {
	case bytes.IndexByte(text, '{') == 0 || bytes.IndexByte(text, '[') == 0:
		return "this sensor sends JSON: state format json and the pointer to the value, or senml"
	case bytes.IndexByte(text, ',') > 0:
		return "write a decimal point, not a comma"
	case text[0] == '"':
		return "send the number without quotes"
	case digits(text, 0) > 0:
		return "send the number alone and state its unit in the configuration"
	}
	return "send a decimal number such as 6.02"
}

// trim drops the white space of JSON at both ends.
func trim(body []byte) []byte {
	for len(body) > 0 && blank(body[0]) {
		body = body[1:]
	}
	for len(body) > 0 && blank(body[len(body)-1]) {
		body = body[:len(body)-1]
	}
	return body
}

func blank(c byte) bool { return c == ' ' || c == '\t' || c == '\n' || c == '\r' }

// largestVolumeML bounds every volume on the topics, in mL: 10 m³.
const largestVolumeML = 1e7

// microlitres turns millilitres as sent into a Volume. Decimal text such as 0.29
// is not exact in binary, so what lies within a thousandth of a microlitre of a
// whole one is that one; of the rest, what a node delivered is rounded up and what
// it may deliver down.
func microlitres(ml float64, up bool) (dosing.Volume, bool) {
	if !(ml >= 0 && ml <= largestVolumeML) {
		return 0, false
	}
	exact := ml * float64(dosing.Millilitre)
	whole := math.Round(exact)
	switch {
	case math.Abs(exact-whole) < 1e-3:
	case up:
		whole = math.Ceil(exact)
	default:
		whole = math.Floor(exact)
	}
	return dosing.Volume(whole), true
}
