// Package squares solves bounded least squares: the one solver that mixtures, corrections
// and what comes nearest to them share.
package squares

import (
	"errors"
	"math"
)

// Problem minimises ½ xᵀGx − aᵀx with G positive definite, each x within its
// bounds, and any number of rows row·x ≤ limit. It is the dual active-set method
// of Goldfarb and Idnani (Mathematical Programming 27 (1983) 1): from the free
// minimum it takes up one broken limit after another, each time exactly at the
// minimum of those it holds. It ends after finitely many steps, or with the proof
// that the limits contradict one another. The same input gives the same bytes.
//
// The zero value is ready; its memory is reused from one problem to the next. Not
// for concurrent use.
type Problem struct {
	n     int
	G     []float64 // n×n, row by row
	A     []float64
	Upper []float64 // x ≤ Upper; infinite for none. x ≥ 0 always
	Rows  []Limit

	X          []float64 // the minimum, once it is found
	chol       []float64 // G = L Lᵀ
	j, r       []float64 // n×n: J = L⁻ᵀQ, R upper triangular, as in the paper
	active     []int     // constraints held, by number
	u          []float64 // their multipliers, ≥ 0
	d, z, step []float64
}

// Limit is Row·x ≤ Most.
type Limit struct {
	Row  []float64
	Most float64
	norm float64
}

// ErrContradiction says that no x satisfies all limits.
var ErrContradiction = errors.New("the limits contradict one another")

// errStuck says that rounding defeated the search; it has not been seen.
var errStuck = errors.New("the least-squares search did not end")

// Size prepares for n unknowns, without bounds above and without rows.
func (q *Problem) Size(n int) {
	if cap(q.G) < n*n {
		q.G, q.chol, q.j, q.r = make([]float64, n*n), make([]float64, n*n), make([]float64, n*n), make([]float64, n*n)
		q.A, q.Upper, q.X = make([]float64, n), make([]float64, n), make([]float64, n)
		q.d, q.z, q.step = make([]float64, n), make([]float64, n), make([]float64, n+1)
		q.u, q.active = make([]float64, 0, n+1), make([]int, 0, n+1)
	}
	q.n = n
	q.G, q.chol, q.j, q.r = q.G[:n*n], q.chol[:n*n], q.j[:n*n], q.r[:n*n]
	q.A, q.Upper, q.X, q.d, q.z, q.step = q.A[:n], q.Upper[:n], q.X[:n], q.d[:n], q.z[:n], q.step[:n+1]
	for i := range q.G {
		q.G[i] = 0
	}
	for i := range q.A {
		q.A[i], q.Upper[i] = 0, math.Inf(1)
	}
	q.Rows = q.Rows[:0]
	q.active, q.u = q.active[:0], q.u[:0]
}

// constraint numbers: 0 … n−1 are x ≥ 0, n … 2n−1 x ≤ upper, then the rows. Each
// reads normal·x ≥ bound with a normal of unit length.

// slack is normal·x − bound of a constraint: below zero it is broken.
func (q *Problem) slack(c int) float64 {
	switch {
	case c < q.n:
		return q.X[c]
	case c < 2*q.n:
		return q.Upper[c-q.n] - q.X[c-q.n]
	}
	l := &q.Rows[c-2*q.n]
	sum := l.Most
	for i, v := range l.Row {
		sum -= float64(v * q.X[i])
	}
	return sum / l.norm
}

func (q *Problem) bound(c int) float64 {
	switch {
	case c < q.n:
		return 0
	case c < 2*q.n:
		return -q.Upper[c-q.n]
	}
	return -q.Rows[c-2*q.n].Most / q.Rows[c-2*q.n].norm
}

// project sets d = Jᵀ·normal.
func (q *Problem) project(c int) {
	n := q.n
	if c < 2*n {
		i, sign := c, 1.0
		if c >= n {
			i, sign = c-n, -1
		}
		for k := range n {
			q.d[k] = sign * q.j[i*n+k]
		}
		return
	}
	l := &q.Rows[c-2*n]
	for k := range n {
		q.d[k] = 0
	}
	for i, v := range l.Row {
		v /= -l.norm
		for k := range n {
			q.d[k] += float64(v * q.j[i*n+k])
		}
	}
}

// factor computes the Cholesky factor of G and resets J to L⁻ᵀ.
func (q *Problem) factor() error {
	n := q.n
	copy(q.chol, q.G)
	for i := range n {
		for j := range i + 1 {
			sum := q.chol[i*n+j]
			for k := range j {
				sum -= float64(q.chol[i*n+k] * q.chol[j*n+k])
			}
			if i == j {
				if !(sum > 0) {
					return errStuck
				}
				q.chol[i*n+i] = math.Sqrt(sum)
			} else {
				q.chol[i*n+j] = sum / q.chol[j*n+j]
			}
		}
	}
	// J = L⁻ᵀ: column k solves Lᵀ x = e_k from below; J is upper triangular.
	for k := range n {
		for i := n - 1; i >= 0; i-- {
			if i > k {
				q.j[i*n+k] = 0
				continue
			}
			sum := 0.0
			if i == k {
				sum = 1
			}
			for m := i + 1; m <= k; m++ {
				sum -= float64(q.chol[m*n+i] * q.j[m*n+k])
			}
			q.j[i*n+k] = sum / q.chol[i*n+i]
		}
	}
	q.active, q.u = q.active[:0], q.u[:0]
	return nil
}

// Solve finds the minimum from scratch.
func (q *Problem) Solve() error {
	for i := range q.Rows {
		sum := 0.0
		for _, v := range q.Rows[i].Row {
			sum += float64(v * v)
		}
		q.Rows[i].norm = math.Sqrt(sum)
		if !(q.Rows[i].norm > 0) {
			q.Rows[i].norm = 1
		}
	}
	if err := q.factor(); err != nil {
		return err
	}
	q.atHeld()
	return q.search()
}

// Again finds the minimum after only A has changed, starting from the limits that
// were held before.
func (q *Problem) Again() error {
	if q.atHeld() {
		q.settle()
		return nil
	}
	if err := q.factor(); err != nil {
		return err
	}
	q.atHeld()
	return q.search()
}

// atHeld sets x to the minimum on the limits that are held, with their
// multipliers. It says whether that is the minimum of the whole problem.
func (q *Problem) atHeld() bool {
	n, held := q.n, len(q.active)
	y := q.z
	for k := range n { // y₂ = J₂ᵀa, and J₁ᵀa for the multipliers
		sum := 0.0
		for i := range n {
			sum += float64(q.j[i*n+k] * q.A[i])
		}
		y[k] = sum
	}
	for k := range held { // Rᵀy₁ = bounds
		sum := q.bound(q.active[k])
		for i := range k {
			sum -= float64(q.r[i*n+k] * q.step[i])
		}
		q.step[k] = sum / q.r[k*n+k]
	}
	for k := range held {
		q.d[k] = q.step[k] - y[k]
		y[k] = q.step[k]
	}
	for i := range n {
		sum := 0.0
		for k := range n {
			sum += float64(q.j[i*n+k] * y[k])
		}
		q.X[i] = sum
	}
	fits := true
	for k := held - 1; k >= 0; k-- { // R u = y₁ − J₁ᵀa
		sum := q.d[k]
		for m := k + 1; m < held; m++ {
			sum -= float64(q.r[k*n+m] * q.u[m])
		}
		q.u[k] = sum / q.r[k*n+k]
		fits = fits && q.u[k] >= 0
	}
	return fits && q.mostBroken() < 0
}

// tolerance is how far a limit may be passed: rounding, not concentration. The
// unknowns are of the order of one.
const tolerance = 1e-11

// mostBroken is the constraint passed furthest, −1 for none.
func (q *Problem) mostBroken() int {
	worst, least := -1, -tolerance
	for c := range 2*q.n + len(q.Rows) {
		if s := q.slack(c); s < least {
			worst, least = c, s
		}
	}
	return worst
}

// search takes up broken limits until there is none.
func (q *Problem) search() error {
	for range 50 + 20*(q.n+len(q.Rows)) {
		c := q.mostBroken()
		if c < 0 {
			q.settle()
			return nil
		}
		if err := q.takeUp(c); err != nil {
			return err
		}
	}
	return errStuck
}

// settle puts x exactly on the bounds it is held at, so that what is not used is 0
// and not 1e-17.
func (q *Problem) settle() {
	for _, c := range q.active {
		switch {
		case c < q.n:
			q.X[c] = 0
		case c < 2*q.n:
			q.X[c-q.n] = q.Upper[c-q.n]
		}
	}
	for i := range q.X {
		q.X[i] = min(max(q.X[i], 0), q.Upper[i])
	}
}

// takeUp moves to the minimum on the held limits and one more, letting go of those
// that no longer push.
func (q *Problem) takeUp(c int) error {
	n, push := q.n, 0.0
	for range 4*n + 4 {
		q.project(c)
		held := len(q.active)
		length := 0.0
		for k := held; k < n; k++ {
			length += float64(q.d[k] * q.d[k])
		}
		for k := held - 1; k >= 0; k-- { // R step = d₁
			sum := q.d[k]
			for m := k + 1; m < held; m++ {
				sum -= float64(q.r[k*n+m] * q.step[m])
			}
			q.step[k] = sum / q.r[k*n+k]
		}
		drop, most := -1, math.Inf(1)
		for k := range held {
			if q.step[k] > 0 && q.u[k]/q.step[k] < most {
				drop, most = k, q.u[k]/q.step[k]
			}
		}
		full := math.Inf(1)
		whole := 0.0
		for k := range n {
			whole += float64(q.d[k] * q.d[k])
		}
		if length > 1e-20*whole {
			full = -q.slack(c) / length // zᵀ·normal = |d₂|²
		}
		t := min(most, full)
		if math.IsInf(t, 1) {
			return ErrContradiction
		}
		if full < math.Inf(1) {
			for i := range n {
				sum := 0.0
				for k := held; k < n; k++ {
					sum += float64(q.j[i*n+k] * q.d[k])
				}
				q.X[i] += float64(t * sum)
			}
		}
		for k := range held {
			q.u[k] = max(q.u[k]-float64(t*q.step[k]), 0)
		}
		push += t
		if full <= most {
			q.hold(c, push)
			return nil
		}
		q.letGo(drop)
	}
	return errStuck
}

// hold adds constraint c, whose d is computed, by rotations that empty d₂ but for
// its first entry.
func (q *Problem) hold(c int, push float64) {
	n, held := q.n, len(q.active)
	for k := n - 1; k > held; k-- {
		a, b := q.d[k-1], q.d[k]
		if b == 0 {
			continue
		}
		h := math.Sqrt(float64(a*a) + float64(b*b)) // math.Hypot differs between processors
		co, si := a/h, b/h
		q.d[k-1], q.d[k] = h, 0
		for i := range n {
			p, s := q.j[i*n+k-1], q.j[i*n+k]
			q.j[i*n+k-1] = float64(co*p) + float64(si*s)
			q.j[i*n+k] = float64(co*s) - float64(si*p)
		}
	}
	for k := range held + 1 {
		q.r[k*n+held] = q.d[k]
	}
	q.active, q.u = append(q.active, c), append(q.u, push)
}

// letGo removes the k-th held constraint and makes R triangular again.
func (q *Problem) letGo(k int) {
	n, held := q.n, len(q.active)
	for m := k; m < held-1; m++ {
		for i := range m + 2 {
			q.r[i*n+m] = q.r[i*n+m+1]
		}
		a, b := q.r[m*n+m], q.r[(m+1)*n+m]
		h := math.Sqrt(float64(a*a) + float64(b*b)) // math.Hypot differs between processors
		if h == 0 {
			continue
		}
		co, si := a/h, b/h
		q.r[m*n+m], q.r[(m+1)*n+m] = h, 0
		for col := m + 1; col < held-1; col++ {
			p, s := q.r[m*n+col+1], q.r[(m+1)*n+col+1]
			q.r[m*n+col+1] = float64(co*p) + float64(si*s)
			q.r[(m+1)*n+col+1] = float64(co*s) - float64(si*p)
		}
		for i := range n {
			p, s := q.j[i*n+m], q.j[i*n+m+1]
			q.j[i*n+m] = float64(co*p) + float64(si*s)
			q.j[i*n+m+1] = float64(co*s) - float64(si*p)
		}
	}
	q.active = append(q.active[:k], q.active[k+1:]...)
	q.u = append(q.u[:k], q.u[k+1:]...)
}
