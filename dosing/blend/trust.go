package blend

import (
	"fmt"
	"math"

	"leat/dosing/chem"
)

// Verdict is how far an analysis is to be believed.
type Verdict int

// The verdicts, from good to bad.
const (
	Believed Verdict = iota
	Doubtful
	Repeat
)

func (v Verdict) String() string {
	return [...]string{"good", "doubtful", "have it repeated"}[min(max(v, Believed), Repeat)]
}

// Check is one check of an analysis.
type Check struct {
	Name    string
	Verdict Verdict
	Text    string
}

// plausible is what a tank in use can hold, mmol/L: the span of the classic
// recipes and of 49 greenhouse analyses (testdata/published), widened threefold.
var plausible = [SubstanceCount]struct{ low, high float64 }{
	NO3: {0.3, 60}, NH4: {0, 6}, P: {0.05, 9}, K: {0.5, 40}, Ca: {0.3, 30}, Mg: {0.2, 15}, S: {0.1, 25}, Na: {0, 30}, Cl: {0, 30}, Si: {0, 3},
	Fe: {0, 0.3}, Mn: {0, 0.1}, Zn: {0, 0.1}, B: {0, 0.5}, Cu: {0, 0.02}, Mo: {0, 0.02},
}

// CheckAnalysis checks a tank's analysis against itself: whether its charges
// balance, whether its ions explain its EC, whether each ion is plausible. The
// bounds on EC come from the chemistry's own error, ±5 % (sd) and 12 % at worst.
func CheckAnalysis(a Analysis, tempC float64) (checks []Check, worst Verdict) {
	add := func(name string, v Verdict, format string, args ...any) {
		checks = append(checks, Check{name, v, fmt.Sprintf(format, args...)})
		worst = max(worst, v)
	}
	missing := ""
	for _, s := range []Substance{NO3, P, K, Ca, Mg, S} {
		if !a.Stated[s] {
			missing += " " + s.Symbol()
		}
	}
	if missing != "" {
		add("complete", Doubtful, "without%s neither charge nor EC can be checked", missing)
	} else {
		checkCharge(a, tempC, add)
		checkEC(a, tempC, add)
	}
	checkCarbonate(a, add)
	odd := 0
	for s := range SubstanceCount {
		p := plausible[s]
		if a.Stated[s] && p.high > 0 && !(a.Content[s] >= p.low && a.Content[s] <= p.high) {
			odd++
			add("range", Repeat, "%s of %s is hardly plausible in a tank: %s to %s is; check unit and form (NO3 or NO3-N, SO4 or S, P or P2O5)", a.Content.shown(s), s,
				milligrams(p.low*s.Mass()), milligrams(p.high*s.Mass()))
		}
	}
	if odd == 0 {
		add("range", Believed, "every ion lies in the range of tanks in use")
	}
	return checks, worst
}

func checkCharge(a Analysis, tempC float64, add func(string, Verdict, string, ...any)) {
	ph := a.PH
	if ph == 0 {
		ph = usualPH
	}
	second := math.Pow(10, ph-7.21) // pKa2 of phosphoric acid
	cations := a.Content.cations()
	anions := a.Content.anions() + a.Content[P]*second/(1+second) + max(a.Alkalinity, 0)
	off := 2 * (cations - anions) / (cations + anions)
	v := Believed
	switch {
	case !(math.Abs(off) <= 0.10):
		v = Repeat
	case math.Abs(off) > 0.05:
		v = Doubtful
	}
	text := ""
	if v > Believed {
		text = "; " + contradiction(a, tempC, cations, anions)
	}
	add("charge", v, "cations %.2f, anions %.2f meq/L: %+.1f %%%s", cations, anions, 100*off, text)
}

// contradiction says which side of the charge goes with the EC and which does not.
// Near their mean, EC goes as the charge that carries it.
func contradiction(a Analysis, tempC, cations, anions float64) string {
	model, err := a.modelEC(tempC)
	if a.EC == 0 || err != nil {
		return "they contradict one another, and without a measured EC it cannot be told which is wrong"
	}
	carried := a.EC / model * (cations + anions) / 2
	wrong, right, miss := "cations", "anions", cations-carried
	if math.Abs(anions-carried) > math.Abs(miss) {
		wrong, right, miss = "anions", "cations", anions-carried
	}
	if nearer := min(math.Abs(cations-carried), math.Abs(anions-carried)); nearer > 0.6*math.Abs(miss) {
		return fmt.Sprintf("EC %.2f goes with %.1f meq/L of each, which is neither", a.EC, carried)
	}
	if miss < 0 {
		return fmt.Sprintf("EC %.2f goes with the %s, so %.1f meq/L of %s are missing: one is stated too low, or was not measured", a.EC, right, -miss, wrong)
	}
	return fmt.Sprintf("EC %.2f goes with the %s, so %.1f meq/L of %s are too many: check their units and forms", a.EC, right, miss, wrong)
}

// mostCO2 is the pressure of carbon dioxide, atm, that no tank holds: a hundred times
// that of the air over it.
const mostCO2 = 100 * roomCO2

// checkCarbonate compares a stated bicarbonate with the pH beside it: sour water holds
// it only under a pressure of carbon dioxide that leaves within hours.
func checkCarbonate(a Analysis, add func(string, Verdict, string, ...any)) {
	if !(a.Alkalinity > 0) || a.PH == 0 {
		return
	}
	// Henry's constant and pK1 of carbonic acid at 25 °C, USGS (dosing/chem/data).
	most := 1000 * mostCO2 * math.Pow(10, a.PH-6.352-1.468)
	if a.Alkalinity > most {
		add("carbonate", Doubtful, "HCO3 %s and pH %s contradict one another: at that pH a tank holds at most %s, the rest has left as carbon dioxide", milligrams(a.Alkalinity*61.017), figure(a.PH), milligrams(most*61.017))
	}
}

// modelEC is the EC that the ions make, mS/cm at 25 °C.
func (a Analysis) modelEC(tempC float64) (float64, error) {
	var r chem.Result
	var solver chem.Solver
	t := a.Content.Ions()
	conditions := chem.Conditions{TempC: tempC, FixedPH: a.PH}
	if a.PH == 0 {
		conditions.FixedPH = usualPH
	}
	if a.Alkalinity > 0 {
		t.DIC = a.Alkalinity * (1 + math.Pow(10, 6.352-conditions.FixedPH))
	}
	err := solver.Solve(&t, conditions, &r)
	return r.EC25, err
}

func checkEC(a Analysis, tempC float64, add func(string, Verdict, string, ...any)) {
	if a.EC == 0 {
		add("EC", Doubtful, "no EC was measured beside it: have it measured, it tells a wrong dilution at once")
		return
	}
	model, err := a.modelEC(tempC)
	if err != nil {
		add("EC", Repeat, "its ions make no solution: %v", err)
		return
	}
	off := model/a.EC - 1
	v := Believed
	switch {
	case !(math.Abs(off) <= 0.15):
		v = Repeat
	case math.Abs(off) > 0.10:
		v = Doubtful
	}
	add("EC", v, "its ions make %.2f mS/cm, measured %.2f: %+.1f %%", model, a.EC, 100*off)
}
