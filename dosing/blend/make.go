package blend

import (
	"fmt"
	"math"
	"sort"

	"leat/dosing"
)

// StockTank is one container to be made.
type StockTank struct {
	Name     string
	Litres   float64
	Portions []Portion // grams are per litre of stock
	Findings []Finding
	Steps    []string
	Coldest  float64 // °C below which something falls out; NaN where not known
	Load     float64 // of what dissolves
}

// Refused says whether it must not be made.
func (t *StockTank) Refused() bool {
	for _, f := range t.Findings {
		if f.Refused {
			return true
		}
	}
	return false
}

// Liquid is an acid or base that goes into the solution by itself.
type Liquid struct {
	Name     string
	PerTonne float64 // mL in 1000 L of solution
}

// Cautions belong to every mixing instruction; they are printed with it.
var Cautions = []string{
	"Gloves and goggles at every container; have water to rinse eyes within reach.",
	"Acid goes into water, never water into acid. Acid and base stand apart, and acid never meets a chlorine cleaner: it gives a poisonous gas.",
	"Silicate goes into the water first and alone, stirred in before anything else.",
	"Concentrates meet only in the full tank: never pour one into another, and flush the line between them.",
	"Labels and the maker's safety data sheet come first; codes for storing and discharging chemicals are local: follow yours.",
}

// Design spreads the salts of a mixture, taken by the gram, over stock tanks of so
// many litres, each factor times as strong as the solution. Tank A holds calcium,
// B sulfate and phosphate, C silicate alone, D iron that no chelate holds; salts that meet anything go where
// there is more room.
func Design(m *Mix, factor, litres, tempC float64) ([]StockTank, error) {
	if !(factor >= 1 && factor <= 1000) {
		return nil, &Refusal{fmt.Sprintf("a factor of %s is no stock", figure(factor)), "50 to 200 is usual"}
	}
	if !(litres > 0 && litres <= 100_000) {
		return nil, &Refusal{fmt.Sprintf("a stock tank of %s L cannot be", figure(litres)), "say how many litres it holds"}
	}
	tanks := []StockTank{{Name: "A"}, {Name: "B"}, {Name: "C"}, {Name: "D"}}
	var loose []Portion
	for i := range m.Task.Stocks {
		s := &m.Task.Stocks[i]
		if !s.Solid || !(m.Amounts[i]*factor > 0) {
			continue
		}
		p := s.Made[0]
		p.Grams = m.Amounts[i] * factor
		if p.bareIron() {
			tanks[3].Portions = append(tanks[3].Portions, p)
			continue
		}
		switch p.Group {
		case dosing.GroupCalcium, dosing.GroupChelate:
			tanks[0].Portions = append(tanks[0].Portions, p)
		case dosing.GroupSulfate:
			tanks[1].Portions = append(tanks[1].Portions, p)
		case dosing.GroupSilicate:
			tanks[2].Portions = append(tanks[2].Portions, p)
		default:
			loose = append(loose, p)
		}
	}
	sort.SliceStable(loose, func(a, b int) bool { return Load(loose[a:a+1], tempC) > Load(loose[b:b+1], tempC) })
	for _, p := range loose {
		to := 0
		if p.micro() || Load(tanks[1].Portions, tempC) < Load(tanks[0].Portions, tempC) {
			to = 1
		}
		tanks[to].Portions = append(tanks[to].Portions, p)
	}
	var made []StockTank
	for _, t := range tanks {
		if len(t.Portions) > 0 {
			t.Litres = litres
			t.finish(tempC)
			made = append(made, t)
		}
	}
	return made, nil
}

// LargestFactor is the strongest that tanks can be made, as a multiple of what they
// are, at eight tenths of what dissolves.
func LargestFactor(tanks []StockTank) float64 {
	most := math.Inf(1)
	for _, t := range tanks {
		if t.Load > 0 {
			most = min(most, loadGood/t.Load)
		}
	}
	return most
}

// Make is how stocks that are given are made, so many litres of each. Acids and
// bases are bought, not made, and left out.
func Make(stocks []Stock, litres, tempC float64) ([]StockTank, error) {
	if !(litres > 0 && litres <= 100_000) {
		return nil, &Refusal{fmt.Sprintf("a stock tank of %s L cannot be", figure(litres)), "say how many litres it holds"}
	}
	var made []StockTank
	for i := range stocks {
		if len(stocks[i].Made) == 0 || stocks[i].Solid {
			continue
		}
		t := StockTank{Name: stocks[i].Name, Litres: litres, Portions: append([]Portion{}, stocks[i].Made...)}
		t.finish(tempC)
		made = append(made, t)
	}
	if len(made) == 0 {
		return nil, &Refusal{"none of the stocks is made from salts", "a stock that is given by its label is bought as it is"}
	}
	return made, nil
}

// Liquids are the acid and base of a mixture.
func Liquids(m *Mix) (all []Liquid) {
	for i := range m.Task.Stocks {
		if s := &m.Task.Stocks[i]; !s.Solid && m.Amounts[i] > 0 {
			all = append(all, Liquid{s.Name, 1000 * m.Amounts[i]})
		}
	}
	return all
}

// bareIron says whether it holds iron without a chelate.
func (p *Portion) bareIron() bool { return p.Each[Fe] > 0 && p.Group != dosing.GroupChelate }

func (p *Portion) micro() bool {
	for s := NO3; s <= Si; s++ {
		if p.Each[s] > 0 {
			return false
		}
	}
	return true
}

// finish judges a tank and writes out how it is made.
func (t *StockTank) finish(tempC float64) {
	sort.SliceStable(t.Portions, func(a, b int) bool { return t.Portions[a].before(&t.Portions[b]) })
	t.Findings = Judge(t.Portions, tempC)
	t.Load = Load(t.Portions, tempC)
	t.Coldest = t.coldest()
	step := func(format string, args ...any) { t.Steps = append(t.Steps, fmt.Sprintf(format, args...)) }
	step("Fill %s L of water of 25 to 40 °C into the tank (nitrates cool it as they dissolve); stir.", figure(0.7*t.Litres))
	for i := range t.Portions {
		p := &t.Portions[i]
		how := "until it is clear"
		switch {
		case p.Group == dosing.GroupSilicate:
			how = "slowly into moving water, alone"
		case p.Group == dosing.GroupChelate:
			how = "last, once it is below 30 °C; keep it from light"
		case p.micro():
			how = "dissolved in a jar of warm water first"
		}
		step("%s of %s, %s.", mass(p.Grams*t.Litres), p.Name, how)
	}
	step("Fill up to %s L, stir, label with date and strength, close against light.", figure(t.Litres))
	if !math.IsNaN(t.Coldest) {
		step("Store at %s °C or warmer: below that something may crystallise.", figure(t.Coldest))
	}
}

// before orders dissolving: silicate, phosphates, then the least soluble first, the
// micronutrients, and chelates last.
func (p *Portion) before(o *Portion) bool {
	rank := func(p *Portion) int {
		switch {
		case p.Group == dosing.GroupSilicate:
			return 0
		case p.Group == dosing.GroupChelate:
			return 4
		case p.micro():
			return 3
		case p.Each[P] > 0:
			return 1
		}
		return 2
	}
	if a, b := rank(p), rank(o); a != b {
		return a < b
	}
	dissolves := func(p *Portion) float64 {
		if p.Salt == nil || p.Salt.Solubility == 0 {
			return math.Inf(1)
		}
		return p.Salt.Solubility
	}
	if a, b := dissolves(p), dissolves(o); a != b {
		return a < b
	}
	return p.Name < o.Name
}

// coldest is the lowest whole degree at which everything stays dissolved, at least
// 5 °C.
func (t *StockTank) coldest() float64 {
	found := math.NaN()
	for temp := 20.0; temp >= 5; temp-- {
		if Load(t.Portions, temp) > loadMost {
			break
		}
		found = temp
	}
	return found
}

// mass prints grams as they are weighed out.
func mass(grams float64) string {
	switch {
	case grams >= 1000:
		return fmt.Sprintf("%.3f kg", grams/1000)
	case grams >= 10:
		return fmt.Sprintf("%.1f g", grams)
	}
	return fmt.Sprintf("%.3g g", grams)
}
