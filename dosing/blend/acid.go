package blend

import (
	"errors"
	"fmt"
	"math"

	"leat/dosing"
)

// AcidStock is an acid or base of a mass percent at 20 °C, or with its density
// stated in g/mL; density 0 takes the table's.
func AcidStock(name string, r *Reagent, percent, density float64) (Stock, error) {
	if density == 0 {
		var ok bool
		if density, ok = r.Density(percent); !ok {
			return Stock{}, &Fault{0, r.Name, fmt.Sprintf("of %s %% is beyond the table of densities, which ends at %s %%", figure(percent), figure(r.Strongest())), "state its density in g/mL from the label"}
		}
	}
	if !(percent > 0 && percent <= 100) || !(density >= 0.9 && density <= 2) {
		return Stock{}, &Fault{0, r.Name, "has no strength or density that an acid or base can have", "take both from the label, for example 38 % and 1.23 g/mL"}
	}
	s, err := molarStock(name, r, density*percent*10/r.MolarMass)
	s.Percent = percent
	return s, err
}

// DilutedStock is an acid or base of a mass percent that has been diluted since.
func DilutedStock(name string, r *Reagent, percent float64, d Dilution) (Stock, error) {
	s, err := AcidStock(name, r, percent, 0)
	if err == nil {
		s.dilute(d, r)
	}
	return s, err
}

func molarStock(name string, r *Reagent, molar float64) (Stock, error) {
	if !(molar > 0 && molar <= 25) {
		return Stock{}, &Fault{0, r.Name, fmt.Sprintf("of %s mol/L is not a strength it can have", figure(molar)), "take it from the label, for example 38 %"}
	}
	group := dosing.GroupAcid
	if r.Role == dosing.RoleBase {
		group = dosing.GroupBase
	}
	return Stock{Name: name, Role: r.Role, Group: group, Molar: molar, Content: Content{}.Plus(ContentOf(r.Ions), molar*1000)}, nil
}

func acidOf(s Stock, r *Reagent, contents []holding, density float64, diluted Dilution) (Stock, error) {
	l := contents[0]
	if len(contents) > 1 {
		return s, &Fault{contents[1].line, contents[1].holds, "stands in one container with " + r.Name, "an acid or base stands alone"}
	}
	var made Stock
	var err error
	switch plainUnit(l.unit) {
	case "%":
		made, err = AcidStock(s.Name, r, l.amount, density)
	case "mol/L":
		made, err = molarStock(s.Name, r, l.amount)
	default:
		err = &Fault{l.line, l.holds, fmt.Sprintf("has the unit %q", l.unit), "write % by mass or mol/L"}
	}
	var f *Fault
	if errors.As(err, &f) {
		f.Line = l.line
		return s, f
	}
	made.dilute(diluted, r)
	made.AtMost, made.Smallest, made.Share = s.AtMost, s.Smallest, s.Share
	return made, nil
}

// dilute makes a stock of labelled acid or base weaker.
func (s *Stock) dilute(d Dilution, r *Reagent) {
	if d == 0 {
		return
	}
	label := figure(s.Molar) + " mol/L"
	if s.Percent > 0 {
		label = figure(s.Percent) + " %"
	}
	s.Molar = d.Of(s.Molar)
	s.Content = Content{}.Plus(s.Content, 1/math.Max(float64(d), 1))
	s.Percent = r.PercentOf(s.Molar)
	s.Remarks = append(s.Remarks, fmt.Sprintf("%s of %s made up %s is %s", r.Name, label, d, r.Strength(s.Molar)))
}
