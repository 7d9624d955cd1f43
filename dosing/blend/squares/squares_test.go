package squares

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// draw fills q with a random problem: n unknowns, some bounded above, some rows.
func draw(r *rand.Rand, q *Problem, n, rows int, feasible bool) {
	q.Size(n)
	m := n + r.IntN(4)
	a := make([]float64, m*n)
	for i := range a {
		a[i] = r.NormFloat64()
	}
	for i := range n {
		for k := range n {
			sum := 0.0
			for j := range m {
				sum += a[j*n+i] * a[j*n+k]
			}
			q.G[i*n+k] = sum
		}
		q.G[i*n+i] += 1e-4
		q.A[i] = 3 * r.NormFloat64()
		if r.IntN(3) == 0 {
			q.Upper[i] = r.Float64()
		}
	}
	for range rows {
		row := make([]float64, n)
		for i := range row {
			row[i] = r.NormFloat64()
		}
		most := r.Float64()
		if !feasible {
			most = r.NormFloat64()
		}
		q.Rows = append(q.Rows, Limit{Row: row, Most: most})
	}
}

func (q *Problem) value() float64 {
	sum := 0.0
	for i := range q.n {
		sum -= q.A[i] * q.X[i]
		for k := range q.n {
			sum += q.X[i] * q.G[i*q.n+k] * q.X[k] / 2
		}
	}
	return sum
}

// kkt is the largest breach of the conditions that mark the minimum: no limit
// passed, no multiplier below zero, and the gradient held by the active limits.
func kkt(q *Problem) float64 {
	worst := 0.0
	for c := range 2*q.n + len(q.Rows) {
		worst = max(worst, -q.slack(c))
	}
	gradient := make([]float64, q.n)
	for i := range q.n {
		gradient[i] = -q.A[i]
		for k := range q.n {
			gradient[i] += q.G[i*q.n+k] * q.X[k]
		}
	}
	unit := make([]float64, q.n)
	for k, c := range q.active {
		worst = max(worst, -q.u[k], math.Abs(q.slack(c)))
		for i := range unit {
			unit[i] = 1
			gradient[i] -= q.u[k] * q.along(c, unit)
			unit[i] = 0
		}
	}
	for _, v := range gradient {
		worst = max(worst, math.Abs(v)/10)
	}
	return worst
}

func TestTheMinimumMeetsItsConditionsInAHundredThousandCases(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 4))
	var q Problem
	worst, contradictions := 0.0, 0
	for k := range 100_000 {
		n := 1 + r.IntN(8)
		draw(r, &q, n, r.IntN(5), k%3 != 0)
		err := q.Solve()
		if errors.Is(err, ErrContradiction) && k%3 == 0 {
			contradictions++
			continue
		}
		if err != nil {
			t.Fatalf("case %d: %v", k, err)
		}
		if breach := kkt(&q); breach > 1e-7 {
			t.Fatalf("case %d, n=%d: conditions broken by %g", k, n, breach)
		} else {
			worst = max(worst, breach)
		}
		// A new right side, from where the last search stood.
		for i := range n {
			q.A[i] += r.NormFloat64()
		}
		if err := q.Again(); err != nil {
			t.Fatalf("case %d again: %v", k, err)
		}
		if breach := kkt(&q); breach > 1e-7 {
			t.Fatalf("case %d again: conditions broken by %g", k, breach)
		}
	}
	if contradictions < 100 {
		t.Errorf("only %d contradictory problems drawn", contradictions)
	}
	t.Logf("worst breach %.1e, %d contradictory", worst, contradictions)
}

// bruteForce tries every set of active limits and keeps the best point that passes
// none: slow, and independent of the method under test.
func bruteForce(q *Problem) (best float64, found bool) {
	n, total := q.n, 2*q.n+len(q.Rows)
	best = math.Inf(1)
	at := *q
	for set := range 1 << total {
		var held []int
		for c := range total {
			if set&(1<<c) != 0 {
				held = append(held, c)
			}
		}
		if len(held) > n {
			continue
		}
		x, ok := onLimits(q, held)
		if !ok {
			continue
		}
		at.X = x
		fits := true
		for c := range total {
			fits = fits && !(at.slack(c) < -1e-9)
		}
		if fits {
			found = true
			best = min(best, at.value())
		}
	}
	return best, found
}

// onLimits solves the equations of Lagrange by Gaussian elimination.
func onLimits(q *Problem, held []int) ([]float64, bool) {
	n, size := q.n, q.n+len(held)
	rows := make([][]float64, size)
	unit := make([]float64, n)
	for i := range size {
		rows[i] = make([]float64, size+1)
	}
	for i := range n {
		copy(rows[i], q.G[i*n:(i+1)*n])
		rows[i][size] = q.A[i]
	}
	for k, c := range held {
		if math.IsInf(q.bound(c), 0) {
			return nil, false
		}
		for i := range n {
			unit[i] = 1
			v := q.along(c, unit)
			unit[i] = 0
			rows[i][n+k], rows[n+k][i] = -v, v
		}
		rows[n+k][size] = q.bound(c)
	}
	for col := range size {
		pivot := col
		for i := col; i < size; i++ {
			if math.Abs(rows[i][col]) > math.Abs(rows[pivot][col]) {
				pivot = i
			}
		}
		if math.Abs(rows[pivot][col]) < 1e-10 {
			return nil, false
		}
		rows[col], rows[pivot] = rows[pivot], rows[col]
		for i := range size {
			if i == col {
				continue
			}
			f := rows[i][col] / rows[col][col]
			for k := col; k <= size; k++ {
				rows[i][k] -= f * rows[col][k]
			}
		}
	}
	x := make([]float64, n)
	for i := range n {
		x[i] = rows[i][size] / rows[i][i]
	}
	return x, true
}

func TestTheMinimumIsTheOneThatTryingEveryCombinationFinds(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 23))
	var q Problem
	none := 0
	for k := range 1500 {
		n := 1 + r.IntN(3)
		draw(r, &q, n, r.IntN(4), k%2 == 0)
		err := q.Solve()
		best, found := bruteForce(&q)
		if !found {
			none++
			if !errors.Is(err, ErrContradiction) {
				t.Fatalf("case %d: %v, though no point fits the limits", k, err)
			}
			continue
		}
		if err != nil {
			t.Fatalf("case %d: %v, though a point fits", k, err)
		}
		if off := math.Abs(q.value() - best); off > 1e-8*(1+math.Abs(best)) {
			t.Fatalf("case %d: %.12g, by trying all %.12g", k, q.value(), best)
		}
	}
	if none < 5 {
		t.Errorf("only %d problems without a solution", none)
	}
}

// along is normal·v of a constraint.
func (q *Problem) along(c int, v []float64) float64 {
	switch {
	case c < q.n:
		return v[c]
	case c < 2*q.n:
		return -v[c-q.n]
	}
	l := &q.Rows[c-2*q.n]
	sum := 0.0
	for i, w := range l.Row {
		sum -= float64(w * v[i])
	}
	return sum / l.norm
}
