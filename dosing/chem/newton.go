package chem

import "math"

const (
	mostSteps = 120
	stepLimit = 3.0  // largest change of a ln activity in one step
	smallStep = 1e-3 // then the first-order correction is good to 5e-7
	// A last change of ionic strength of this share leaves some 2e-6 in the
	// activity coefficients: a millionth of a pH.
	smallIonic, leastIonic = 1e-5, 1e-9
)

// speciate finds the activities. Newton on the mass balances in the logarithm
// of four activities; the partners' activities are eliminated, the activity
// coefficients follow the ionic strength from step to step.
func (s *Solver) speciate(k *constants, t *Totals, c *Conditions, from *start) error {
	s.load(k, t, c)
	warm := from.ok && from.active == s.active
	if warm {
		s.x, s.ionic, s.water = from.x, from.ionic, from.water
		s.partnerActivity[pNa] = from.sodium
		if s.fixed {
			s.x[uH] = -c.FixedPH * ln10
		}
	} else {
		s.coldStart(k, c)
	}
	from.ok = false
	steps, ok := s.iterate(k)
	if !ok && warm {
		s.coldStart(k, c)
		steps, ok = s.iterate(k)
	}
	if !ok {
		return &ConvergenceError{Iterations: steps, IonicStrength: s.ionic}
	}
	s.setVolumes(k)
	*from = start{true, s.x, s.ionic, s.water, s.partnerActivity[pNa], s.active}
	return nil
}

func (s *Solver) iterate(k *constants) (int, bool) {
	for n := 1; n <= mostSteps; n++ {
		s.setGammas(k)
		if !s.closed {
			s.x[uCO3] = s.openCO2 - ln(k.k[CO2]) + ln(s.water) - float64(2*s.x[uH])
		}
		s.setSpecies(k)
		used := s.ionic
		if !s.newtonStep() {
			return n, false
		}
		largest := 0.0
		for u := range s.step {
			if d := math.Abs(s.step[u]); !(d <= largest) {
				largest = d
			}
		}
		if !(largest <= 1e9) {
			return n, false
		}
		if largest > stepLimit {
			scale := stepLimit / largest
			for u := range s.step {
				s.step[u] *= scale
			}
		}
		for u := range s.x {
			if s.active[u] {
				s.x[u] += s.step[u]
			}
		}
		if largest < 0.5 {
			s.correct()
		}
		s.sumIonic()
		if n > 30 {
			// The ionic strength swings: meet it half way.
			s.ionic = 0.5 * (s.ionic + used)
		}
		if largest < smallStep && math.Abs(s.ionic-used) < leastIonic+float64(smallIonic*used) {
			return n, true
		}
	}
	return mostSteps, false
}

// load turns the totals into mol/kgw and the hydrogen balance.
func (s *Solver) load(k *constants, t *Totals, c *Conditions) {
	s.partnerTotal = [partnerCount]float64{
		pCa: t.Ca / 1000, pMg: t.Mg / 1000, pK: t.K / 1000, pNa: t.Na / 1000,
		pNH4: t.NH4 / 1000, pCl: t.Cl / 1000, pNO3: t.NO3 / 1000, pSi: t.Si / 1000,
	}
	s.closed, s.fixed = !c.Open, c.FixedPH != 0
	dic := t.DIC
	s.openCO2 = math.NaN()
	if c.Open {
		dic = 0
		s.openCO2 = ln(float64(k.henry * c.CO2Atm))
	}
	// Charge balance, written as the hydrogen that the masters' charges call for.
	hydrogen := -(t.StrongCharge() - float64(2*dic) - float64(3*t.P)) / 1000
	s.total = [unknownCount]float64{uH: hydrogen, uSO4: t.SO4 / 1000, uCO3: dic / 1000, uPO4: t.P / 1000}
	s.ionicMost = 1 + math.Abs(hydrogen) +
		float64(0.0005*(float64(9*t.P)+float64(4*(t.Ca+t.Mg+t.SO4+t.DIC+t.Si))+t.K+t.Na+t.NH4+t.NO3+t.Cl))
	if c.Open {
		s.ionicMost += 20
	}
	s.active = [unknownCount]bool{uH: true, uSO4: t.SO4 > 0, uCO3: c.Open || t.DIC > 0, uPO4: t.P > 0}
}

// setGammas computes 1/gamma for every kind of species and how it changes with
// the ionic strength; a small change from the last full computation is taken
// along the tangent, good to 1e-9.
func (s *Solver) setGammas(k *constants) {
	if d := s.ionic - s.gammaIonic; s.gammaAt == k && math.Abs(d) < 3e-5*s.ionic {
		for i := range gammas {
			s.inverseGamma[i] = s.fullGamma[i] * (1 + float64(d*s.gammaSlope[i]))
		}
		return
	}
	s.gammaAt, s.gammaIonic = k, s.ionic
	root := math.Sqrt(s.ionic)
	a, half := ln10*k.dhA, 0.5/root
	for i := range gammas {
		g := &gammas[i]
		size, slope := k.dhB*g.size, ln10*g.slope
		if g.davies {
			size, slope = 1, 0.3*a*g.zz
		}
		near := 1 / (1 + float64(size*root))
		az := a * g.zz
		v := exp(float64(az*float64(root*near)) - float64(slope*s.ionic))
		s.inverseGamma[i], s.fullGamma[i] = v, v
		s.gammaSlope[i] = float64(az*float64(half*float64(near*near))) - slope
	}
}

// setSpecies computes all molalities, the residuals and the Jacobian from the
// activities of the unknowns. Rows that hold the same anion form a run, so that
// three sums per run carry everything the balances need.
func (s *Solver) setSpecies(k *constants) {
	var proton [protonFactors]float64
	var anion [2 * unknownCount]float64
	s.setPowers(&proton, &anion)
	s.r = [unknownCount]float64{}
	s.jac = [unknownCount][unknownCount]float64{}
	for g := range groups {
		s.setGroup(k, g, &proton, &anion)
	}
}

// setGroup computes the rows of one partner, or those without a partner.
func (s *Solver) setGroup(k *constants, g int, proton *[protonFactors]float64, anion *[2 * unknownCount]float64) {
	group := &groups[g]
	isPartner := g < partnerCount
	if isPartner && s.partnerTotal[g] == 0 {
		s.partnerActivity[g] = 0
		for i := group.from; i < group.to; i++ {
			s.m[i] = 0
		}
		return
	}
	var r, diagonal, cross [unknownCount]float64
	twice := [unknownCount]float64{} // what a row with two partners adds once more
	sum := 0.0
	for n := range group.runs {
		run := &group.runs[n]
		common := anion[run.factor]
		if run.partners == 2 {
			common *= s.partnerActivity[g] // of the step before; only Na2SO4, which is scarce
		}
		m0, m1, m2 := 0.0, 0.0, 0.0
		for i := run.from; i < run.to; i++ {
			h := &hot[i]
			w := float64(k.k[i] * s.inverseGamma[h.gamma&31] * proton[h.proton&(protonFactors-1)] * common)
			s.m[i] = w
			w1 := float64(h.hydrogen * w)
			m0 += w
			m1 += w1
			m2 += float64(h.hydrogen * w1)
		}
		sum += m0
		r[uH] += m1
		diagonal[uH] += m2
		if run.anion == uH {
			continue
		}
		n0 := float64(run.n * m0)
		r[run.anion] += n0
		diagonal[run.anion] += float64(run.n * n0)
		cross[run.anion] += float64(run.n * m1)
		if run.partners == 2 {
			sum += m0
			twice[run.anion] = n0
		}
	}
	scale := 1.0
	if isPartner {
		scale = s.partnerTotal[g] / sum
		s.partnerActivity[g] = scale
		for i := group.from; i < group.to; i++ {
			s.m[i] *= scale
		}
	}
	s.addGroup(g, scale, &r, &diagonal, &cross, &twice)
}

// addGroup adds a group's sums to the mass balances and to the Jacobian's lower
// half; a partner's total is shared among its rows, which takes the products
// of their means away.
func (s *Solver) addGroup(g int, scale float64, r, diagonal, cross, twice *[unknownCount]float64) {
	for u := range r {
		s.r[u] += float64(scale * r[u])
		s.jac[u][u] += float64(scale * diagonal[u])
		s.jac[u][uH] += float64(scale * cross[u]) // cross of hydrogen is zero
	}
	if g >= partnerCount {
		return
	}
	t, mean := s.partnerTotal[g], &s.mean[g]
	perMol := scale / t
	for u := range mean {
		mean[u] = (r[u] + twice[u]) * perMol
		w := t * mean[u]
		for v := 0; v <= u; v++ {
			s.jac[u][v] -= float64(w * mean[v])
		}
	}
}

// setPowers computes the factors that rows are made of: powers of hydrogen's
// activity with those of water, and the first and second power of each anion's.
func (s *Solver) setPowers(proton *[protonFactors]float64, anion *[2 * unknownCount]float64) {
	anion[0] = 1
	for u := uSO4; u < unknownCount; u++ {
		a := 0.0 // absent: whatever needs it is absent too
		if s.active[u] {
			a = exp(s.x[u])
		}
		anion[2*u], anion[2*u+1] = a, a*a
	}
	h := exp(s.x[uH])
	h2, back, dry := h*h, 1/h, 1/s.water
	proton[protonFactor(-2, 0)] = back * back
	proton[protonFactor(-1, 0)] = back
	proton[protonFactor(0, 0)] = 1
	proton[protonFactor(1, 0)] = h
	proton[protonFactor(2, 0)] = h2
	proton[protonFactor(3, 0)] = h2 * h
	proton[protonFactor(-1, 1)] = back * s.water
	proton[protonFactor(2, -1)] = h2 * dry
	proton[protonFactor(4, -2)] = float64(h2*dry) * float64(h2*dry)
}

// newtonStep solves for the change of the unknowns. The matrix is symmetric
// and positive: it is the curvature of the free energy. False when it is not,
// which only numbers beyond the model can cause.
func (s *Solver) newtonStep() bool {
	a, b := s.reduced()
	s.step = [unknownCount]float64{}
	ok := ldl(&a, &b)
	s.step = b
	if !s.closed && !s.fixed {
		s.step[uCO3] = -2 * s.step[uH]
	}
	return ok
}

// reduced returns the system in the unknowns that are free: an absent one, a
// given pH and, open to the air, carbonate drop out.
func (s *Solver) reduced() (a [unknownCount][unknownCount]float64, b [unknownCount]float64) {
	a = s.jac
	for u := range b {
		b[u] = s.total[u] - s.r[u]
	}
	if !s.closed {
		// Carbonate follows hydrogen: ln a(CO3) = const - 2 ln a(H).
		b[uH] -= 2 * b[uCO3]
		a[uH][uH] += float64(4*a[uCO3][uCO3]) - float64(4*a[uCO3][uH])
		a[uSO4][uH] -= 2 * a[uCO3][uSO4]
		a[uPO4][uH] -= 2 * a[uPO4][uCO3]
	}
	for u := range b {
		drop := !s.active[u] || (u == uH && s.fixed) || (u == uCO3 && !s.closed)
		if !drop {
			continue
		}
		for v := range b {
			a[u][v], a[v][u] = 0, 0
		}
		a[u][u], b[u] = 1, 0
	}
	return a, b
}

// ldl solves a x = b in place for a symmetric positive a, of which the lower
// half is given, by a = L D L'.
func ldl(a *[unknownCount][unknownCount]float64, b *[unknownCount]float64) bool {
	var over [unknownCount]float64 // 1/D
	for j := 0; j < unknownCount; j++ {
		d := a[j][j]
		for k := 0; k < j; k++ {
			d -= float64(a[j][k] * a[k][j]) // above the diagonal: L D
		}
		if !(d > 0) {
			return false
		}
		over[j] = 1 / d
		for i := j + 1; i < unknownCount; i++ {
			sum := a[i][j]
			for k := 0; k < j; k++ {
				sum -= float64(a[i][k] * a[k][j])
			}
			a[j][i] = sum
			a[i][j] = sum * over[j]
			b[i] -= float64(a[i][j] * b[j])
		}
	}
	for i := unknownCount - 1; i >= 0; i-- {
		sum := b[i] * over[i]
		for k := i + 1; k < unknownCount; k++ {
			sum -= float64(a[k][i] * b[k])
		}
		b[i] = sum
	}
	return true
}

// correct moves the molalities along with the step, to first order, so that
// the last step need not be followed by another evaluation.
func (s *Solver) correct() {
	h := s.step[uH]
	for g := range groups {
		group := &groups[g]
		shift := 0.0
		if g < partnerCount {
			if s.partnerTotal[g] == 0 {
				continue
			}
			for u := range s.step {
				shift += float64(s.mean[g][u] * s.step[u])
			}
			s.partnerActivity[g] *= 1 - shift
		}
		for n := range group.runs {
			run := &group.runs[n]
			d := 1 - shift
			if run.anion != uH {
				d += float64(run.n * s.step[run.anion])
			}
			for i := run.from; i < run.to; i++ {
				s.m[i] *= d + float64(hot[i].hydrogen*h)
			}
		}
	}
}

// sumIonic sets the ionic strength and the activity of water.
func (s *Solver) sumIonic() {
	// Two sums side by side: one addition need not wait for the other.
	var ionic, all, ionic2, all2 float64
	for i := 0; i+1 < len(s.m); i += 2 {
		m, n := s.m[i], s.m[i+1]
		all += m
		all2 += n
		ionic += float64(chargeSquared[i] * m)
		ionic2 += float64(chargeSquared[i+1] * n)
	}
	ionic, all = ionic+ionic2, all+all2
	if s.balanceStrong {
		ionic += math.Abs(s.charge())
	}
	s.ionic = 0.5 * ionic
	// On its way the search may make more of a phosphate than there is; its
	// ionic strength would drown everything else.
	if !(s.ionic < s.ionicMost) {
		s.ionic = s.ionicMost
	}
	if !(s.ionic > 1e-9) {
		s.ionic = 1e-9
	}
	// As in the reference program: Raoult's law with 0.017 for 1/55.5.
	s.water = 1 - float64(0.017*all)
	if !(s.water > 0.3) {
		s.water = 0.3
	}
}

// charge is cations minus anions, eq/kgw.
func (s *Solver) charge() float64 {
	var charge, charge2 float64
	for i := 0; i+1 < len(s.m); i += 2 {
		charge += float64(chargeNumber[i] * s.m[i])
		charge2 += float64(chargeNumber[i+1] * s.m[i+1])
	}
	return charge + charge2
}

// hydrogen is the hydrogen balance of all species, mol/kgw: what strong acid
// raises and strong base lowers.
func (s *Solver) hydrogen() float64 {
	sum := 0.0
	for i := range s.m {
		sum += float64(hot[i].hydrogen * s.m[i])
	}
	return sum
}

// carbon is the inorganic carbon of all species, mmol/kgw.
func (s *Solver) carbon() float64 {
	sum := 0.0
	for i := range s.m {
		sum += float64(hot[i].nu[uCO3] * s.m[i])
	}
	return 1000 * sum
}

// protonSlope is -d(hydrogen)/d(ln activity of hydrogen) with all other
// balances kept, mol/kgw: the buffer capacity at constant activity coefficients.
func (s *Solver) protonSlope() float64 {
	fixed := s.fixed
	s.fixed = false
	a, _ := s.reduced()
	s.fixed = fixed
	// One over the corner of the inverse.
	b := [unknownCount]float64{uH: 1}
	if !ldl(&a, &b) || !(b[uH] > 0) {
		return math.NaN()
	}
	return 1 / b[uH]
}
