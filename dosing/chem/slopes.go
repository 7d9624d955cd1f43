package chem

import "math"

// factors are a symmetric positive matrix a as U D U': over is one over D, the
// others U by column and row. Hydrogen stands first and is eliminated last: its
// pivot is then the slope of its balance with all others kept, and where pH is
// given its row is simply not used. Written out, for Go unrolls no loops.
type factors struct {
	over                         [unknownCount]float64
	u01, u02, u03, u12, u13, u23 float64
	// hydrogen is its pivot: -d(hydrogen)/d(ln activity of hydrogen) with all other
	// balances kept, mol/kg, which is the buffer capacity at constant activity
	// coefficients. It is that of the last step's start, 1e-5 from the end.
	hydrogen float64
}

// set factors the matrix of which the lower half is given. False when it is
// not positive, which only numbers beyond the model can cause.
func (f *factors) set(a *[unknownCount][unknownCount]float64) bool {
	a30, a31, a32, d3 := a[3][0], a[3][1], a[3][2], a[3][3]
	over3 := 1 / d3
	f.u03, f.u13, f.u23 = a30*over3, a31*over3, a32*over3
	a20, a21 := a[2][0]-float64(f.u23*a30), a[2][1]-float64(f.u23*a31)
	d2 := a[2][2] - float64(f.u23*a32)
	over2 := 1 / d2
	f.u02, f.u12 = a20*over2, a21*over2
	a10 := a[1][0] - float64(f.u13*a30) - float64(f.u12*a20)
	d1 := a[1][1] - float64(f.u13*a31) - float64(f.u12*a21)
	over1 := 1 / d1
	f.u01 = a10 * over1
	d0 := a[0][0] - float64(f.u03*a30) - float64(f.u02*a20) - float64(f.u01*a10)
	f.over = [unknownCount]float64{1 / d0, over1, over2, over3}
	f.hydrogen = d0
	return d0 > 0 && d1 > 0 && d2 > 0 && d3 > 0
}

// solve returns x of a x = b; where the first of x is given, its equation drops out.
func (f *factors) solve(b *[unknownCount]float64, given bool, first float64) [unknownCount]float64 {
	b3 := b[3]
	b2 := b[2] - float64(f.u23*b3)
	b1 := b[1] - float64(f.u13*b3) - float64(f.u12*b2)
	x0 := first
	if !given {
		x0 = (b[0] - float64(f.u03*b3) - float64(f.u02*b2) - float64(f.u01*b1)) * f.over[0]
	}
	x1 := float64(b1*f.over[1]) - float64(f.u01*x0)
	x2 := float64(b2*f.over[2]) - float64(f.u02*x0) - float64(f.u12*x1)
	x3 := float64(b3*f.over[3]) - float64(f.u03*x0) - float64(f.u13*x1) - float64(f.u23*x2)
	return [unknownCount]float64{x0, x1, x2, x3}
}

// setSlopes factors the slopes of the balances at the species at hand and
// returns what the balances lack.
func (s *speciation) setSlopes() (b [unknownCount]float64, ok bool) {
	q := &s.sums
	for u := range b {
		b[u] = s.total[u] - q.r[u]
		if !s.active[u] {
			q.jac[u][u] = 1 // its other slopes are zero, and so is what it lacks
		}
	}
	if !s.closed {
		// Carbonate follows hydrogen, ln a(CO3) = const - 2 ln a(H), and its
		// own balance drops out.
		q.jac[uH][uH] += float64(4*q.jac[uCO3][uCO3]) - float64(4*q.jac[uCO3][uH])
		q.jac[uSO4][uH] -= 2 * q.jac[uCO3][uSO4]
		q.jac[uPO4][uH] -= 2 * q.jac[uPO4][uCO3]
		q.jac[uCO3] = [unknownCount]float64{uCO3: 1}
		q.jac[uPO4][uCO3] = 0
		followCO3(&q.zzBy)
	}
	return b, s.slopes.set(&q.jac)
}

func followCO3(v *[unknownCount]float64) {
	v[uH] -= 2 * v[uCO3]
	v[uCO3] = 0
}

// solve returns the step of the unknowns at constant ionic strength: b is what
// the balances lack; hydrogen moves by h where pH is given.
func (s *speciation) solve(b *[unknownCount]float64, h float64) [unknownCount]float64 {
	if !s.closed {
		followCO3(b)
	}
	step := s.slopes.solve(b, s.fixed, h)
	if !s.closed {
		step[uCO3] = -2 * step[uH]
	}
	return step
}

// sway lets the ionic strength move along with a step, and the step with it;
// more is the ionic strength that the species have beyond the one assumed.
// False when it moves too far for its slopes to mean anything.
func (s *speciation) sway(step *[unknownCount]float64, more float64) (ionic float64, ok bool) {
	ionic = (more + float64(0.5*dot(&s.sums.zzBy, step))) / s.stiff
	if !(s.stiff > 0.1 && math.Abs(ionic) < 0.3*s.ionic) {
		return 0, false
	}
	for u := range step {
		step[u] -= float64(s.swing[u] * ionic)
	}
	return ionic, true
}

func dot(a, b *[unknownCount]float64) float64 {
	return float64(a[0]*b[0]) + float64(a[1]*b[1]) + float64(a[2]*b[2]) + float64(a[3]*b[3])
}
