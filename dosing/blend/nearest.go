package blend

import (
	"math"

	"leat/dosing/blend/squares"
)

// fit is one least-squares problem in the stocks' own units: rows of A·x ≈ b, each
// already divided by what it may be off, so that a residual of 0.01 is 1 %.
type fit struct {
	rows, cols int
	a          []float64 // rows×cols
	b          []float64
	upper      []float64       // most of each; infinite for none
	like       []float64       // the mixture to stay near where the rows leave a choice; shares, any scale
	limits     []squares.Limit // row·x ≤ most
}

// nearest solves fits. Where two stocks serve alike the rows alone would leave
// their shares to rounding, or flip them for a change in the last digit of an
// analysis. So it stays near a reference, the former or equal shares, and leaves
// it only as far as the rows insist: iterated Tikhonov regularisation, each step
// minimising |Ax−b|² + ε|x−xₖ|² within the limits, ended by Morozov's discrepancy
// principle as soon as every row is met to 0.1 % (Engl, Hanke & Neubauer,
// Regularization of Inverse Problems, 1996, section 5.1). The zero value is ready;
// its memory is reused. Not for concurrent use.
type nearest struct {
	q                    squares.Problem
	scale, near, residue []float64
	normal, aty          []float64
	x                    []float64
	rows                 []float64 // backing of the limits' rows
}

const (
	pull      = 1e-4 // ε, beside a diagonal of one
	enough    = 1e-3 // a row met to this is met
	standing  = 1e-4 // rows that move less than this have come to rest
	mostSteps = 40
)

// solve returns the amounts; the slice is overwritten by the next call.
func (s *nearest) solve(f *fit) ([]float64, error) {
	n, m := f.cols, f.rows
	s.grow(n, m)
	s.columns(f)
	q := &s.q
	q.Size(n)
	for i := range n {
		for k := range i + 1 {
			sum := 0.0
			for r := range m {
				sum += float64(s.normal[r*n+i] * s.normal[r*n+k])
			}
			q.G[i*n+k], q.G[k*n+i] = sum, sum
		}
		q.G[i*n+i] += pull
		q.Upper[i] = f.upper[i] * s.scale[i]
		if s.scale[i] == 0 {
			q.Upper[i] = 0
		}
		sum := 0.0
		for r := range m {
			sum += float64(s.normal[r*n+i] * f.b[r])
		}
		s.aty[i] = sum
	}
	for k, l := range f.limits {
		row := s.rows[k*n : (k+1)*n]
		for i := range n {
			row[i] = 0
			if s.scale[i] > 0 {
				row[i] = l.Row[i] / s.scale[i]
			}
		}
		q.Rows = append(q.Rows, squares.Limit{Row: row, Most: l.Most})
	}
	s.reference(f)
	for step := range mostSteps {
		for i := range n {
			q.A[i] = s.aty[i] + float64(pull*s.near[i])
		}
		solve := q.Again
		if step == 0 {
			solve = q.Solve
		}
		if err := solve(); err != nil {
			return nil, err
		}
		copy(s.near, q.X)
		if s.rests(f) && step > 0 {
			break
		}
	}
	for i := range n {
		s.x[i] = 0
		if s.scale[i] > 0 {
			s.x[i] = q.X[i] / s.scale[i]
		}
	}
	return s.x, nil
}

func (s *nearest) grow(n, m int) {
	if len(s.scale) < n || len(s.residue) < m || len(s.normal) < n*m {
		s.scale, s.near, s.aty, s.x = make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
		s.residue, s.normal = make([]float64, m), make([]float64, n*m)
	}
	s.scale, s.near, s.aty, s.x, s.residue = s.scale[:n], s.near[:n], s.aty[:n], s.x[:n], s.residue[:m]
	if most := n * (2*int(SubstanceCount) + 4); len(s.rows) < most {
		s.rows = make([]float64, most)
	}
	for i := range s.residue {
		s.residue[i] = math.Inf(1)
	}
}

// columns brings each stock's column to length one: litres of weak stock and
// grams of salt are then alike.
func (s *nearest) columns(f *fit) {
	n := f.cols
	for i := range n {
		sum := 0.0
		for r := range f.rows {
			sum += float64(f.a[r*n+i] * f.a[r*n+i])
		}
		s.scale[i] = math.Sqrt(sum)
		for r := range f.rows {
			s.normal[r*n+i] = 0
			if s.scale[i] > 0 {
				s.normal[r*n+i] = f.a[r*n+i] / s.scale[i]
			}
		}
	}
}

// reference sets near to the mixture in the reference's shares that comes closest.
func (s *nearest) reference(f *fit) {
	n := f.cols
	for i := range n {
		s.near[i] = f.like[i] * s.scale[i]
	}
	ab, aa := 0.0, 0.0
	for r := range f.rows {
		sum := 0.0
		for i := range n {
			sum += float64(s.normal[r*n+i] * s.near[i])
		}
		ab += float64(sum * f.b[r])
		aa += float64(sum * sum)
	}
	t := 0.0
	if aa > 0 {
		t = max(ab/aa, 0)
	}
	for i := range n {
		s.near[i] *= t
	}
}

// rests says whether the rows are met or no longer move.
func (s *nearest) rests(f *fit) bool {
	n, met, still := f.cols, true, true
	for r := range f.rows {
		sum := -f.b[r]
		for i := range n {
			sum += float64(s.normal[r*n+i] * s.q.X[i])
		}
		met = met && math.Abs(sum) <= enough
		still = still && math.Abs(sum-s.residue[r]) <= standing
		s.residue[r] = sum
	}
	return met || still
}
