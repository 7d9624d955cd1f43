package blend

import (
	"fmt"
	"math"
	"math/bits"
	"strings"
)

// mostTried is how many pumps are rounded jointly, each down or up: a million
// mixtures of one flip each. Of more, those whose dose matters least go to the
// nearest.
const mostTried = 16

// rounder brings an exact mixture to whole smallest doses for so many litres.
type rounder struct {
	*Mix
	litres float64
}

// Rounded is the mixture for a tank of so many litres with each pump's volume brought
// to a whole number of its smallest doses: of all ways to round stocks down or up,
// the one that stays nearest to the targets; then acid and base for what that came to,
// rounded down, since they can be added to and not taken back. The volumes are in mL,
// grams for a solid. The reasons stay those of the exact mixture; what rounding alone
// does is Rounding.
func (m *Mix) Rounded(litres float64) (*Mix, []float64, error) {
	r := rounder{m, litres}
	amounts := r.given(r.stocks())
	if err := r.reagents(amounts); err != nil {
		return nil, nil, err
	}
	other := *m
	other.Amounts, other.Reached, other.Remarks = amounts, m.Task.reached(amounts), nil
	b := &blender{t: &other.Task}
	if err := b.predict(&other); err != nil {
		return nil, nil, err
	}
	other.note()
	volumes := make([]float64, len(amounts))
	for i := range volumes {
		volumes[i] = amounts[i] * litres
	}
	other.Rounding = r.words(&other, volumes)
	return &other, volumes, nil
}

// given are the exact amounts with those of stocks that have a smallest dose at so many of it.
func (r rounder) given(counts []float64) []float64 {
	amounts := append([]float64{}, r.Amounts...)
	for i := range counts {
		if step := r.Task.Stocks[i].Smallest; step > 0 && !r.Task.Stocks[i].acidic() {
			amounts[i] = counts[i] * step / r.litres
		}
	}
	return amounts
}

// stocks are the counts of smallest doses that come nearest together. It tries
// every choice in an order in which each differs from the last in one pump.
func (r rounder) stocks() []float64 {
	counts := make([]float64, len(r.Amounts))
	var tried []int
	for i := range r.Amounts {
		step := r.Task.Stocks[i].Smallest
		if !(step > 0) || r.Task.Stocks[i].acidic() {
			continue
		}
		exact := r.Amounts[i] * r.litres / step
		counts[i] = math.Round(exact)
		if math.Abs(exact-counts[i]) > 1e-9 && len(tried) < mostTried {
			tried = append(tried, i)
			counts[i] = math.Floor(exact)
		}
	}
	amounts := r.given(counts)
	var given Content
	for i := range amounts {
		given = given.Plus(r.Task.Stocks[i].perUnit(), amounts[i])
	}
	volume, up := r.Task.volume(amounts), make([]bool, len(r.Amounts))
	left := func() float64 {
		base, share := r.Task.around(volume)
		held := base.Plus(given, share)
		return r.missing(&held)
	}
	best, least := append([]float64{}, counts...), left()
	for k := 1; k < 1<<len(tried); k++ {
		i, step := tried[bits.TrailingZeros(uint(k))], 1.0
		if up[i] {
			step = -1
		}
		up[i] = !up[i]
		counts[i] += step
		s := &r.Task.Stocks[i]
		given = given.Plus(s.perUnit(), step*s.Smallest/r.litres)
		if !s.Solid {
			volume += step * s.Smallest / r.litres / 1000
		}
		if l := left(); l < least {
			least = l
			copy(best, counts)
		}
	}
	return best
}

// missing is the sum of the squares of what a content misses, each as a share of its
// target, micronutrients like the others.
func (m *Mix) missing(c *Content) float64 {
	sum := 0.0
	for s := range m.Wants {
		if w := &m.Wants[s]; w.Stated && w.Weight > 0 {
			left := (c[s] - w.Amount) / scaleOf(Substance(s), *w, m.Recipewide())
			sum += float64(left * left)
		}
	}
	if m.N.Stated && m.N.Amount > 0 {
		left := (c.Nitrogen() - m.N.Amount) / m.N.Amount
		sum += float64(left * left)
	}
	return sum
}

// reagents gives acid or base for what the rounded stocks came to, one after
// the other, each rounded down and the next for what is then left.
func (r rounder) reagents(amounts []float64) error {
	b := &blender{t: &r.Task}
	for i := range amounts {
		s := &r.Task.Stocks[i]
		if !s.acidic() || !(r.Amounts[i] > 0) {
			continue
		}
		reached := r.Task.reached(amounts)
		need, err := b.needed(reached)
		if err != nil {
			return err
		}
		v := amounts[i] + (need-r.short()-balanceOf(reached))/balanceOf(s.perUnit())
		if s.AtMost > 0 {
			v = min(v, s.AtMost)
		}
		if v = max(v, 0); s.Smallest > 0 {
			v = math.Floor(v*r.litres/s.Smallest+1e-9) * s.Smallest / r.litres
		}
		amounts[i] = v
	}
	return nil
}

// short is the charge by which the exact mixture itself misses its pH, meq/L: where
// its nutrient keeps the acid back, rounding is no reason for more.
func (m *Mix) short() float64 { return m.need - balanceOf(m.Reached) }

// words say what rounding alone does, and what to add by hand; empty where
// nothing that is noticed.
func (r rounder) words(made *Mix, volumes []float64) string {
	var off, add []string
	for s := range r.Wants {
		was, now := r.Off(Substance(s)), made.Off(Substance(s))
		if r.Wants[s].Amount > 0 && math.Abs(now) > math.Abs(was) && math.Abs(now-was) > noticed {
			off = append(off, fmt.Sprintf("%s at %+.1f %%", Substance(s), 100*now))
		}
	}
	if math.Abs(made.Settled.PH-r.Settled.PH) > noticedPH {
		off = append(off, fmt.Sprintf("pH at %.2f", made.Settled.PH))
	}
	if off == nil {
		return ""
	}
	for i := range volumes {
		s := &r.Task.Stocks[i]
		if more := r.Amounts[i]*r.litres - volumes[i]; s.Smallest > 0 && more > 0.01*s.Smallest {
			add = append(add, fmt.Sprintf("%s mL of %s", figure(more), s.Name))
		}
	}
	text := "whole smallest doses leave " + strings.Join(off, ", ")
	if add != nil {
		text += "; by hand: " + strings.Join(add, ", ")
	}
	return text
}
