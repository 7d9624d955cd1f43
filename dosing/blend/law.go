package blend

import (
	"fmt"
	"math"
	"sort"
	"strings"
)

// What holds in every blend. A stock is a concentrate: where the liquids take more
// than a tenth of the volume, some of them are little but water. A micronutrient with
// a stock of its own has no reason to miss its target; a fifth is what an analysis
// and a pump together may be off.
const (
	mostVolume = 0.10
	microMiss  = 0.20
	rounding   = 1e-9
)

// TooWeak is the refusal of a blend that stronger stocks would make.
type TooWeak struct {
	Refusal Refusal
	Stocks  []string
	Times   float64 // as strong as they are, they would do
}

func (w *TooWeak) Error() string { return w.Refusal.Error() }

// Unwrap is the refusal.
func (w *TooWeak) Unwrap() error { return &w.Refusal }

// lawful refuses a blend from source water that breaks the limits. A tank is
// corrected as far as adding goes.
func (m *Mix) lawful() error {
	if m.Task.IsTank {
		return nil
	}
	if volume := m.Task.volume(m.Amounts); volume > mostVolume*(1+rounding) {
		return m.crowded(volume)
	}
	for s := Fe; s <= Mo; s++ {
		if i := m.ownStock(s); i >= 0 && math.Abs(m.Off(s)) > microMiss {
			if err := m.missed(s, i); err != nil {
				return err
			}
		}
	}
	return nil
}

// aimedVolume leaves the stronger stocks some room: less of them displaces less
// water, whose alkalinity then takes more acid.
const aimedVolume = 0.8 * mostVolume

// crowded names the stocks that are too weak, largest first: as many as leave the
// others half of the room.
func (m *Mix) crowded(volume float64) error {
	var order []int
	for i := range m.Task.Stocks {
		if !m.Task.Stocks[i].Solid && m.Amounts[i] > 0 {
			order = append(order, i)
		}
	}
	sort.SliceStable(order, func(a, b int) bool { return m.Amounts[order[a]] > m.Amounts[order[b]] })
	weak, names := 0.0, []string(nil)
	for _, i := range order {
		if volume-weak <= aimedVolume/2 {
			break
		}
		weak += m.Amounts[i] / 1000
		names = append(names, m.Task.Stocks[i].Name)
	}
	times := weak / (aimedVolume - (volume - weak))
	listed := strings.Join(names, ", ")
	return &TooWeak{Stocks: names, Times: times, Refusal: Refusal{
		fmt.Sprintf("the stocks would take %s of the volume, %s alone %s, and at most %s may be: they are too weak", percent(volume), listed, percent(weak), percent(mostVolume)),
		fmt.Sprintf("make %s %s times as strong", listed, figure(times))}}
}

// ownStock is a stock that is given for one micronutrient alone, -1 for none.
func (m *Mix) ownStock(s Substance) int {
	if w := m.Wants[s]; !w.Stated || w.Weight == 0 || w.Amount == 0 {
		return -1
	}
	for i := range m.Task.Stocks {
		stock := &m.Task.Stocks[i]
		alone := stock.Content[s] > 0 && m.Task.isTrace(stock)
		for o := Fe; o <= Mo; o++ {
			alone = alone && (o == s || stock.Content[o] == 0 || !m.Wants[o].Stated)
		}
		if alone {
			return i
		}
	}
	return -1
}

// missed is the refusal of a micronutrient that its own stock does not bring to its
// target; nil where the water is to blame, whose surplus no stock takes away.
func (m *Mix) missed(s Substance, own int) error {
	stock, w, c := &m.Task.Stocks[own], m.Wants[s], m.causes()
	where := fmt.Sprintf("%s would come to %s, target %s", s, m.Reached.shown(s), milligrams(w.Amount*s.Mass()))
	if m.Off(s) < 0 {
		given := stock.perUnit()[s] * m.Amounts[own]
		if times := (w.Amount - (m.Reached[s] - given)) / given; stock.AtMost > 0 && m.Amounts[own] > stock.AtMost*0.999 {
			return &TooWeak{Stocks: []string{stock.Name}, Times: times, Refusal: Refusal{
				fmt.Sprintf("%s: %s reaches the most you allow", where, stock.Name),
				fmt.Sprintf("make it %s times as strong, or allow %s mL/L of it", figure(times), figure(m.Amounts[own]*times))}}
		}
		return &Refusal{where + ": " + c.hindrance(c.aimOf(s)), "raise that limit, or make " + stock.Name + " of another salt"}
	}
	if base, _ := m.Task.around(m.Task.volume(m.Amounts)); base[s] > w.Amount*(1+microMiss/2) {
		return nil
	}
	return &Refusal{where + ": it comes " + c.bringers(c.aimOf(s)), "make those with less " + s.String() + ": it has a stock of its own"}
}
