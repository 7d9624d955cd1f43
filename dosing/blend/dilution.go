package blend

import (
	"fmt"
	"strings"
)

// Dilution is how far a labelled acid or base has been diluted. Zero: not at all.
type Dilution struct {
	text         string
	total, water float64 // litres that one litre was made up to, or litres of water that were added to it
}

// dilutionHint shows both ways, for "1 to 10" is read in both.
const dilutionHint = `write "1:10" for 1 L made up to 10 L, or "1+9" for 1 L with 9 L of water`

// ReadDilution reads "1:10", one litre made up to ten, and "1+9", one litre and nine
// litres of water. "1:1" is refused: it is said for equal parts.
func ReadDilution(text string) (Dilution, error) {
	text = strings.TrimSpace(text)
	fault := func(problem string) error { return &Fault{0, text, problem, dilutionHint} }
	one, rest, made := strings.Cut(text, ":")
	if !made {
		var mixed bool
		if one, rest, mixed = strings.Cut(text, "+"); !mixed {
			return Dilution{}, fault("is no dilution")
		}
	}
	if first, err := decimal(one); err != nil || first != 1 {
		return Dilution{}, fault("does not begin with one litre of acid or base")
	}
	parts, err := decimal(rest)
	switch {
	case err != nil:
		return Dilution{}, fault(err.Error())
	case made && parts == 1:
		return Dilution{}, &Fault{0, text, "may mean undiluted or equal parts", `leave it out, or write "1+1" for equal parts`}
	case made && parts >= 1.1 && parts <= 1000:
		return Dilution{text: text, total: parts}, nil
	case !made && parts >= 0.1 && parts <= 999:
		return Dilution{text: text, water: parts}, nil
	}
	return Dilution{}, fault("is beyond 1:1.1 to 1:1000")
}

// Stated tells whether the label's strength is not what stands in the container.
func (d Dilution) Stated() bool { return d.text != "" }

func (d Dilution) String() string { return d.text }

// Of is what is left of a strength. Acid and water shrink when they are mixed, 96 % sulfuric
// acid and as much water by 7 %: what water was added to needs the reagent's table of
// densities. Without a reagent the strength may have any unit.
func (d Dilution) Of(r *Reagent, molar float64) (float64, *Fault) {
	switch {
	case d.total > 0:
		return molar / d.total, nil
	case d.water == 0:
		return molar, nil
	case r == nil || r.PercentOf(molar) == 0:
		return 0, &Fault{0, d.text, "cannot be told: no table of densities says how far acid and water shrink when they are mixed", `write "1:10" for 1 L made up to 10 L`}
	}
	percent := r.PercentOf(molar)
	density, _ := r.Density(percent)
	pure, _ := r.Density(0)
	return r.molar(percent * density / (density + float64(d.water*pure))), nil
}

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
