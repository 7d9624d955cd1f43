package config

import (
	"errors"
	"fmt"
	"strings"

	"leat/dosing/blend"
	"leat/dosing/chem"
)

// The tables of salts and reagents are those the blend is computed from.
var (
	reagents = blend.Reagents
	salts    = blend.Salts
)

func acidity(t chem.Totals) float64 { return blend.Acidity(t) }

// strength is how strong an acid or base is: by mass, by moles or by what it
// neutralises.
type strength struct {
	stated bool
	value  float64
	unit   string // "%", "mol/L" or "meq/mL"
	text   string
}

func (strengthKind) what() string    { return "the strength of an acid or base" }
func (strengthKind) example() string { return "38 %" }
func (strengthKind) signed() bool    { return false }
func (strengthKind) units() []unit {
	return []unit{{"%", 1}, {"mol/L", 1}, {"meq/mL", 1}, {"eq/L", 1}}
}

// UnmarshalText reads a strength with its unit.
func (s *strength) UnmarshalText(text []byte) error {
	value, err := parseMeasured(string(text), strengthKind{})
	if err != nil {
		return err
	}
	unit := strings.TrimLeft(strings.TrimSpace(string(text)), "0123456789.")
	*s = strength{stated: true, value: value, unit: strings.TrimSpace(unit), text: string(text)}
	return nil
}

func (s strength) form() kind { return strengthKind{} }

// dilution is how far a labelled acid or base has been diluted.
type dilution struct{ blend.Dilution }

// UnmarshalText reads "1:10" or "1+9".
func (d *dilution) UnmarshalText(text []byte) error {
	var fault *blend.Fault
	read, err := blend.ReadDilution(string(text))
	if errors.As(err, &fault) {
		return &problem{fault.Problem, fault.Hint}
	}
	d.Dilution = read
	return err
}

// liquid is what a pump doses, per litre of it.
type liquid struct {
	ions    chem.Totals    // mmol/L of liquid
	known   bool           // whether the ions are
	acid    float64        // meq/mL; negative for a base
	traceEC float64        // mS/cm that 1 mL brings to 1 L through ions that are not modelled
	molar   float64        // mol/L, of an acid or base
	diluted blend.Dilution // of a labelled acid or base
	parts   float64        // how many times as strong its label is; 1 where it is not diluted
	reagent *blend.Reagent
	made    []blend.Portion // of a stock
}

// liquidOf computes an acid or base from its strength. Faults name the key that
// is to blame.
func liquidOf(r *blend.Reagent, s strength, density measured[densityKind], diluted blend.Dilution) (l liquid, key, text, hint string) {
	l.reagent = r
	switch s.unit {
	case "%":
		d := density.value
		if !density.stated {
			var ok bool
			if d, ok = r.Density(s.value); !ok {
				return l, "strength", fmt.Sprintf("is beyond the table of densities, which ends at %s %%", figure(r.Strongest())), "dilute it, or state its density from the label"
			}
		} else if !(d >= 0.9 && d <= 2) {
			return l, "density", "is no density of an acid or base in water", `take it from the label, for example "1.23 g/mL"`
		}
		l.molar = d * s.value * 10 / r.MolarMass
	case "mol/L":
		l.molar = s.value
	default:
		per := acidity(r.Ions)
		if per < 0 {
			per = -per
		}
		l.molar = s.value / per
	}
	if !(l.molar > 0) || l.molar > 25 {
		return l, "strength", "is not a strength that " + r.Name + " can have", `take it from the label, for example "38 %"`
	}
	left, fault := diluted.Of(r, l.molar)
	if fault != nil {
		return l, "dilution", fault.Problem, fault.Hint
	}
	l.diluted, l.parts, l.molar = diluted, l.molar/left, left
	l.ions = chem.Totals{}.Add(r.Ions, l.molar*1000)
	l.known = true
	l.acid = acidity(l.ions) / 1000
	return l, "", "", ""
}

// gainOf is what 1 mL of liquid in 1 L does to the EC of solution, in mS/cm: the
// difference of two solved solutions of the same pH, so that acid and base count
// with the ions that stay, not with the protons that react.
func gainOf(l liquid, solution chem.Totals, atPH float64) (float64, error) {
	const ml = 0.5 // large enough to be exact, small enough to be a slope
	before, err := ecOf(solution, atPH)
	if err != nil {
		return 0, err
	}
	// 1 mL/L carries ions/1000 per litre of tank.
	after, err := ecOf(solution.Add(l.ions, ml/1000), atPH)
	if err != nil {
		return 0, err
	}
	return max(float64((after-before)/ml)+l.traceEC, 0), nil
}

// ecOf is the EC at 25 °C of a solution of this pH, in mS/cm.
func ecOf(t chem.Totals, atPH float64) (float64, error) {
	var solver chem.Solver
	var r chem.Result
	if err := solver.Solve(&t, chem.Conditions{TempC: 25, FixedPH: atPH}, &r); err != nil {
		return 0, err
	}
	return r.EC25, nil
}

// mixed solves a solution of which part is liquid and the rest is tank water at
// the given pH.
func mixed(tank, liquid chem.Totals, part, atPH float64) (r chem.Result, err error) {
	var solver chem.Solver
	if err := solver.Solve(&tank, chem.Conditions{TempC: 25, FixedPH: atPH}, &r); err != nil {
		return r, err
	}
	// Bring the strong ions to what this pH needs, so that charge closes.
	if missing := r.StrongCharge - tank.StrongCharge(); missing > 0 {
		tank.K += missing
	} else {
		tank.NO3 -= missing
	}
	both := chem.Totals{}.Add(tank, 1-part).Add(liquid, part)
	err = solver.Solve(&both, chem.Conditions{TempC: 25}, &r)
	return r, err
}
