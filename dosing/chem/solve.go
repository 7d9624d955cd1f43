package chem

import "math"

// Solver computes speciations. It keeps the temperature-dependent constants
// and the last solution as a warm start, so one Solver per tank pays off. The
// zero value is ready. Not for concurrent use.
type Solver struct {
	// NitratePairs counts CaNO3+ and KNO3, which the model leaves out: to see
	// what they would change.
	NitratePairs bool

	here, standard speciation // at the solution's temperature and at 25 °C
}

// Conditions are the surroundings of a solution.
type Conditions struct {
	TempC   float64
	Open    bool    // in equilibrium with the air; DIC is then a result
	CO2Atm  float64 // partial pressure of CO2 when Open, atm
	FixedPH float64 // 0: by charge balance; else the pH is given and the missing charge reported
	// OnlyHere leaves out EC25 (NaN then), which costs a second speciation
	// whenever TempC is not 25.
	OnlyHere bool
}

// MinTempC and MaxTempC bound the temperatures that are taken.
const MinTempC, MaxTempC = 0.0, 50.0

func (c *Conditions) check() error {
	if !(c.TempC >= MinTempC && c.TempC <= MaxTempC) {
		return &InputError{Quantity: "temperature", Value: c.TempC, Low: MinTempC, High: MaxTempC, Unit: "°C"}
	}
	if c.Open && !(c.CO2Atm >= 1e-8 && c.CO2Atm <= 1) {
		return &InputError{Quantity: "CO2", Value: c.CO2Atm, Low: 1e-8, High: 1, Unit: "atm"}
	}
	if c.FixedPH != 0 && !(c.FixedPH >= 0.5 && c.FixedPH <= 13.5) {
		return &InputError{Quantity: "pH", Value: c.FixedPH, Low: 0.5, High: 13.5, Unit: ""}
	}
	return nil
}

// Result is what a solution is.
type Result struct {
	PH            float64
	TempC         float64
	EC            float64 // mS/cm at TempC
	EC25          float64 // mS/cm of the same solution at 25 °C; NaN if left out
	IonicStrength float64 // mol/kg
	ChargeError   float64 // meq/kg, cations minus anions; about 0 unless the pH is given
	StrongCharge  float64 // meq/kg: the strong-ion balance that belongs to this pH
	Buffer        float64 // meq/L of strong acid or base per pH, at this pH, > 0
	DIC           float64 // mmol/kg, a result when open
	WaterPerLitre float64 // kg of water in a litre of the solution

	Species    [SpeciesCount]float64 // mmol/kg
	Saturation [PhaseCount]float64   // log10(IAP/K); NaN when an ion is absent
	Warnings   Warnings
}

// Shift changes the formation constants of this solver by so much log10 K, by
// species: a water that is not quite the model's, for trials of what depends on it.
func (s *Solver) Shift(log10K [SpeciesCount]float64) {
	s.alter(&alteration{log: log10K})
}

// alter sets a solver back to nothing but these other numbers.
func (s *Solver) alter(by *alteration) {
	s.here = speciation{constants: constants{altered: by}}
	s.standard = s.here
}

// Solve computes the solution of these totals into r. Errors are *InputError
// and *ConvergenceError; r is then not to be used. It allocates nothing unless
// it fails.
func (s *Solver) Solve(t *Totals, c Conditions, r *Result) error {
	if err := t.check(); err != nil {
		return err
	}
	if err := c.check(); err != nil {
		return err
	}
	s.here.set(c.TempC)
	s.here.setPairing(s.NitratePairs)
	s.standard.setPairing(s.NitratePairs)
	if err := s.here.speciate(t, &c); err != nil {
		return err
	}
	found := solution{&s.here}
	found.report(t, &c, r)
	r.EC = found.conductivity()
	switch {
	case c.TempC == 25:
		r.EC25 = r.EC
	case c.OnlyHere:
		r.EC25 = math.NaN()
	default:
		return s.conductivity25(t, &c, r)
	}
	return nil
}

// conductivity25 speciates the same water, closed now, at 25 °C.
func (s *Solver) conductivity25(t *Totals, c *Conditions, r *Result) error {
	s.standard.set(25)
	if !s.standard.found {
		s.standard.startFrom(&s.here)
	}
	at25, c25 := *t, Conditions{TempC: 25}
	at25.DIC = r.DIC
	// A given pH stays given: EC25 is that of the solution with this pH.
	c25.FixedPH = c.FixedPH
	if err := s.standard.speciate(&at25, &c25); err != nil {
		return err
	}
	r.EC25 = solution{&s.standard}.conductivity()
	return nil
}

// solution is a speciation that was found: what it conducts, how thick it is, what may fall
// out of it.
type solution struct{ *speciation }

// report copies the solution into r.
func (s solution) report(t *Totals, c *Conditions, r *Result) {
	r.PH = -s.x[uH] / ln10
	r.TempC = c.TempC
	r.IonicStrength = s.ionic
	for i := range s.m {
		r.Species[i] = 1000 * s.m[i]
	}
	r.ChargeError = 1000 * s.m.charge()
	r.StrongCharge = t.StrongCharge() - r.ChargeError
	r.DIC = t.DIC
	if c.Open {
		r.DIC = s.m.carbon()
	}
	r.WaterPerLitre = 1 / s.litres
	r.Buffer = 1000 * ln10 * s.slopes.hydrogen * r.WaterPerLitre
	s.saturation(r)
	r.Warnings = s.warnings(c, r)
}
