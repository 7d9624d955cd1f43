package blend

import (
	"fmt"
	"math"
	"strings"

	"leat/dosing"
	"leat/dosing/chem"
)

// noticed is the share by which a target may be missed without a word.
const noticed = 0.01

// explain says in words what the figures do not: why an element is missed, and what
// to watch.
func (m *Mix) explain() {
	for s, w := range m.Wants {
		if w.Limited && m.Reached[s] > w.Most*(1+1e-6)+1e-9 {
			m.reason("%s passes its limit of %s: the %s brings %s", Substance(s), milligrams(w.Most*Substance(s).Mass()), m.Task.BaseName(), m.Task.Base.shown(Substance(s)))
		}
	}
	c, nitrogen := m.causes(), (*aim)(nil)
	for i := range c.aims {
		switch a := &c.aims[i]; a.kind {
		case aimSubstance:
			c.explainOne(a.substance)
		case aimNitrogen:
			nitrogen = a
		}
	}
	c.explainTraces()
	c.explainNitrogen(nitrogen)
	c.explainPH()
	m.note()
}

// note says what to watch, of the mixture as it is made.
func (m *Mix) note() {
	if climb := m.Settled.PH - m.AtOnce.PH; climb > 0.15 {
		m.remark("pH reads %.2f at first and climbs to %.2f as carbon dioxide leaves; do not correct it in between", m.AtOnce.PH, m.Settled.PH)
	}
	m.explainRecipe()
	m.explainSolution()
}

func (m *Mix) reason(format string, args ...any) {
	m.Reasons = append(m.Reasons, fmt.Sprintf(format, args...))
}

func (m *Mix) remark(format string, args ...any) {
	m.Remarks = append(m.Remarks, fmt.Sprintf(format, args...))
}

// unit and value of a substance as people read it: mg/L, or µg/L of a trace.
func (c Content) shown(s Substance) string { return milligrams(c[s] * known[s].mass) }

func milligrams(v float64) string { return figure(v) + " mg/L" }

// unmet is how far a target may be missed without a word.
func unmet(s Substance) float64 {
	if s.Micro() {
		return 0.1
	}
	return noticed
}

// Why says what keeps a substance from its target; empty where it is met.
func (m *Mix) Why(s Substance) string { return m.causes().why(s) }

func (c causes) why(s Substance) string {
	a, w, o := c.aimOf(s), c.Wants[s], c.Off(s)
	switch {
	case a == nil, w.Amount == 0 && !(o > 0.1 && !s.Micro()), w.Amount > 0 && math.Abs(o) <= unmet(s):
		return ""
	case w.Amount > 0 && o > 0 && c.Task.Base[s] > w.Amount && c.Task.IsTank:
		return "adding cannot lower it"
	case w.Amount > 0 && o > 0 && c.Task.Base[s] > w.Amount:
		return "water brings it, and it stays in surplus; water that holds less of it or a higher EC would meet it"
	case o > 0:
		return c.bringers(a)
	}
	return c.hindrance(a)
}

// explainOne tells of a macronutrient, or of any surplus; micronutrients that fall
// short are told together.
func (c causes) explainOne(s Substance) {
	why, w, o := c.why(s), c.Wants[s], c.Off(s)
	target := milligrams(w.Amount * s.Mass())
	switch {
	case why == "" || o < 0 && s.Micro():
	case w.Amount == 0:
		c.reason("%s reaches %s though none is wanted: %s", s, c.Reached.shown(s), why)
	case o > 0 && c.Task.Base[s] > w.Amount && c.Task.IsTank:
		c.reason("the %s holds %s of %s, target %s: %s", c.Task.BaseName(), c.Task.Base.shown(s), s, target, why)
	case o > 0 && c.Task.Base[s] > w.Amount:
		c.reason("water brings %s of %s, target %s: it stays in surplus; water that holds less of it or a higher EC would meet it", c.Task.Base.shown(s), s, target)
	case o > 0:
		c.reason("%s comes to %s, target %s (%+.0f %%): %s", s, c.Reached.shown(s), target, 100*o, why)
	default:
		c.reason("%s comes to only %s, target %s (%+.0f %%): %s", s, c.Reached.shown(s), target, 100*o, why)
	}
}

// explainTraces tells of the micronutrients that fall short, those with one cause
// in one line.
func (c causes) explainTraces() {
	var causes []string
	lacking := map[string][]string{}
	for i := range c.aims {
		a := &c.aims[i]
		s := a.substance
		if !a.micro || c.Wants[s].Amount == 0 || c.Off(s) >= -unmet(s) {
			continue
		}
		cause := strings.Replace(c.hindrance(a), "carries "+s.String(), "carries it", 1)
		if lacking[cause] == nil {
			causes = append(causes, cause)
		}
		lacking[cause] = append(lacking[cause], fmt.Sprintf("%s (%s of %s)", s, figure(c.Reached.Milligrams(s)), milligrams(c.Wants[s].Amount*s.Mass())))
	}
	for _, common := range causes {
		cause := common
		if len(lacking[cause]) > 1 {
			cause = strings.Replace(cause, "carries it", "carries them", 1)
		}
		c.reason("short of %s: %s", strings.Join(lacking[common], ", "), cause)
	}
}

func percent(v float64) string { return figure(100*v) + " %" }

func plural(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}

func (c causes) explainNitrogen(a *aim) {
	const n = 14.007
	if o := c.OffN(); a != nil && c.N.Amount > 0 && math.Abs(o) > noticed {
		held, target := milligrams(c.Reached.Nitrogen()*n), milligrams(c.N.Amount*n)
		switch {
		case o > 0 && c.Task.Base.Nitrogen() > c.N.Amount:
			c.reason("the %s brings %s of N, target %s", c.Task.BaseName(), milligrams(c.Task.Base.Nitrogen()*n), target)
		case o > 0:
			c.reason("N comes to %s, target %s (%+.0f %%): %s", held, target, 100*o, c.bringers(a))
		default:
			c.reason("N comes to only %s, target %s (%+.0f %%): %s", held, target, 100*o, c.hindrance(a))
		}
	}
	all := c.Reached.Nitrogen()
	if share := c.Reached[NH4] / all; all > 0 && share > c.Task.MaxNH4+1e-6 {
		c.reason("ammonium is %s of nitrogen, above the %s allowed: the %s brings it", percent(share), percent(c.Task.MaxNH4), c.Task.BaseName())
	}
	if w := c.Wants[NH4]; w.Amount > c.Task.MaxNH4*c.Recipewide()*(1+1e-6) {
		c.reason("the recipe's ammonium is %s of its nitrogen; it is held at %s (up to 15 %% can be asked for)", percent(w.Amount/c.Recipewide()), percent(c.Task.MaxNH4))
	}
}

// noticedPH is the distance from the pH asked that is worth a word.
const noticedPH = 0.05

func (c causes) explainPH() {
	if off := c.Settled.PH - c.Task.PH; math.Abs(off) > noticedPH {
		c.reason("pH settles at %.2f, not %.2f: %s", c.Settled.PH, c.Task.PH, c.offPH(off))
	}
}

// offPH says what keeps acid or base, or another stock that moves it, from bringing
// the pH.
func (c causes) offPH(off float64) string {
	role := dosing.RoleAcid
	if off < 0 {
		role = dosing.RoleBase
	}
	var texts []string
	for i := range c.Task.Stocks {
		s, each := &c.Task.Stocks[i], c.Task.Stocks[i].perUnit()
		charge := balanceOf(each)
		if charge*off >= 0 || s.acidic() && s.Role != role || math.Abs(charge) < max(leastPull*(each[P]+each[Si]), 1e-6) {
			continue
		}
		if o, ok := c.obstacle(i, nil); ok {
			texts = append(texts, c.obstacleText([]int{i}, o))
		}
	}
	if !c.Task.has(role) {
		texts = append([]string{fmt.Sprintf("there is no %s among the stocks", role)}, texts...)
	}
	if texts == nil {
		return fmt.Sprintf("what %s lacks is too little to be measured out", role)
	}
	return strings.Join(texts, "; ")
}

// leastPull is the charge, meq for each mmol of phosphate or silicate, from which a
// salt counts as one that moves pH: dipotassium phosphate does, monopotassium not.
const leastPull = 0.2

func (t *Task) has(role dosing.Role) bool {
	for i := range t.Stocks {
		if t.Stocks[i].Role == role {
			return true
		}
	}
	return false
}

// explainRecipe tells of a recipe that no neutral salts can make.
func (m *Mix) explainRecipe() {
	m.Remarks = append(m.Remarks, m.Task.Recipe.Remarks...)
	if open, ok := m.Task.Recipe.open(); ok {
		c := m.Task.Recipe.Content()
		if math.Abs(open) > 0.03*c.cations() {
			m.remark("the recipe itself does not balance: cations %.2f, anions %.2f meq/L; salts are neutral, so no stocks can meet all of it", c.cations(), c.anions())
		}
	}
	for i := range m.Task.Stocks {
		for _, text := range m.Task.Stocks[i].Remarks {
			if m.Amounts[i] > 0 {
				m.remark("%s: %s", m.Task.Stocks[i].Name, text)
			}
		}
	}
}

// explainSolution warns of what may fall out of the finished solution.
func (m *Mix) explainSolution() {
	for _, phase := range []chem.Phase{chem.Brushite, chem.Gypsum, chem.Struvite} {
		clear := 0.0
		if phase == chem.Brushite {
			clear = chem.BrushiteClear
		}
		if si := m.Settled.Saturation[phase]; si > clear {
			m.remark("%s is supersaturated (%+.2f): it can fall out; lower pH, EC or one of its ions", phase, si)
		}
	}
	if m.Reached[Si] > 2 {
		m.remark("silicate above 2 mmol/L gels below pH 9: ask for less")
	}
	for i := range m.Task.Stocks {
		if limit, ok := chelateLimit(m.Task.Stocks[i].Chelate); ok && m.Amounts[i] > 0 && m.Task.PH > limit {
			m.remark("iron %s in %s holds its iron up to about pH %s only, and pH %s is asked: take a stronger chelate", m.Task.Stocks[i].Chelate, m.Task.Stocks[i].Name, figure(limit), figure(m.Task.PH))
		}
	}
	if m.Reached[Na] > 3 || m.Reached[Cl] > 4 {
		m.remark("Na %s and Cl %s are not taken up: they gather in a recirculated tank, so part of it must be dumped now and then", m.Reached.shown(Na), m.Reached.shown(Cl))
	}
}

// findAlternatives looks for stocks that the mixture could do without.
func (m *Mix) findAlternatives() {
	for i := range m.Task.Stocks {
		if !(m.Amounts[i] > 0) || m.Task.Stocks[i].acidic() {
			continue
		}
		less := m.Task
		less.EC = 0
		less.Recipe.Wants, less.Recipe.Nitrogen = m.Wants, m.N
		less.Stocks = append(append([]Stock{}, m.Task.Stocks[:i]...), m.Task.Stocks[i+1:]...)
		if len(less.Stocks) == 0 {
			continue
		}
		other, err := solve(less)
		if err != nil || !m.asGood(other) {
			continue
		}
		var more []string
		for k := range less.Stocks {
			was := m.Amounts[k]
			if k >= i {
				was = m.Amounts[k+1]
			}
			if other.Amounts[k] > was*1.02+1e-6 && less.Stocks[k].Role != dosing.RoleNone {
				more = append(more, less.Stocks[k].Name)
			}
		}
		text := fmt.Sprintf("%s can be left out: nothing gets further from its target", m.Task.Stocks[i].Name)
		if len(more) > 0 {
			text += ", with more of " + strings.Join(more, ", ")
		}
		m.Alternatives = append(m.Alternatives, text)
	}
}

// asGood says whether another mixture misses nothing that this one meets.
func (m *Mix) asGood(other *Mix) bool {
	if math.Abs(other.Settled.PH-m.Settled.PH) > 0.05 || m.N.Stated && math.Abs(other.OffN()) > max(math.Abs(m.OffN()), 0.004)+0.001 {
		return false
	}
	for s := range m.Wants {
		least, more := 0.004, 0.001
		if Substance(s).Micro() {
			least, more = 0.05, 0.02
		}
		if was, now := math.Abs(m.Off(Substance(s))), math.Abs(other.Off(Substance(s))); now > max(was, least)+more {
			return false
		}
	}
	return true
}
