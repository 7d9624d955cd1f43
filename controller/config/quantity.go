package config

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"leat/dosing"
)

// unit is one way to write a quantity: value in the base unit = number × factor.
type unit struct {
	name   string
	factor float64
}

// kind says how a quantity is written. Every quantity is a string with its unit:
// a bare 30 has been read as 30 nanoseconds before, and a bare 1600 as mS/cm.
type kind interface {
	what() string    // in a sentence: "a volume of water"
	example() string // how to write it
	units() []unit   // the first is the base unit
	signed() bool    // whether a negative value makes sense
}

// measured is a value with its unit as it stands in the file. The zero value is
// "not stated".
type measured[K kind] struct {
	stated bool
	value  float64 // in the base unit of K
	text   string
}

// UnmarshalText reads the quoted value. Errors are problem and hint, joined.
func (m *measured[K]) UnmarshalText(text []byte) error {
	var k K
	value, err := parseMeasured(string(text), k)
	if err != nil {
		return err
	}
	*m = measured[K]{stated: true, value: value, text: string(text)}
	return nil
}

// or is the value, or another where none is stated.
func (m measured[K]) or(value float64) float64 {
	if m.stated {
		return m.value
	}
	return value
}

// written is what the schema needs to know of a kind.
type written interface{ form() kind }

func (m measured[K]) form() kind { var k K; return k }

// problem is a fault of a value before it is known where the value stands.
type problem struct{ text, hint string }

func (p *problem) Error() string { return p.text + "; " + p.hint }

func parseMeasured(text string, k kind) (float64, error) {
	hint := fmt.Sprintf("write %s as %q", k.what(), k.example())
	trimmed := strings.TrimSpace(text)
	if trimmed == "" {
		return 0, &problem{"is empty", hint}
	}
	digits := strings.TrimLeft(trimmed, "+-−")
	cut := 0
	for cut < len(digits) && (digits[cut] >= '0' && digits[cut] <= '9' || digits[cut] == '.') {
		cut++
	}
	number, name := digits[:cut], strings.TrimSpace(digits[cut:])
	negative := digits != trimmed && trimmed[0] != '+'
	switch {
	case cut == 0:
		return 0, &problem{"has no number", hint}
	case strings.HasPrefix(name, ","):
		return 0, &problem{"has a comma in its number", "write a decimal point: " + hint}
	case len(trimmed)-len(digits) > len("−") || strings.HasPrefix(trimmed, "+"):
		return 0, &problem{"has signs before its number", hint}
	case negative && !k.signed():
		return 0, &problem{"is negative", k.what() + " cannot be; " + hint}
	}
	value, err := strconv.ParseFloat(number, 64)
	if err != nil || math.IsInf(value, 0) || math.IsNaN(value) {
		return 0, &problem{"has no readable number", hint}
	}
	if negative {
		value = -value
	}
	for _, u := range k.units() {
		if u.name == name {
			return value * u.factor, nil
		}
	}
	if name == "" {
		return 0, &problem{"has no unit", hint}
	}
	var names []string
	for _, u := range k.units() {
		names = append(names, u.name)
	}
	return 0, &problem{fmt.Sprintf("has the unit %q, which %s is not measured in", name, k.what()), fmt.Sprintf("units are %s, for example %q", listed(names), k.example())}
}

// The kinds.
type (
	waterKind     struct{}
	doseKind      struct{}
	rateKind      struct{}
	spanKind      struct{}
	ecKind        struct{}
	phKind        struct{}
	celsiusKind   struct{}
	percentKind   struct{}
	strengthKind  struct{}
	densityKind   struct{}
	saltKind      struct{}
	amountKind    struct{}
	alkalineKind  struct{}
	fluxKind      struct{}
	ecFluxKind    struct{}
	waterUseKind  struct{}
	gasKind       struct{}
	phRampKind    struct{}
	gainKind      struct{}
	bufferKind    struct{}
	inputUnitKind struct{}
)

func (waterKind) what() string    { return "a volume of water" }
func (waterKind) example() string { return "1200 L" }
func (waterKind) signed() bool    { return false }
func (waterKind) units() []unit   { return []unit{{"L", 1}, {"l", 1}, {"m3", 1000}, {"m³", 1000}} }

func (doseKind) what() string    { return "a volume of liquid" }
func (doseKind) example() string { return "400 mL" }
func (doseKind) signed() bool    { return false }
func (doseKind) units() []unit {
	return []unit{{"mL", 1}, {"ml", 1}, {"L", 1000}, {"l", 1000}, {"µL", 1e-3}, {"μL", 1e-3}, {"uL", 1e-3}}
}

func (rateKind) what() string    { return "the rate of a pump" }
func (rateKind) example() string { return "40 mL/min" }
func (rateKind) signed() bool    { return false }
func (rateKind) units() []unit {
	return []unit{{"mL/s", 1}, {"mL/min", 1.0 / 60}, {"ml/min", 1.0 / 60}, {"L/min", 1000.0 / 60}, {"mL/h", 1.0 / 3600}, {"L/h", 1000.0 / 3600}}
}

func (spanKind) what() string    { return "a length of time" }
func (spanKind) example() string { return "90s" }
func (spanKind) signed() bool    { return false }
func (spanKind) units() []unit {
	return []unit{{"s", 1}, {"ms", 1e-3}, {"min", 60}, {"m", 60}, {"h", 3600}, {"d", 86400}}
}

func (ecKind) what() string    { return "a conductivity" }
func (ecKind) example() string { return "2.4 mS/cm" }
func (ecKind) signed() bool    { return false }
func (ecKind) units() []unit {
	return []unit{{"mS/cm", 1}, {"dS/m", 1}, {"µS/cm", 1e-3}, {"μS/cm", 1e-3}, {"uS/cm", 1e-3}}
}

func (phKind) what() string    { return "a pH" }
func (phKind) example() string { return "pH 5.8" }
func (phKind) signed() bool    { return false }
func (phKind) units() []unit   { return []unit{{"pH", 1}} }

func (celsiusKind) what() string    { return "a temperature" }
func (celsiusKind) example() string { return "21 °C" }
func (celsiusKind) signed() bool    { return true }
func (celsiusKind) units() []unit   { return []unit{{"°C", 1}, {"C", 1}} }

func (percentKind) what() string    { return "a share" }
func (percentKind) example() string { return "12.5 %" }
func (percentKind) signed() bool    { return false }
func (percentKind) units() []unit   { return []unit{{"%", 0.01}} }

func (densityKind) what() string    { return "a density" }
func (densityKind) example() string { return "1.23 g/mL" }
func (densityKind) signed() bool    { return false }
func (densityKind) units() []unit {
	return []unit{{"g/mL", 1}, {"g/ml", 1}, {"kg/L", 1}, {"kg/m3", 1e-3}, {"kg/m³", 1e-3}}
}

func (saltKind) what() string    { return "the mass of a salt in a litre of stock" }
func (saltKind) example() string { return "90 g/L" }
func (saltKind) signed() bool    { return false }
func (saltKind) units() []unit {
	return []unit{{"g/L", 1}, {"g/l", 1}, {"mg/L", 1e-3}, {"kg/m3", 1}, {"kg/m³", 1}}
}

func (amountKind) what() string    { return "a concentration" }
func (amountKind) example() string { return "1.2 mmol/L" }
func (amountKind) signed() bool    { return false }
func (amountKind) units() []unit   { return []unit{{"mmol/L", 1}, {"mol/L", 1000}, {"µmol/L", 1e-3}} }

func (alkalineKind) what() string    { return "an alkalinity" }
func (alkalineKind) example() string { return "1.5 meq/L" }
func (alkalineKind) signed() bool    { return false }

// 1 mmol of CaCO3 is 100.09 mg and 2 meq; 1 meq of HCO3 is 61.02 mg; 1 °dKH is
// 10 mg of CaO per litre, of which 28.04 mg is 1 meq.
func (alkalineKind) units() []unit {
	return []unit{{"meq/L", 1}, {"mmol/L HCO3", 1}, {"mg/L CaCO3", 2 / 100.09}, {"mg/L HCO3", 1 / 61.02}, {"°dKH", 10 / 28.04}}
}

func (fluxKind) what() string    { return "a drift of acid or base" }
func (fluxKind) example() string { return "0.05 meq/L/h" }
func (fluxKind) signed() bool    { return false }
func (fluxKind) units() []unit   { return []unit{{"meq/L/h", 1}, {"meq/L/d", 1.0 / 24}} }

func (ecFluxKind) what() string    { return "a change of conductivity with time" }
func (ecFluxKind) example() string { return "0.02 mS/cm/h" }
func (ecFluxKind) signed() bool    { return false }
func (ecFluxKind) units() []unit   { return []unit{{"mS/cm/h", 1}, {"mS/cm/d", 1.0 / 24}} }

func (waterUseKind) what() string    { return "the water used of the tank's volume" }
func (waterUseKind) example() string { return "0.6 %/h" }
func (waterUseKind) signed() bool    { return false }
func (waterUseKind) units() []unit   { return []unit{{"%/h", 0.01}, {"%/d", 0.01 / 24}} }

func (gasKind) what() string    { return "a rate of gas exchange" }
func (gasKind) example() string { return "2 /h" }
func (gasKind) signed() bool    { return false }
func (gasKind) units() []unit {
	return []unit{{"/h", 1}, {"1/h", 1}, {"/d", 1.0 / 24}, {"1/d", 1.0 / 24}}
}

func (phRampKind) what() string    { return "a change of pH with time" }
func (phRampKind) example() string { return "0.3 pH/h" }
func (phRampKind) signed() bool    { return false }
func (phRampKind) units() []unit   { return []unit{{"pH/h", 1}} }

func (gainKind) what() string    { return "what a stock does to conductivity" }
func (gainKind) example() string { return "0.12 mS/cm per mL/L" }
func (gainKind) signed() bool    { return false }
func (gainKind) units() []unit {
	return []unit{{"mS/cm per mL/L", 1}, {"µS/cm per mL/L", 1e-3}, {"uS/cm per mL/L", 1e-3}}
}

func (bufferKind) what() string    { return "a buffer capacity" }
func (bufferKind) example() string { return "0.30 meq/L per pH" }
func (bufferKind) signed() bool    { return false }
func (bufferKind) units() []unit   { return []unit{{"meq/L per pH", 1}} }

func (inputUnitKind) what() string    { return "a value in the unit of its quantity" }
func (inputUnitKind) example() string { return "0.01 mS/cm" }
func (inputUnitKind) signed() bool    { return true }
func (inputUnitKind) units() []unit {
	return []unit{{"pH", 1}, {"mS/cm", 1}, {"µS/cm", 1e-3}, {"uS/cm", 1e-3}, {"°C", 1}, {"K", 1}, {"L", 1}, {"mV", 1}, {"mg/L", 1}, {"L/min", 1}, {"kPa", 1}, {"mW/cm²", 1}, {"h", 1}, {"%", 1}}
}

// ph is a pH: "5.8" and "pH 5.8" are both how a grower writes it.
type ph struct {
	stated bool
	value  float64
	text   string
}

// UnmarshalText reads a pH between 0 and 14.
func (p *ph) UnmarshalText(text []byte) error {
	trimmed := strings.TrimSpace(string(text))
	body := strings.TrimSpace(strings.TrimPrefix(trimmed, "pH"))
	value, err := parseMeasured(body+" pH", phKind{})
	if err != nil {
		return &problem{"is no pH", `write it as "5.8" or "pH 5.8"`}
	}
	if value > 14 {
		return &problem{"is no pH: it is above 14", `write it as "5.8" or "pH 5.8"`}
	}
	*p = ph{stated: true, value: value, text: string(text)}
	return nil
}

func (p ph) or(value float64) float64 {
	if p.stated {
		return p.value
	}
	return value
}

func (p ph) form() kind { return phKind{} }

// span is a length of time; "1h30m" is taken beside "90s" and "90 min".
type span struct{ measured[spanKind] }

// UnmarshalText reads a length of time with its unit.
func (s *span) UnmarshalText(text []byte) error {
	if d, err := time.ParseDuration(string(text)); err == nil && d > 0 {
		s.measured = measured[spanKind]{stated: true, value: d.Seconds(), text: string(text)}
		return nil
	}
	return s.measured.UnmarshalText(text)
}

// longest bounds lengths of time; beyond it a number has slipped.
const longest = 10 * 365 * 24 * time.Hour

func (s span) or(d time.Duration) time.Duration {
	if !s.stated {
		return d
	}
	return seconds(s.value)
}

func seconds(s float64) time.Duration {
	if !(s < longest.Seconds()) {
		return longest
	}
	return time.Duration(math.Round(s*1e6)) * time.Microsecond
}

// volume is a dose volume, rounded down to whole microlitres.
func volume(m measured[doseKind]) dosing.Volume { return dosing.FromMillilitres(m.value) }

// figure prints a number for people: three digits that count, no exponent.
func figure(v float64) string {
	switch a := math.Abs(v); {
	case math.IsNaN(v) || math.IsInf(v, 0):
		return "unknown"
	case a == 0:
		return "0"
	case a >= 1e6:
		return strconv.FormatFloat(v, 'f', 0, 64)
	default:
		digits := 2 - int(math.Floor(math.Log10(a)))
		digits = min(max(digits, 0), 6)
		text := strconv.FormatFloat(v, 'f', digits, 64)
		if strings.Contains(text, ".") {
			text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
		}
		return text
	}
}
