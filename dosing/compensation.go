package dosing

import (
	"fmt"
	"strconv"

	"leat/dosing/chem"
)

// Method is how a probe compensates temperature before it sends.
type Method uint8

// The methods. The zero method is not stated, and nothing may rest on it.
const (
	MethodNotStated Method = iota
	MethodNone             // the value at the water's temperature; a pH probe assumes the slope at 25 °C
	MethodLinear           // EC to 25 °C by a coefficient
	MethodISO7888          // EC to 25 °C by the factors of ISO 7888
	MethodNernst           // pH with the electrode's slope at the water's temperature
	MethodMeasured         // EC at the water's temperature, whose rise per kelvin was measured in this tank
)

// Compensation is how a probe compensates temperature. It is undone before the
// program's own is applied: compensating twice reads 8 % wrong at 21 °C.
type Compensation struct {
	Method    Method
	PerKelvin float64 // of MethodLinear and MethodMeasured: 0.02 is 2 %/K
}

func (c Compensation) String() string {
	switch c.Method {
	case MethodNone:
		return "none"
	case MethodLinear:
		return fmt.Sprintf("linear %s %%/K", strconv.FormatFloat(c.PerKelvin*100, 'f', -1, 64))
	case MethodMeasured:
		return fmt.Sprintf("measured %s %%/K", strconv.FormatFloat(c.PerKelvin*100, 'f', -1, 64))
	case MethodISO7888:
		return "ISO 7888"
	case MethodNernst:
		return "Nernst"
	}
	return "not stated"
}

// hottest is the last whole degree of the thermal table.
const hottest = 50

// Thermal is how the conductivity of one solution changes with temperature: its
// own, from its speciation, rather than a coefficient for all waters.
type Thermal struct {
	to25 [hottest + 1]float64 // κ at 25 °C ÷ κ at 0, 1, 2 … °C
}

// NewThermal computes the table of a solution.
func NewThermal(totals chem.Totals) (*Thermal, error) {
	var solver chem.Solver
	var t Thermal
	for degree := range t.to25 {
		var r chem.Result
		if err := solver.Solve(&totals, chem.Conditions{TempC: float64(degree)}, &r); err != nil {
			return nil, fmt.Errorf("conductivity of the expected solution at %d °C: %w", degree, err)
		}
		t.to25[degree] = r.EC25 / r.EC
	}
	return &t, nil
}

// EC brings what a probe sent, in mS/cm, to 25 °C. It fails where the method says
// nothing for this temperature.
func (t *Thermal) EC(c Compensation, sent, celsius float64) (float64, bool) {
	if !(celsius >= 0 && celsius < hottest) {
		return 0, false
	}
	raw := sent
	switch c.Method {
	case MethodMeasured:
		// What cell and water do together was measured, so the water's own is not asked.
		to25 := 1 / (1 + float64(c.PerKelvin*(celsius-25)))
		return sent * to25, to25 > 0 && sent >= 0
	case MethodNone:
	case MethodLinear:
		raw = sent * (1 + float64(c.PerKelvin*(celsius-25)))
	case MethodISO7888:
		f25, ok := chem.ISO7888(celsius)
		if !ok {
			return 0, false
		}
		raw = sent / f25
	default:
		return 0, false
	}
	below := int(celsius)
	factor := t.to25[below] + float64((celsius-float64(below))*(t.to25[below+1]-t.to25[below]))
	return raw * factor, raw > 0 || sent == 0
}

// PH corrects what a probe sent for the slope of its electrode, by Nernst.
func (t *Thermal) PH(c Compensation, sent, celsius float64) (float64, bool) {
	switch c.Method {
	case MethodNernst:
		return sent, true
	case MethodNone:
		if !(celsius >= 0 && celsius < hottest) {
			return 0, false
		}
		return 7 + float64((sent-7)*chem.NernstSlope(25))/chem.NernstSlope(celsius), true
	}
	return 0, false
}
