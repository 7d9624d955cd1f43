package blend

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"leat/dosing"
	"leat/dosing/chem"
)

// system is rows of A·x = b, for the search that is written apart from the one that
// is judged.
type system struct {
	a [][]float64
	b []float64
}

func (s *system) add(row []float64, b float64) { s.a, s.b = append(s.a, row), append(s.b, b) }

// norm is the length of what is left of the rows.
func (s *system) norm(x []float64) float64 {
	sum := 0.0
	for k, row := range s.a {
		left := -s.b[k]
		for i, v := range row {
			left += v * x[i]
		}
		sum += left * left
	}
	return math.Sqrt(sum)
}

// free solves for the columns that are let in, the others none: normal equations by
// elimination with pivots.
func (s *system) free(in []bool) []float64 {
	var at []int
	for i, ok := range in {
		if ok {
			at = append(at, i)
		}
	}
	n := len(at)
	m := make([][]float64, n)
	for p := range n {
		m[p] = make([]float64, n+1)
		for k, row := range s.a {
			for q := range n {
				m[p][q] += row[at[p]] * row[at[q]]
			}
			m[p][n] += row[at[p]] * s.b[k]
		}
		m[p][p] *= 1 + 1e-12
	}
	for c := range n {
		best := c
		for p := c; p < n; p++ {
			if math.Abs(m[p][c]) > math.Abs(m[best][c]) {
				best = p
			}
		}
		m[c], m[best] = m[best], m[c]
		for p := range n {
			if p == c || m[c][c] == 0 {
				continue
			}
			f := m[p][c] / m[c][c]
			for q := c; q <= n; q++ {
				m[p][q] -= f * m[c][q]
			}
		}
	}
	x := make([]float64, len(in))
	for p := range n {
		if m[p][p] != 0 {
			x[at[p]] = m[p][n] / m[p][p]
		}
	}
	return x
}

// least is the bounded minimum, x ≥ 0, by letting in one column after another where
// the slope is steepest (Lawson & Hanson, Solving Least Squares Problems, 1974,
// chapter 23).
func (s *system) least(n int) []float64 {
	x, in := make([]float64, n), make([]bool, n)
	for range 20 * n {
		best, steepest := -1, 1e-10
		for i := range n {
			slope := 0.0
			for k, row := range s.a {
				left := s.b[k]
				for c, v := range row {
					left -= v * x[c]
				}
				slope += row[i] * left
			}
			if !in[i] && slope > steepest {
				best, steepest = i, slope
			}
		}
		if best < 0 {
			break
		}
		in[best] = true
		for {
			z := s.free(in)
			t, out := 1.0, -1
			for i := range n {
				if in[i] && z[i] <= 0 && x[i]-z[i] > 0 {
					if r := x[i] / (x[i] - z[i]); r < t {
						t, out = r, i
					}
				}
			}
			for i := range n {
				x[i] += t * (z[i] - x[i])
			}
			if out < 0 {
				break
			}
			x[out], in[out] = 0, false
		}
	}
	return x
}

// question is what the least squares was asked in the end: what the stocks of
// macronutrients, acid and base hold, beside the water that is left and the traces.
func question(t *testing.T, m *Mix) (s system, mine []float64) {
	t.Helper()
	known, share := m.Task.around(m.Task.volume(m.Amounts))
	var columns []Content
	reagent := dosing.RoleAcid
	for i := range m.Task.Stocks {
		if m.Task.Stocks[i].Role == dosing.RoleBase && m.Amounts[i] > 0 {
			reagent = dosing.RoleBase
		}
	}
	for i := range m.Task.Stocks {
		stock := &m.Task.Stocks[i]
		each := Content{}.Plus(stock.perUnit(), share)
		switch {
		case stock.Role == dosing.RoleStock && each.onlyTraces():
			known = known.Plus(each, m.Amounts[i])
		case stock.Role == dosing.RoleStock && m.Task.serves(stock), m.Steered && stock.Role == reagent:
			columns, mine = append(columns, each), append(mine, m.Amounts[i])
		}
	}
	row := func(weight float64, of func(Content) float64, target float64) {
		line := make([]float64, len(columns))
		for i := range line {
			line[i] = weight * of(columns[i])
		}
		s.add(line, weight*(target-of(known)))
	}
	n := m.Recipewide()
	for o := NO3; o <= Si; o++ {
		if w := m.Wants[o]; w.Stated && w.Weight > 0 {
			row(w.Weight/scaleOf(o, w, n), func(c Content) float64 { return c[o] }, w.Amount)
		}
	}
	if m.Steered {
		var solver chem.Solver
		var r chem.Result
		ions := m.Reached.Ions()
		if err := solver.Solve(&ions, chem.Conditions{TempC: m.Task.TempC, Open: true, CO2Atm: m.Task.CO2, FixedPH: m.Task.PH}, &r); err != nil {
			t.Fatal(err)
		}
		row(10, balanceOf, r.StrongCharge-phosphateNear*m.Reached[P])
	}
	ammonium := func(c Content) float64 { return c[NH4] - m.Task.MaxNH4*c.Nitrogen() }
	open := s
	if x := open.least(len(columns)); passes(known, columns, x, ammonium) {
		row(1e4, ammonium, max(0, ammonium(known))) // held at its limit
	}
	return s, mine
}

func passes(known Content, columns []Content, x []float64, of func(Content) float64) bool {
	c := known
	for i := range columns {
		c = c.Plus(columns[i], x[i])
	}
	return of(c) > 1e-6
}

func (c Content) onlyTraces() bool {
	_, rest := c.traces()
	return rest == Content{}
}

// Source of the yardstick: a bounded least-squares search of another kind, above.
func TestNoMixtureIsFurtherFromItsTargetsThanAnIndependentSearchFinds(t *testing.T) {
	r := rand.New(rand.NewPCG(39, 2))
	judged, worst := 0, 0.0
	for k := range 1000 {
		m, err := solve(drawnTask(t, r))
		var refusal *Refusal
		if errors.As(err, &refusal) {
			continue
		}
		if err != nil {
			t.Fatalf("case %d: %v", k, err)
		}
		judged++
		s, mine := question(t, m)
		ours, best := s.norm(mine), s.norm(s.least(len(mine)))
		worst = max(worst, ours-best)
		if ours > best+0.001 {
			t.Errorf("case %d: %.5f is left, the independent search leaves %.5f", k, ours, best)
		}
	}
	t.Logf("%d mixtures; what is left is more than the independent search leaves by %.5f at worst", judged, worst)
}
