package blend

import (
	"math"

	"leat/dosing/blend/squares"
)

// ammoniumCounts is the share of the nitrogen against which a miss of ammonium is weighed: it is
// a form of it, and has a limit of its own. Weighed against its small target, calcium nitrate was
// withheld for the little ammonium that it carries (Ca -30 %), or given for it (Ca +45 %).
const ammoniumCounts = 0.15

// scaleOf is what a row is divided by, so that targets count as shares.
func scaleOf(s Substance, w Want, n float64) float64 {
	switch {
	case s == NH4:
		return max(w.Amount, float64(ammoniumCounts*n), 0.1)
	case w.Amount > 0:
		return w.Amount
	case s.Micro():
		return 1e-3
	}
	return 0.5
}

// traceShare is how much of a macronutrient's target may come with a stock that is
// given for its micronutrients.
const traceShare = 0.10

// isTrace says whether a stock is given for its micronutrients alone: where the first
// of them is met, it brings of nothing else more than a tenth of the target.
func (t *Task) isTrace(s *Stock) bool {
	if s.acidic() {
		return false
	}
	each, meets, n := s.perUnit(), math.Inf(1), t.Recipe.nitrogen()
	for o, w := range t.Recipe.Wants {
		if Substance(o).Micro() && each[o] > 0 && w.Stated && w.Weight > 0 {
			meets = min(meets, scaleOf(Substance(o), w, n)/each[o])
		}
	}
	if math.IsInf(meets, 1) {
		return false
	}
	for o := NO3; o <= Si; o++ {
		if w := t.Recipe.Wants[o]; w.Stated && w.Weight > 0 && each[o]*meets > traceShare*scaleOf(o, w, n)/w.Weight {
			return false
		}
	}
	return !(each.Nitrogen()*meets > traceShare*n)
}

// traces are the micronutrients of a content, and what else there is.
func (c Content) traces() (micro, rest Content) {
	rest = c
	for s := Fe; s <= Mo; s++ {
		micro[s], rest[s] = c[s], 0
	}
	return micro, rest
}

// first writes the fit of the stocks that bring macronutrients, and of acid and base.
// The stocks of micronutrients take part, so that nothing is done for what they will
// bring: with all they hold, or where they would then be spared for what comes with
// them, with their micronutrients alone. What else they hold is then known from the
// round before.
func (b *blender) first(m *Mix) {
	base, share := b.t.around(b.volume)
	b.known, b.traces = base, false
	for i := range b.t.Stocks {
		b.columns[i] = Content{}.Plus(b.t.Stocks[i].perUnit(), share)
		if b.trace[i] && b.apart {
			micro, rest := b.columns[i].traces()
			b.columns[i], b.known = micro, b.known.Plus(rest, m.Amounts[i])
		}
	}
	b.begin()
	n := m.Recipewide()
	for s, w := range m.Wants {
		if w.Stated && w.Weight > 0 {
			b.row(w.Weight/scaleOf(Substance(s), w, n), func(c Content) float64 { return c[s] }, w.Amount)
		}
	}
	if m.N.Stated && m.N.Amount > 0 {
		b.row(m.N.Weight/m.N.Amount, Content.Nitrogen, m.N.Amount)
	}
	if b.ph {
		b.row(1/chargeScale, balanceOf, b.balance)
	}
	b.neverAbove(m)
	if b.most > 0 {
		row := make([]float64, b.f.cols)
		for i := range row {
			row[i] = b.columns[i].worth(&b.worth)
		}
		b.f.limits = append(b.f.limits, limited(row, b.most))
	}
	if b.t.within > 0 && b.last {
		b.hem(m)
	}
	b.bounds(func(int) bool { return true })
}

// second writes the fit of the stocks of micronutrients, beside what the others bring.
func (b *blender) second(m *Mix) {
	base, share := b.t.around(b.t.volume(m.Amounts))
	b.known, b.traces = base, true
	for i := range b.t.Stocks {
		b.columns[i] = Content{}.Plus(b.t.Stocks[i].perUnit(), share)
		if !b.trace[i] {
			b.known = b.known.Plus(b.columns[i], m.Amounts[i])
			b.columns[i] = Content{}
		}
	}
	b.begin()
	for s := Fe; s <= Mo; s++ {
		if w := m.Wants[s]; w.Stated && w.Weight > 0 {
			b.row(w.Weight/microWeight/scaleOf(s, w, 0), func(c Content) float64 { return c[s] }, w.Amount)
		}
	}
	b.neverAbove(m)
	b.bounds(func(i int) bool { return b.trace[i] })
	copy(b.f.like, b.foreseen) // where these rows leave a choice, the first fit has made it
}

func (b *blender) begin() {
	f := &b.f
	f.cols, f.rows = len(b.t.Stocks), 0
	f.a, f.b, f.limits, f.upper, f.like = f.a[:0], f.b[:0], f.limits[:0], f.upper[:0], f.like[:0]
}

func (b *blender) row(weight float64, of func(c Content) float64, target float64) {
	for i := range b.columns {
		b.f.a = append(b.f.a, float64(weight*of(b.columns[i])))
	}
	b.f.b = append(b.f.b, float64(weight*(target-of(b.known))))
	b.f.rows++
}

// neverAbove writes what the recipe never lets pass, and ammonium's share.
func (b *blender) neverAbove(m *Mix) {
	for s, w := range m.Wants {
		if w.Limited {
			b.limit(w.Most-b.known[s], func(c Content) float64 { return c[s] })
		}
	}
	if m.N.Limited {
		b.limit(m.N.Most-b.known.Nitrogen(), Content.Nitrogen)
	}
	// NH4 − share·(NO3 + NH4) ≤ 0
	share := b.t.MaxNH4
	ammonium := func(c Content) float64 { return c[NH4] - float64(share*c.Nitrogen()) }
	b.limit(-ammonium(b.known), ammonium)
	if b.t.IsTank || b.tight {
		b.leaveRoom(m)
	}
}

// leaveRoom keeps the liquids to the volume that they may take; what the other fit
// gives of it is known.
func (b *blender) leaveRoom(m *Mix) {
	row, most := make([]float64, len(b.columns)), 1000*mostVolume
	for i := range row {
		switch {
		case b.t.Stocks[i].Solid:
		case b.trace[i] == b.traces:
			row[i] = 1
		default:
			most -= m.Amounts[i]
		}
	}
	b.f.limits = append(b.f.limits, limited(row, max(most, 0)))
}

// chargeScale makes 0.1 meq/L, about 0.3 pH, count as a nutrient that misses all
// of its target.
const chargeScale = 0.1

// phosphateNear is the mean charge of phosphate near pH 5.8, taken out of the
// charge row so that it hardly depends on how much phosphate there is.
const phosphateNear = 1.03

func balanceOf(c Content) float64 { return c.StrongCharge() - float64(phosphateNear*c[P]) }

func (b *blender) limit(most float64, of func(c Content) float64) {
	row := make([]float64, b.f.cols)
	for i := range row {
		row[i] = of(b.columns[i])
	}
	// Where the water alone passes it already, nothing more may come.
	b.f.limits = append(b.f.limits, squares.Limit{Row: row, Most: max(most, 0)})
}

// hem keeps every macronutrient within the share that was asked.
func (b *blender) hem(m *Mix) {
	side := func(sign, most float64, of func(c Content) float64) {
		row := make([]float64, b.f.cols)
		for i := range row {
			row[i] = sign * of(b.columns[i])
		}
		b.f.limits = append(b.f.limits, squares.Limit{Row: row, Most: most - float64(sign*of(b.known))})
	}
	for s := NO3; s <= S; s++ {
		w, one := m.Wants[s], func(c Content) float64 { return c[s] }
		if w.Stated && w.Weight > 0 && w.Amount > 0 {
			side(1, w.Amount*(1+b.t.within), one)
			if s != NH4 {
				side(-1, -w.Amount*(1-b.t.within), one)
			}
		}
	}
	if m.N.Stated && m.N.Amount > 0 {
		side(1, m.N.Amount*(1+b.t.within), Content.Nitrogen)
		side(-1, -m.N.Amount*(1-b.t.within), Content.Nitrogen)
	}
}

// bounds sets what each stock may give, and the shares to stay near: the former
// ones where every stock has one, else an equal part in the work.
func (b *blender) bounds(gives func(i int) bool) {
	f, stated := &b.f, true
	for i := range b.t.Stocks {
		stated = stated && (b.t.Stocks[i].acidic() || b.t.Stocks[i].Share > 0)
	}
	for i := range b.t.Stocks {
		s := &b.t.Stocks[i]
		upper := math.Inf(1)
		if s.AtMost > 0 {
			upper = s.AtMost
		}
		like := 0.0
		if !b.usable[i] || !gives(i) {
			upper = 0
		} else if s.acidic() {
			like = 0 // no more acid than is needed
		} else if stated {
			like = s.Share
		} else {
			sum := 0.0
			for r := range f.rows {
				v := f.a[r*f.cols+i]
				sum += float64(v * v)
			}
			if sum > 0 {
				like = 1 / math.Sqrt(sum)
			}
		}
		f.upper, f.like = append(f.upper, upper), append(f.like, like)
	}
}

// nitrogen is what the recipe asks for, mmol/L.
func (r *Recipe) nitrogen() float64 {
	if r.Nitrogen.Stated {
		return r.Nitrogen.Amount
	}
	return r.Wants[NO3].Amount + r.Wants[NH4].Amount
}

// Recipewide is the nitrogen that the recipe asks for, mmol/L.
func (m *Mix) Recipewide() float64 {
	if m.N.Stated {
		return m.N.Amount
	}
	return m.Wants[NO3].Amount + m.Wants[NH4].Amount
}
