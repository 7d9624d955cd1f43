package blend

import (
	"fmt"
	"strconv"
	"strings"
)

// Dilution is how far a labelled acid or base has been diluted: one litre of it makes so
// many litres in all. Zero: not at all.
type Dilution float64

// dilutionHint shows both ways, for "1 to 10" is read in both.
const dilutionHint = `write "1:10" for 1 L made up to 10 L, or "1+9" for 1 L with 9 L of water`

// ReadDilution reads "1:10", one part made up to ten parts, and "1+9", one part and nine
// parts of water, which are the same. "1:1" is refused: it is said for equal parts.
func ReadDilution(text string) (Dilution, error) {
	fault := func(problem string) error { return &Fault{0, strings.TrimSpace(text), problem, dilutionHint} }
	for _, way := range []struct {
		sign string
		acid float64 // parts of acid that the second figure leaves out
	}{{":", 0}, {"+", 1}} {
		one, rest, found := strings.Cut(text, way.sign)
		if !found {
			continue
		}
		first, err := decimal(one)
		if err != nil || first != 1 {
			return 0, fault("does not begin with one part of acid or base")
		}
		parts, err := decimal(rest)
		if err != nil {
			return 0, fault(err.Error())
		}
		if parts += way.acid; way.sign == ":" && parts == 1 {
			return 0, &Fault{0, "1:1", "may mean undiluted or equal parts", `leave it out, or write "1+1" for equal parts`}
		}
		if !(parts > 1 && parts <= 1000) {
			return 0, fault("is no dilution of an acid or base, which goes from 1:1.1 to 1:1000")
		}
		return Dilution(parts), nil
	}
	return 0, fault("is no dilution")
}

// Of is the strength that is left of one in mol/L.
func (d Dilution) Of(molar float64) float64 {
	if d > 0 {
		return molar / float64(d)
	}
	return molar
}

func (d Dilution) String() string { return "1:" + strconv.FormatFloat(float64(d), 'g', -1, 64) }

// Strength says how strong a liquid of so many mol/L is: with mass percent and density
// where the table reaches.
func (r *Reagent) Strength(molar float64) string {
	text := figure(molar) + " mol/L"
	if percent := r.PercentOf(molar); percent > 0 {
		density, _ := r.Density(percent)
		text = fmt.Sprintf("%s %% by mass, %.3f g/mL, %s", figure(percent), density, text)
	}
	return text
}
