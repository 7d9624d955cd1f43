package blend

import (
	"fmt"
	"math"
	"strings"

	"leat/dosing/chem"
)

// Analysis is a water or a tank as a laboratory or a meter saw it.
type Analysis struct {
	Content    Content
	Stated     [SubstanceCount]bool
	Alkalinity float64 // meq/L of bicarbonate; below zero where not stated
	PH         float64 // 0 where not measured
	EC         float64 // mS/cm at 25 °C; 0 where not measured
	TempC      float64 // 0 where not measured
	Remarks    []string
}

// usualWaterPH is taken for the carbon of a water whose pH was not measured.
const usualWaterPH = 7.5

// ReadAnalysis makes an analysis of a sheet's entries: elements or ions, HCO3 or
// alkalinity, pH, EC.
func ReadAnalysis(entries []Entry) (Analysis, error) {
	a, hard := Analysis{Alkalinity: -1}, -1.0
	for _, e := range entries {
		s, ok := spelled(e.What)
		at := func(problem, hint string) error { return &Fault{e.Line, e.What, problem, hint} }
		if nitrite(e.What) {
			return a, at(nitriteProblem, nitriteHint)
		}
		if !ok {
			return a, at("is nothing an analysis names", nameHint(e.What))
		}
		if e.Most >= 0 || e.Weight != 1 {
			return a, at("has a weight or a limit", "only recipes have those")
		}
		if s.substance == reading {
			if err := a.read(e); err != nil {
				return a, err
			}
			continue
		}
		if s.substance == nitrogen {
			return a, at("does not say its form", "write NO3-N and NH4-N")
		}
		if strings.EqualFold(e.What, "alkalinity") && strings.HasSuffix(plainUnit(e.Unit), "mol/L") {
			return a, at("is in moles, which some laboratories count as bicarbonate and others as calcium carbonate", "write meq/L, mg/L CaCO3 or °dH, or name HCO3 or CaCO3 with mmol/L; an acid capacity to pH 4.3 in mmol/L is as many meq/L")
		}
		amount, err := s.amount(e.Amount, e.Unit)
		if err != nil {
			return a, at(err.Error(), "for example Ca,61,mg/L")
		}
		if amount > 1000 {
			return a, at("is more than any solution that plants live in", "check the unit")
		}
		if s.substance == hardness {
			if hard >= 0 {
				return a, at("states the hardness twice", "leave one out")
			}
			hard = amount
			continue
		}
		if s.substance == alkaline {
			if a.Alkalinity >= 0 {
				return a, at("states the alkalinity twice", "HCO3, CaCO3 and alkalinity are one thing")
			}
			a.Alkalinity = amount
			continue
		}
		if a.Stated[s.substance] {
			return a, at("is stated twice", "leave one out")
		}
		a.Content[s.substance], a.Stated[s.substance] = amount, true
	}
	return a, a.share(hard)
}

// share gives what a total hardness, in mmol/L, leaves to the one of calcium and magnesium
// that is not stated; below zero for no hardness.
func (a *Analysis) share(hard float64) error {
	fault := func(problem, hint string) error { return &Fault{0, "hardness", problem, hint} }
	known := a.Content[Ca] + a.Content[Mg]
	apart := math.Abs(known-hard) > 0.05+0.1*hard
	switch {
	case hard < 0:
	case !a.Stated[Ca] && !a.Stated[Mg]:
		return fault("does not say how much of it is calcium", "state Ca or Mg beside it, the other follows")
	case a.Stated[Ca] && a.Stated[Mg] && apart:
		return fault(fmt.Sprintf("is %s mmol/L, and Ca and Mg make %s", figure(hard), figure(known)), "one of the three is wrong: look at their units")
	case a.Stated[Ca] && a.Stated[Mg]:
	case known > hard && apart:
		return fault(fmt.Sprintf("is %s mmol/L, less than what is stated of calcium or magnesium alone, %s", figure(hard), figure(known)), "one of the two is wrong: look at their units")
	case a.Stated[Ca]:
		a.Content[Mg], a.Stated[Mg] = max(hard-known, 0), true
	default:
		a.Content[Ca], a.Stated[Ca] = max(hard-known, 0), true
	}
	return nil
}

// nitrite is named apart from nitrate, one letter off, to be refused and not guessed at.
func nitrite(name string) bool {
	switch plainName(name) {
	case "no2", "no2n", "nno2", "nitrite", "nitritenitrogen":
		return true
	}
	return false
}

const (
	nitriteProblem = "is nitrite: no nutrient, harmful to roots, and not to be counted as nitrate"
	nitriteHint    = "leave the line out; if it is above about 1 mg/L, find where it comes from before you dose"
)

func (a *Analysis) read(e Entry) error {
	switch strings.ToLower(e.What) {
	case "ph":
		if a.PH = e.Amount; !(a.PH >= 2 && a.PH <= 12) || e.Unit != "" && e.Unit != "pH" {
			return &Fault{e.Line, e.What, "is no pH of a water", "2 to 12, without a unit"}
		}
	case "ec":
		factor, ok := map[string]float64{"mS/cm": 1, "dS/m": 1, "µS/cm": 1e-3, "uS/cm": 1e-3}[plainUnit(e.Unit)]
		if e.Unit == "" {
			return &Fault{e.Line, e.What, "has no unit", "write EC=2.1 mS/cm, or EC=2100 µS/cm, at 25 °C"}
		}
		if a.EC = e.Amount * factor; !ok || !(a.EC <= 20) {
			return &Fault{e.Line, e.What, "is no conductivity of a solution", "for example EC=2.1 mS/cm, at 25 °C"}
		}
	default:
		if a.TempC = e.Amount; !(a.TempC <= 50) {
			return &Fault{e.Line, e.What, "is no temperature of a water", "in °C, up to 50"}
		}
	}
	return nil
}

func nameHint(name string) string {
	if guess := Meant(name, SpellingNames()); guess != "" {
		return fmt.Sprintf("did you mean %q?", guess)
	}
	return "write NO3-N, NH4-N, P, K, Ca, Mg, S, Na, Cl, HCO3, Fe … or P2O5, K2O and the like"
}

// Water closes the analysis of a source water for the sums: carbon from alkalinity
// and pH, and Rest from what the ions leave open, so that the alkalinity rules and
// not the sum of everyone's errors. Without an alkalinity it is what the ions say.
func (a Analysis) Water() Analysis {
	c := a.Content
	c[Carbon], c[Rest] = 0, 0
	if a.Alkalinity < 0 {
		a.Alkalinity = max(c.StrongCharge(), 0)
		if a.Alkalinity > 0.05 {
			a.Remarks = append(a.Remarks, fmt.Sprintf("the water's analysis states no alkalinity: %s meq/L is taken, which is what its ions leave open; have HCO3 measured", figure(a.Alkalinity)))
		}
	}
	open := a.Alkalinity - c.StrongCharge()
	c[Rest] = open
	if math.Abs(open) > 0.5 && math.Abs(open) > 0.1*a.Alkalinity {
		a.Remarks = append(a.Remarks, fmt.Sprintf("the water's ions miss %s meq/L of %s beside its alkalinity: something was not measured", figure(math.Abs(open)), sign(open, "cations", "anions")))
	}
	ph := a.PH
	if ph == 0 {
		ph = usualWaterPH
	}
	c[Carbon] = a.Alkalinity * (1 + math.Pow(10, 6.352-ph)) // pK1 of carbonic acid at 25 °C, USGS (dosing/chem/data)
	a.Content = c
	return a
}

// Tank closes the analysis of a tank: carbon from a bicarbonate if it was
// measured, else what the air keeps in, and Rest so that the measured pH holds.
func (a Analysis) Tank(tempC float64) (Analysis, error) {
	c := a.Content
	c[Rest], c[Carbon] = 0, 0
	conditions := chem.Conditions{TempC: tempC, FixedPH: a.PH}
	if a.PH == 0 {
		a.Remarks = append(a.Remarks, "the analysis states no pH: 5.8 is taken")
		conditions.FixedPH = usualPH
	}
	if a.Alkalinity >= 0 {
		c[Carbon] = a.Alkalinity * (1 + math.Pow(10, 6.352-conditions.FixedPH))
	} else {
		conditions.Open, conditions.CO2Atm = true, roomCO2
	}
	var r chem.Result
	t := c.Ions()
	var solver chem.Solver
	if err := solver.Solve(&t, conditions, &r); err != nil {
		return a, fmt.Errorf("the analysis: %w", err)
	}
	c[Carbon] = r.DIC
	c[Rest] = r.StrongCharge - c.StrongCharge()
	a.Content = c
	return a, nil
}

func sign(v float64, positive, negative string) string {
	if v > 0 {
		return positive
	}
	return negative
}
