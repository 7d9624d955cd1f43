package blend

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"leat/dosing"
)

// aim is a row of the least squares as the finished mixture leaves it.
type aim struct {
	kind      aimKind
	substance Substance // of aimSubstance
	micro     bool
	name      string
	over      float64               // what is beyond the target, below zero what lacks, as a share
	pull      float64               // how hard that pulls at one mmol (meq of the charge): slope of the squares
	of        func(Content) float64 // what a content adds to it
}

type aimKind int

const (
	aimSubstance aimKind = iota
	aimNitrogen
	aimPH
)

// causes find why a finished mixture misses its aims: the rows that it was sought by.
type causes struct {
	*Mix
	aims []aim
}

func (m *Mix) causes() causes {
	c := causes{Mix: m}
	add := func(a aim, weight, scale, reached, target float64) {
		a.over = (reached - target) / scale
		a.pull = weight * weight * a.over / scale
		c.aims = append(c.aims, a)
	}
	n := m.Recipewide()
	for s, w := range m.Wants {
		if w.Stated && w.Weight > 0 {
			add(aim{substance: Substance(s), micro: Substance(s).Micro(), name: Substance(s).String(), of: func(c Content) float64 { return c[s] }},
				w.Weight, scaleOf(Substance(s), w, n), m.Reached[s], w.Amount)
		}
	}
	if m.N.Stated && m.N.Amount > 0 {
		add(aim{kind: aimNitrogen, name: "N", of: Content.Nitrogen}, m.N.Weight, m.N.Amount, m.Reached.Nitrogen(), m.N.Amount)
	}
	if m.Steered {
		add(aim{kind: aimPH, name: "pH", of: balanceOf}, 1, chargeScale, balanceOf(m.Reached), m.need)
	}
	return c
}

// aimOf is the aim of a substance that the recipe asks for.
func (c causes) aimOf(s Substance) *aim {
	for i := range c.aims {
		if a := &c.aims[i]; a.kind == aimSubstance && a.substance == s {
			return a
		}
	}
	return nil
}

// cause is why there is no more of a stock.
type cause int

const (
	causeAtMost     cause = iota // it is given up to the most that is allowed
	causeAmmonium                // ammonium's share of the nitrogen
	causeNeverAbove              // a limit of the recipe on what comes with it
	causeVolume                  // the liquids fill what they may take of the volume
	causePast                    // it takes something else past its target
)

// obstacle is a cause with what it is about.
type obstacle struct {
	cause cause
	other Substance // of causeNeverAbove; SubstanceCount for all nitrogen
	past  aim       // of causePast
}

// obstacle finds what keeps the mixture from more of a stock: a limit that is
// reached, else the target that pulls hardest the other way. The aim that wants more
// is left out.
func (c causes) obstacle(stock int, wanting *aim) (obstacle, bool) {
	s := &c.Task.Stocks[stock]
	each := s.perUnit()
	if s.AtMost > 0 && c.Amounts[stock] > s.AtMost*0.999 {
		return obstacle{cause: causeAtMost}, true
	}
	if share := c.Task.MaxNH4; each[NH4] > share*each.Nitrogen() && c.Reached[NH4] > 0.999*share*c.Reached.Nitrogen() {
		return obstacle{cause: causeAmmonium}, true
	}
	for o, w := range c.Wants {
		if w.Limited && each[o] > 0 && c.Reached[o] > w.Most*0.999 {
			return obstacle{cause: causeNeverAbove, other: Substance(o)}, true
		}
	}
	if c.N.Limited && each.Nitrogen() > 0 && c.Reached.Nitrogen() > c.N.Most*0.999 {
		return obstacle{cause: causeNeverAbove, other: SubstanceCount}, true
	}
	if c.Task.IsTank && !s.Solid && c.Task.volume(c.Amounts) > 0.999*mostVolume {
		return obstacle{cause: causeVolume}, true
	}
	if a, pull := c.hardest(stock, wanting, 1); pull > 0 {
		return obstacle{cause: causePast, past: a}, true
	}
	return obstacle{}, false
}

// hardest is the aim that a unit more of a stock harms most (sign 1) or serves most
// (sign −1). A stock of micronutrients is given for those alone.
func (c causes) hardest(stock int, but *aim, sign float64) (worst aim, pull float64) {
	each, trace := c.Task.Stocks[stock].perUnit(), c.Task.isTrace(&c.Task.Stocks[stock])
	for _, a := range c.aims {
		if but != nil && a.kind == but.kind && a.substance == but.substance || trace && !a.micro {
			continue
		}
		if p := sign * a.pull * a.of(each); p > pull {
			worst, pull = a, p
		}
	}
	return worst, pull
}

// obstacleText says it of stocks that share it.
func (c causes) obstacleText(stocks []int, o obstacle) string {
	var names []string
	for _, i := range stocks {
		names = append(names, c.Task.Stocks[i].Name)
	}
	switch o.cause {
	case causeAtMost:
		return fmt.Sprintf("%s %s at the most you allow; raise that, or make it stronger", strings.Join(names, " and "), plural(len(names), "stands", "stand"))
	case causeAmmonium:
		return fmt.Sprintf("ammonium is held at %s %% of nitrogen", figure(100*c.Task.MaxNH4))
	case causeNeverAbove:
		if o.other == SubstanceCount {
			return fmt.Sprintf("%s %s N, which is never to pass %s", strings.Join(names, " or "), plural(len(names), "brings", "bring"), milligrams(c.N.Most*14.007))
		}
		return fmt.Sprintf("%s %s %s, which is never to pass %s", strings.Join(names, " or "), plural(len(names), "brings", "bring"), o.other, milligrams(c.Wants[o.other].Most*o.other.Mass()))
	case causeVolume:
		return fmt.Sprintf("the liquids fill the %s of the volume that they may take", percent(mostVolume))
	}
	who := "more of " + strings.Join(names, " or ")
	switch a := &o.past; {
	case a.kind == aimPH && a.over < 0:
		return who + " lowers pH, which is below its target already"
	case a.kind == aimPH:
		return who + " raises pH, which is above its target already"
	case a.kind == aimSubstance && c.Wants[a.substance].Amount == 0:
		return fmt.Sprintf("%s brings more %s, and none is wanted", who, a.name)
	default:
		return fmt.Sprintf("%s brings more %s, which is %s over its target already", who, a.name, percent(a.over))
	}
}

// hindrance says why there is too little of something.
func (c causes) hindrance(a *aim) string {
	var carriers, acids []int
	for i := range c.Task.Stocks {
		switch s := &c.Task.Stocks[i]; {
		case !(a.of(s.Content) > 0):
		case s.acidic():
			acids = append(acids, i)
		default:
			carriers = append(carriers, i)
		}
	}
	if len(carriers) == 0 && len(acids) > 0 {
		return fmt.Sprintf("no stock carries %s but %s, which is given for the pH alone", a.name, c.Task.Stocks[acids[0]].Name)
	}
	if len(carriers) == 0 {
		return "no stock carries " + a.name
	}
	var order []obstacle
	with := map[string][]int{} // stocks by the text of their obstacle without names
	for _, i := range carriers {
		o, ok := c.obstacle(i, a)
		if !ok {
			continue
		}
		key := c.obstacleText(nil, o)
		if with[key] == nil {
			order = append(order, o)
		}
		with[key] = append(with[key], i)
	}
	if len(order) == 0 {
		return "what lacks is too little to be measured out"
	}
	if o := order[0]; len(order) == 1 && len(with[c.obstacleText(nil, o)]) == len(carriers) {
		switch {
		case o.cause == causeNeverAbove && o.other != a.substance && o.other != SubstanceCount:
			return fmt.Sprintf("no stock carries %s without %s, which is never to pass %s", a.name, o.other, milligrams(c.Wants[o.other].Most*o.other.Mass()))
		case o.cause == causePast && o.past.kind == aimSubstance && o.past.over > 0 && c.Wants[o.past.substance].Amount > 0:
			return fmt.Sprintf("no stock carries %s without %s, which is %s over its target already; a stock of another salt of it would free it", a.name, o.past.name, percent(o.past.over))
		}
	}
	var texts []string
	for _, o := range order {
		texts = append(texts, c.obstacleText(with[c.obstacleText(nil, o)], o))
	}
	return strings.Join(texts, "; ")
}

// bringers names who brings a surplus, and for what else it is given.
func (c causes) bringers(a *aim) string {
	type part struct {
		stock  int
		amount float64
	}
	var parts []part
	for i := range c.Task.Stocks {
		if v := a.of(c.Task.Stocks[i].perUnit()) * c.Amounts[i]; v > 0.05*a.of(c.Reached) {
			parts = append(parts, part{i, v})
		}
	}
	sort.SliceStable(parts, func(a, b int) bool { return parts[a].amount > parts[b].amount })
	if len(parts) == 0 {
		return "the " + c.Task.BaseName() + " brings it"
	}
	if first := &c.Task.Stocks[parts[0].stock]; first.acidic() {
		mass := 14.007
		if a.kind == aimSubstance {
			mass = a.substance.Mass()
		}
		against := "alkalinity: " + c.alkaline()
		if first.Role == dosing.RoleBase {
			against = "acidity"
		}
		return fmt.Sprintf("%s brings %s of it against %s; take another %s, or split it over two", first.Name, milligrams(parts[0].amount*mass), against, first.Role)
	}
	var names []string
	for _, p := range parts {
		text := c.Task.Stocks[p.stock].Name
		if need, pull := c.hardest(p.stock, a, -1); pull > 0 {
			text += " (given for its " + strings.TrimSuffix(need.name, " as NO3") + ")"
		}
		names = append(names, text)
	}
	return "from " + strings.Join(names, ", ")
}

// alkaline names what the acid is given against, meq/L, the larger first.
func (c causes) alkaline() string {
	type part struct {
		name string
		meq  float64
	}
	parts := []part{{"the " + c.Task.BaseName(), c.Acid}}
	for i := range c.Task.Stocks {
		if s := &c.Task.Stocks[i]; !s.acidic() {
			parts = append(parts, part{s.Name, balanceOf(s.perUnit()) * c.Amounts[i]})
		}
	}
	sort.SliceStable(parts, func(a, b int) bool { return parts[a].meq > parts[b].meq })
	var texts []string
	for _, p := range parts {
		if p.meq > 0.05 && p.meq > 0.05*parts[0].meq {
			texts = append(texts, fmt.Sprintf("%s meq/L of %s", figure(math.Round(100*p.meq)/100), p.name))
		}
	}
	return strings.Join(texts, ", ")
}
