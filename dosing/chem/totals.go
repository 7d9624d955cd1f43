package chem

import (
	"fmt"
	"strings"
)

// Totals are total concentrations in mmol per kg of water: NH4 is total
// ammonia, P total phosphorus, DIC total inorganic carbon, Si total silicate, B total boron.
// Charge is not a total: what the strong ions leave open is closed by pH.
type Totals struct{ NO3, NH4, P, K, Ca, Mg, SO4, Na, Cl, DIC, Si, B float64 }

// Add returns t plus scale times other. Dilution is Totals{}.Add(t, fraction).
func (t Totals) Add(other Totals, scale float64) Totals {
	return Totals{
		NO3: t.NO3 + float64(other.NO3*scale),
		NH4: t.NH4 + float64(other.NH4*scale),
		P:   t.P + float64(other.P*scale),
		K:   t.K + float64(other.K*scale),
		Ca:  t.Ca + float64(other.Ca*scale),
		Mg:  t.Mg + float64(other.Mg*scale),
		SO4: t.SO4 + float64(other.SO4*scale),
		Na:  t.Na + float64(other.Na*scale),
		Cl:  t.Cl + float64(other.Cl*scale),
		DIC: t.DIC + float64(other.DIC*scale),
		Si:  t.Si + float64(other.Si*scale),
		B:   t.B + float64(other.B*scale),
	}
}

// StrongCharge is the strong-ion balance in meq/kg: K + Na + NH4 + 2 Ca + 2 Mg
// minus NO3 + Cl + 2 SO4. A strong acid lowers it by its equivalents, a strong
// base raises it. Ammonia counts as ammonium, phosphate, carbonate, silicate and
// borate are weak and do not count.
func (t Totals) StrongCharge() float64 {
	return t.K + t.Na + t.NH4 + float64(2*t.Ca) + float64(2*t.Mg) - t.NO3 - t.Cl - float64(2*t.SO4)
}

// Ions are the names of the totals in the order in which they are shown.
var Ions = [...]string{"NO3", "NH4", "P", "K", "Ca", "Mg", "SO4", "Na", "Cl", "DIC", "Si", "B"}

// Ion points at the total of that name; nil for an unknown name.
func (t *Totals) Ion(name string) *float64 {
	switch name {
	case "NO3":
		return &t.NO3
	case "NH4":
		return &t.NH4
	case "P":
		return &t.P
	case "K":
		return &t.K
	case "Ca":
		return &t.Ca
	case "Mg":
		return &t.Mg
	case "SO4":
		return &t.SO4
	case "Na":
		return &t.Na
	case "Cl":
		return &t.Cl
	case "DIC":
		return &t.DIC
	case "Si":
		return &t.Si
	case "B":
		return &t.B
	}
	return nil
}

// largestTotal is beyond any stock that dissolves at farm temperature; a
// larger number is a slipped unit, not a solution.
const largestTotal = 20000 // mmol/kg

// check refuses what is not a concentration: NaN, infinite, negative, absurd.
func (t *Totals) check() error {
	const most = largestTotal
	if t.NO3 >= 0 && t.NH4 >= 0 && t.P >= 0 && t.K >= 0 && t.Ca >= 0 && t.Mg >= 0 && t.SO4 >= 0 && t.Na >= 0 && t.Cl >= 0 && t.DIC >= 0 && t.Si >= 0 && t.B >= 0 &&
		t.NO3 <= most && t.NH4 <= most && t.P <= most && t.K <= most && t.Ca <= most && t.Mg <= most && t.SO4 <= most && t.Na <= most && t.Cl <= most && t.DIC <= most && t.Si <= most && t.B <= most {
		return nil
	}
	for _, name := range Ions {
		if v := *t.Ion(name); !(v >= 0 && v <= largestTotal) {
			return &InputError{Quantity: name, Value: v, Low: 0, High: largestTotal, Unit: "mmol/kg"}
		}
	}
	return nil
}

// InputError says which input the chemistry refuses and what would be taken.
type InputError struct {
	Quantity  string
	Value     float64
	Low, High float64
	Unit      string
}

func (e *InputError) Error() string {
	value := strings.TrimSpace(fmt.Sprintf("%g %s", e.Value, e.Unit))
	return fmt.Sprintf("%s is %s; give a number from %g to %g", e.Quantity, value, e.Low, e.High)
}

// ConvergenceError says that no speciation was found: the composition lies too
// far outside the model.
type ConvergenceError struct {
	Iterations    int
	IonicStrength float64 // mol/kg, where the search stood
}

func (e *ConvergenceError) Error() string {
	return fmt.Sprintf("no speciation found after %d steps (ionic strength %.3g mol/kg); the solution lies outside the model, check the amounts",
		e.Iterations, e.IonicStrength)
}
