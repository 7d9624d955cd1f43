package blend

import (
	"errors"
	"fmt"

	"leat/dosing"
)

// AcidStock is an acid or base of a mass percent at 20 °C, or with its density
// stated in g/mL; density 0 takes the table's.
func AcidStock(name string, r *Reagent, percent, density float64, diluted Dilution) (Stock, error) {
	if density == 0 {
		var ok bool
		if density, ok = r.Density(percent); !ok {
			return Stock{}, &Fault{0, r.Name, fmt.Sprintf("of %s %% is beyond the table of densities, which ends at %s %%", figure(percent), figure(r.Strongest())), "state its density in g/mL from the label"}
		}
	}
	if !(percent > 0 && percent <= 100) || !(density >= 0.9 && density <= 2) {
		return Stock{}, &Fault{0, r.Name, "has no strength or density that an acid or base can have", "take both from the label, for example 38 % and 1.23 g/mL"}
	}
	return molarStock(name, r, density*percent*10/r.MolarMass, diluted)
}

func molarStock(name string, r *Reagent, molar float64, diluted Dilution) (Stock, error) {
	if !(molar > 0 && molar <= 25) {
		return Stock{}, &Fault{0, r.Name, fmt.Sprintf("of %s mol/L is not a strength it can have", figure(molar)), "take it from the label, for example 38 %"}
	}
	left, fault := diluted.Of(r, molar)
	if fault != nil {
		return Stock{}, fault
	}
	s := Stock{Name: name, Role: r.Role, Group: dosing.GroupAcid, Molar: left, Content: Content{}.Plus(ContentOf(r.Ions), left*1000)}
	if r.Role == dosing.RoleBase {
		s.Group = dosing.GroupBase
	}
	if diluted.Stated() {
		s.Remarks = []string{fmt.Sprintf("%s of %s mol/L diluted %s is %s", r.Name, figure(molar), diluted, r.Strength(left))}
	}
	return s, nil
}

func acidOf(s Stock, r *Reagent, contents []holding, density float64, diluted holding) (Stock, error) {
	l := contents[0]
	if len(contents) > 1 {
		return s, &Fault{contents[1].line, contents[1].holds, "stands in one container with " + r.Name, "an acid or base stands alone"}
	}
	var made Stock
	var err error
	switch plainUnit(l.unit) {
	case "%":
		made, err = AcidStock(s.Name, r, l.amount, density, diluted.dilution)
	case "mol/L":
		made, err = molarStock(s.Name, r, l.amount, diluted.dilution)
	default:
		err = &Fault{l.line, l.holds, fmt.Sprintf("has the unit %q", l.unit), "write % by mass or mol/L"}
	}
	var f *Fault
	if errors.As(err, &f) {
		if f.Line = l.line; f.What == diluted.dilution.String() {
			f.Line = diluted.line
		}
		return s, f
	}
	made.AtMost, made.Smallest, made.Share = s.AtMost, s.Smallest, s.Share
	return made, nil
}
