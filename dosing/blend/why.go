package blend

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"leat/dosing"
	"leat/dosing/chem"
)

// noticed is the share by which a target may be missed without a word.
const noticed = 0.01

// explain says in words what the figures do not: why an element is missed, and what
// to watch.
func (m *Mix) explain() {
	for s := range m.Wants {
		m.explainOne(Substance(s))
	}
	m.explainTraces()
	m.explainNitrogen()
	m.explainPH()
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

func (m *Mix) explainOne(s Substance) {
	w := m.Wants[s]
	target, least := milligrams(w.Amount*s.Mass()), noticed
	if s.Micro() {
		least = 0.1
	}
	if w.Limited && m.Reached[s] > w.Most*(1+1e-6)+1e-9 {
		m.reason("%s passes its limit of %s: the %s brings %s", s, milligrams(w.Most*s.Mass()), m.Task.BaseName(), m.Task.Base.shown(s))
	}
	if !w.Stated || w.Weight == 0 {
		return
	}
	o := m.Off(s)
	switch {
	case w.Amount == 0 && o > 0.1 && !s.Micro():
		m.reason("%s reaches %s though none is wanted: %s", s, m.Reached.shown(s), m.bringers(s))
	case w.Amount == 0:
	case o > least && m.Task.Base[s] > w.Amount:
		if m.Task.IsTank {
			m.reason("the %s holds %s of %s, target %s: adding cannot lower it", m.Task.BaseName(), m.Task.Base.shown(s), s, target)
		} else {
			m.reason("water brings %s of %s, target %s: it stays in surplus; softer water or a higher EC would meet it", m.Task.Base.shown(s), s, target)
		}
	case o > least:
		m.reason("%s comes to %s, target %s (%+.0f %%): %s", s, m.Reached.shown(s), target, 100*o, m.bringers(s))
	case o < -least && s.Micro(): // told together
	case o < -least:
		m.reason("%s comes to only %s, target %s (%+.0f %%): %s", s, m.Reached.shown(s), target, 100*o, m.hindrance(s))
	}
}

// explainTraces tells of the micronutrients that fall short, those with one cause
// in one line.
func (m *Mix) explainTraces() {
	var causes []string
	lacking := map[string][]string{}
	for s := Fe; s <= Mo; s++ {
		if w := m.Wants[s]; !w.Stated || w.Weight == 0 || w.Amount == 0 || m.Off(s) > -0.1 {
			continue
		}
		cause := strings.Replace(m.hindrance(s), "carries "+s.String(), "carries it", 1)
		if lacking[cause] == nil {
			causes = append(causes, cause)
		}
		lacking[cause] = append(lacking[cause], fmt.Sprintf("%s (%s of %s)", s, figure(m.Reached.Milligrams(s)), milligrams(m.Wants[s].Amount*s.Mass())))
	}
	for _, common := range causes {
		cause := common
		if len(lacking[cause]) > 1 {
			cause = strings.Replace(cause, "carries it", "carries them", 1)
		}
		m.reason("short of %s: %s", strings.Join(lacking[common], ", "), cause)
	}
}

// bringers names who brings a surplus, and with what it comes.
func (m *Mix) bringers(s Substance) string {
	type part struct {
		stock  int
		amount float64
	}
	var parts []part
	for i := range m.Task.Stocks {
		if v := m.Task.Stocks[i].perUnit()[s] * m.Amounts[i]; v > 0.05*m.Reached[s] {
			parts = append(parts, part{i, v})
		}
	}
	sort.SliceStable(parts, func(a, b int) bool { return parts[a].amount > parts[b].amount })
	if len(parts) == 0 {
		return "the " + m.Task.BaseName() + " brings it"
	}
	if first := &m.Task.Stocks[parts[0].stock]; first.acidic() {
		return fmt.Sprintf("%s brings %s of it against the %s's alkalinity: take another acid, or split it over two", first.Name, milligrams(parts[0].amount*s.Mass()), m.Task.BaseName())
	}
	var names []string
	for _, p := range parts {
		text := m.Task.Stocks[p.stock].Name
		if with := m.companions(p.stock, s); with != "" {
			text += " (it comes with " + with + ")"
		}
		names = append(names, text)
	}
	return "from " + strings.Join(names, ", ")
}

// companions names the other wanted macronutrients in a stock.
func (m *Mix) companions(stock int, s Substance) string {
	var names []string
	for o := NO3; o <= S; o++ {
		if o != s && m.Task.Stocks[stock].Content[o] > 0 && (m.Wants[o].Amount > 0 || m.N.Stated && o <= NH4) {
			names = append(names, o.String())
		}
	}
	return strings.Join(names, " and ")
}

// hindrance says why there is too little of a substance.
func (m *Mix) hindrance(s Substance) string {
	var carriers []int
	for i := range m.Task.Stocks {
		if m.Task.Stocks[i].Content[s] > 0 && !m.Task.Stocks[i].acidic() {
			carriers = append(carriers, i)
		}
	}
	if len(carriers) == 0 {
		return fmt.Sprintf("no stock carries %s", s)
	}
	full := true
	var names []string
	for _, i := range carriers {
		stock := &m.Task.Stocks[i]
		names = append(names, stock.Name)
		full = full && stock.AtMost > 0 && m.Amounts[i] > stock.AtMost*0.999
	}
	if full {
		return fmt.Sprintf("%s %s at the most you allow; raise that, or make it stronger", strings.Join(names, " and "), plural(len(names), "stands", "stand"))
	}
	if s == NH4 && m.Reached[NH4] > 0.99*m.Task.NH4Most*m.Reached.Nitrogen() {
		return fmt.Sprintf("ammonium is held at %s %% of nitrogen", figure(100*m.Task.NH4Most))
	}
	// What every carrier also brings, and is already full.
	for o := range SubstanceCount {
		if o == s || o >= Carbon || o == Rest {
			continue
		}
		all := true
		for _, i := range carriers {
			all = all && m.Task.Stocks[i].Content[o] > 0
		}
		w := m.Wants[o]
		limited := w.Limited && m.Reached[o] > w.Most*0.999
		over := w.Stated && w.Weight > 0 && m.Reached[o] > w.Amount*1.002
		if all && limited {
			return fmt.Sprintf("no stock carries %s without %s, which is never to pass %s", s, o, milligrams(w.Most*o.Mass()))
		}
		if all && over {
			return fmt.Sprintf("no stock carries %s without %s, which is %s over its target already", s, o, percent(m.Off(o)))
		}
	}
	text := "more of " + strings.Join(names, " or ") + " would take another element past its target"
	if with := m.companions(carriers[0], s); with != "" {
		text = fmt.Sprintf("more of %s brings more %s too", names[0], with)
	}
	return text + "; a stock of another salt of it would free it"
}

func percent(v float64) string { return figure(100*v) + " %" }

func plural(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}

func (m *Mix) explainNitrogen() {
	if o := m.OffN(); m.N.Stated && m.N.Amount > 0 && math.Abs(o) > noticed {
		switch {
		case o > 0 && m.Task.Base.Nitrogen() > m.N.Amount:
			m.reason("the %s brings %s of N, target %s", m.Task.BaseName(), milligrams(m.Task.Base.Nitrogen()*14.007), milligrams(m.N.Amount*14.007))
		case o > 0:
			m.reason("N comes to %s, target %s (%+.0f %%): %s", milligrams(m.Reached.Nitrogen()*14.007), milligrams(m.N.Amount*14.007), 100*o, m.bringers(NO3))
		default:
			m.reason("N comes to only %s, target %s (%+.0f %%): %s", milligrams(m.Reached.Nitrogen()*14.007), milligrams(m.N.Amount*14.007), 100*o, m.hindrance(NO3))
		}
	}
	n := m.Reached.Nitrogen()
	if share := m.Reached[NH4] / n; n > 0 && share > m.Task.NH4Most+1e-6 {
		m.reason("ammonium is %s of nitrogen, above the %s allowed: the %s brings it", percent(share), percent(m.Task.NH4Most), m.Task.BaseName())
	}
	if w := m.Wants[NH4]; w.Amount > m.Task.NH4Most*m.Recipewide()*(1+1e-6) {
		m.reason("the recipe's ammonium is %s of its nitrogen; it is held at %s (up to 15 %% can be asked for)", percent(w.Amount/m.Recipewide()), percent(m.Task.NH4Most))
	}
}

func (m *Mix) explainPH() {
	if off := m.Settled.PH - m.Task.PH; math.Abs(off) > 0.05 {
		what := "acid"
		if off < 0 {
			what = "base"
		}
		has, full := false, false
		for i := range m.Task.Stocks {
			s := &m.Task.Stocks[i]
			if s.Role.String() == what {
				has = true
				full = full || s.AtMost > 0 && m.Amounts[i] > s.AtMost*0.999
			}
		}
		switch {
		case !has:
			m.reason("pH settles at %.2f, not %.2f: there is no %s among the stocks", m.Settled.PH, m.Task.PH, what)
		case full:
			m.reason("pH settles at %.2f, not %.2f: the %s stands at the most you allow", m.Settled.PH, m.Task.PH, what)
		default:
			m.reason("pH settles at %.2f, not %.2f: more %s would take its own nutrient past a limit", m.Settled.PH, m.Task.PH, what)
		}
	}
	if climb := m.Settled.PH - m.AtOnce.PH; climb > 0.15 {
		m.remark("pH reads %.2f at first and climbs to %.2f as carbon dioxide leaves; do not correct it in between", m.AtOnce.PH, m.Settled.PH)
	}
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
		if si := m.Settled.Saturation[phase]; si > 0 {
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

// Rounded is the mixture for a tank of so many litres with each stock's volume
// brought to a whole number of its pump's smallest doses: stocks to the nearest,
// acid and base down, since they can be added to and not taken back. The volumes
// are in mL, grams for a solid.
func (m *Mix) Rounded(litres float64) (*Mix, []float64, error) {
	volumes := make([]float64, len(m.Amounts))
	amounts := make([]float64, len(m.Amounts))
	for i := range volumes {
		volumes[i] = m.Amounts[i] * litres
		if step := m.Task.Stocks[i].Smallest; step > 0 {
			count := volumes[i] / step
			if m.Task.Stocks[i].acidic() {
				count = math.Floor(count + 1e-9)
			} else {
				count = math.Round(count)
			}
			volumes[i] = count * step
		}
		amounts[i] = volumes[i] / litres
	}
	rounded, err := m.With(amounts)
	return rounded, volumes, err
}
