package chem

import "math"

// Effect is what a dose does to one litre of a solution.
type Effect struct {
	PH   float64 // change of pH
	EC   float64 // change of conductivity at the solution's temperature, mS/cm
	EC25 float64 // the same at 25 °C
	Ions Totals  // change of every total, mmol/kg
}

// Effect computes what ml millilitres of a liquid do to one litre of a
// solution: stock, acid or base, the liquid given by what a litre of it holds,
// in mmol. The millilitre's own water is taken as a millilitre; concentrates
// hold less, which moves a 1 mL dose by under 0.1 % of the totals. The solution
// is closed to the air unless c opens it. Errors as for Solve.
func (s *Solver) Effect(solution, perLitre *Totals, ml float64, c Conditions) (Effect, error) {
	if !(ml >= 0 && ml <= 1000) {
		return Effect{}, &InputError{Quantity: "dose", Value: ml, Low: 0, High: 1000, Unit: "mL per litre"}
	}
	if err := perLitre.check(); err != nil {
		return Effect{}, err
	}
	var before, after Result
	if err := s.Solve(solution, c, &before); err != nil {
		return Effect{}, err
	}
	water := before.WaterPerLitre // kg in the litre
	grown := water + float64(ml*0.001*s.here.density)
	mixed := Totals{}.Add(*solution, water/grown).Add(*perLitre, ml/1000/grown)
	if err := s.Solve(&mixed, c, &after); err != nil {
		return Effect{}, err
	}
	return Effect{
		PH:   after.PH - before.PH,
		EC:   after.EC - before.EC,
		EC25: after.EC25 - before.EC25,
		Ions: mixed.Add(*solution, -1),
	}, nil
}

// EndPoints are the two ends of a dose of acid or carbonate: at once, and after
// the carbon dioxide it set free has left (or been taken up) and pH has climbed
// back.
type EndPoints struct {
	Closed, Open float64 // pH
	Lost         float64 // mmol/kg of carbon that leaves on the way; negative: taken up
	Met          float64 // share of the carbonate alkalinity the dose neutralised, 0 … 1; NaN without any
}

// Rebound computes both end points of adding dose to a solution: closed, and
// open to air with co2 atm of carbon dioxide. Errors as for Solve.
func (s *Solver) Rebound(solution, dose *Totals, tempC, co2 float64) (EndPoints, error) {
	var before, closed, open Result
	c := Conditions{TempC: tempC, OnlyHere: true}
	if err := s.Solve(solution, c, &before); err != nil {
		return EndPoints{}, err
	}
	after := solution.Add(*dose, 1)
	if err := s.Solve(&after, c, &closed); err != nil {
		return EndPoints{}, err
	}
	c.Open, c.CO2Atm = true, co2
	if err := s.Solve(&after, c, &open); err != nil {
		return EndPoints{}, err
	}
	e := EndPoints{Closed: closed.PH, Open: open.PH, Lost: after.DIC - open.DIC, Met: math.NaN()}
	if was := before.Bicarbonate(); was > 0 {
		e.Met = 1 - closed.Bicarbonate()/was
	}
	return e, nil
}

// AcidFor is the strong acid in meq/kg (negative: base) that takes a solution
// to a pH and holds it there: closed, at once; open, after the carbon dioxide
// has left. c.FixedPH is set by it. Errors as for Solve.
func (s *Solver) AcidFor(solution *Totals, ph float64, c Conditions) (float64, error) {
	if !(ph > 0) {
		return 0, &InputError{Quantity: "pH", Value: ph, Low: 0.5, High: 13.5}
	}
	var r Result
	c.FixedPH, c.OnlyHere = ph, true
	s.here.balanceStrong = true // the acid's own ions count in the ionic strength
	err := s.Solve(solution, c, &r)
	s.here.balanceStrong = false
	return r.ChargeError, err
}

// Bicarbonate is the alkalinity of carbon in meq/kg: HCO3 and twice CO3 with
// their pairs.
func (r *Result) Bicarbonate() float64 {
	sum := 0.0
	for i := range r.Species {
		if carbon := table[i].nu[uCO3]; carbon > 0 {
			// CO3 holds two charges, each hydrogen takes one.
			sum += float64((float64(2*carbon) - hot[i].hydrogen) * r.Species[i])
		}
	}
	return sum
}

// KByCharge finds the potassium at which the charge closes at c.FixedPH, adding
// to or taking from t.K; r is the solution there. It returns the totals found.
// *InputError when more potassium would have to leave than there is.
func (s *Solver) KByCharge(t Totals, c Conditions, r *Result) (Totals, error) {
	for n := 0; n < 25; n++ {
		if err := s.Solve(&t, c, r); err != nil {
			return t, err
		}
		if math.Abs(r.ChargeError) < 1e-9+float64(1e-9*t.K) {
			return t, nil
		}
		t.K -= r.ChargeError
		if t.K < 0 {
			return t, &InputError{Quantity: "potassium left after balancing the charge", Value: t.K, Low: 0, High: largestTotal, Unit: "mmol/kg"}
		}
	}
	return t, nil
}

// TemperatureCoefficient is the solution's own, in percent per kelvin of the
// conductivity at 25 °C, taken between tempC and 25 °C; at 25 °C itself from
// 24 to 26.
func (s *Solver) TemperatureCoefficient(t *Totals, c Conditions) (float64, error) {
	var low, high Result
	at25 := math.Abs(c.TempC-25) < 0.5
	if at25 {
		c.TempC = 26
	}
	if err := s.Solve(t, c, &high); err != nil {
		return 0, err
	}
	if !at25 {
		return 100 * (high.EC/high.EC25 - 1) / (c.TempC - 25), nil
	}
	c.TempC = 24
	if err := s.Solve(t, c, &low); err != nil {
		return 0, err
	}
	return 100 * (high.EC - low.EC) / (high.EC25 + low.EC25), nil
}
