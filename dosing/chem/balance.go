package chem

import "math"

// balance holds the sums over the species at hand that the balances need, and
// their slopes by the unknowns (ln activity).
type balance struct {
	r     [unknownCount]float64               // the balances, mol/kg
	jac   [unknownCount][unknownCount]float64 // their slopes, the lower half
	zz    float64                             // sum of z² m: twice the ionic strength
	zzBy  [unknownCount]float64               // its slopes
	all   float64                             // that is dissolved
	loose [unknownCount]float64               // of r the rows without a partner
}

// partnerShare is what a mole of a partner brings along: unknowns and z², and
// how its ln activity falls with the ionic strength.
type partnerShare struct {
	unknown     [unknownCount]float64
	zz, byIonic float64
}

// coefficient is one kind of activity coefficient.
type coefficient struct {
	inverse float64 // 1/gamma
	slope   float64 // d ln(1/gamma)/dI
}

// setGammas computes 1/gamma for every kind of species.
func (s *speciation) setGammas() {
	root := math.Sqrt(s.ionic)
	a, half := ln10*s.dhA, 0.5/root
	for i := range gammas {
		g := &gammas[i]
		size, slope := s.dhB*g.size, ln10*g.slope
		if g.davies {
			size, slope = 1, 0.3*a*g.zz
		}
		near := 1 / (1 + float64(size*root))
		az := float64(a * g.zz * near)
		l, exponent := &s.recall.gamma[i], float64(az*root)-float64(slope*s.ionic)
		inverse := l.value
		if d := exponent - l.x; math.Abs(d) < l.near {
			inverse *= grown(d) // l.exp without the call
		} else {
			inverse = l.afresh(exponent)
		}
		s.activity[i] = coefficient{inverse, float64(float64(az*near)*half) - slope}
	}
}

// setSpecies computes all molalities and the balances with their slopes.
func (s *speciation) setSpecies() {
	var proton [protonFactors]float64
	var anion [2 * unknownCount]float64
	s.setPowers(&proton, &anion)
	for g := range groups {
		s.weigh(g, &proton, &anion)
	}
	s.sums = balance{}
	for g := range groups {
		s.addGroup(g)
	}
	if s.balanceStrong {
		s.sums.addStrong(&s.m)
	}
}

// setPowers computes the factors that rows are made of: powers of hydrogen's
// activity with those of water, and the first and second power of each anion's.
func (s *speciation) setPowers(proton *[protonFactors]float64, anion *[2 * unknownCount]float64) {
	anion[0] = 1
	for u := uSO4; u < unknownCount; u++ {
		a := 0.0 // absent: whatever needs it is absent too
		if s.active[u] {
			a = s.recall.unknown[u].exp(s.x[u])
		}
		anion[2*u], anion[2*u+1] = a, a*a
	}
	h := s.recall.unknown[uH].exp(s.x[uH])
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

// weigh computes the molalities of the rows of one partner, or of those
// without: first for an activity of 1, then for the one that makes the total.
func (s *speciation) weigh(g int, proton *[protonFactors]float64, anion *[2 * unknownCount]float64) {
	group := &groups[g]
	m := s.m[group.from:group.to]
	if g < partnerCount && s.partnerTotal[g] == 0 {
		s.partnerActivity[g] = 0
		clear(m)
		return
	}
	rows, k := hot[group.from:group.to], s.k[group.from:group.to]
	sum := 0.0
	for i := range m {
		h := &rows[i]
		w := float64(k[i] * s.activity[h.gamma&(gammaMost-1)].inverse * float64(proton[h.proton&(protonFactors-1)]*anion[h.anion&(2*unknownCount-1)]))
		m[i] = w
		sum += w
	}
	if g == partnerCount {
		return
	}
	total := s.partnerTotal[g]
	a := total / sum
	if group.double >= 0 {
		// One row holds two of the partner: a sum + 2 a² twice = total.
		twice := m[group.double]
		sum -= twice
		a = 2 * total / (sum + math.Sqrt(float64(sum*sum)+float64(8*float64(twice*total))))
		m[group.double] *= a
	}
	s.partnerActivity[g] = a
	for i := range m {
		m[i] *= a
	}
}

// addGroup adds a group's rows to the sums. Rows that hold the same anion form
// a run, so that a few sums per run carry everything.
func (s *speciation) addGroup(g int) {
	group := &groups[g]
	if g < partnerCount && s.partnerTotal[g] == 0 {
		s.share[g] = partnerShare{}
		return
	}
	q := &s.sums
	var held [unknownCount]float64 // of the unknowns by this group
	zz, hh, hZZ := 0.0, 0.0, 0.0   // sums over m of z², of hydrogen squared, of both
	for n := range group.runs {
		run := &group.runs[n]
		m0, h0, zz0 := 0.0, 0.0, 0.0
		for i := run.from; i < run.to; i++ {
			h, m := &hot[i], s.m[i]
			hm := float64(h.hydrogen * m)
			m0 += m
			h0 += hm
			zz0 += float64(h.zz * m)
			hh += float64(h.hydrogen * hm)
			hZZ += float64(h.zz * hm)
		}
		q.all += m0
		held[uH] += h0
		zz += zz0
		if u := run.anion; u != uH {
			n0 := float64(run.n * m0)
			held[u] += n0
			q.jac[u][u] += float64(run.n * n0)
			q.jac[u][uH] += float64(run.n * h0)
			q.zzBy[u] += float64(run.n * zz0)
		}
	}
	q.zz += zz
	q.jac[uH][uH] += hh
	q.zzBy[uH] += hZZ
	for u := range held {
		q.r[u] += held[u]
	}
	if g == partnerCount {
		q.loose = held
		return
	}
	squares := s.partnerTotal[g] // sum over m of partners squared
	if group.double >= 0 {
		// For the partner a row that holds two of it counts twice, for its square four times.
		i := group.from + Species(group.double)
		squares += 2 * s.m[i]
		zz += float64(hot[i].zz * s.m[i])
		for u, n := range table[i].nu {
			held[u] += float64(n * s.m[i])
		}
	}
	q.eliminate(&s.share[g], &held, zz, 1/squares)
}

// eliminate takes a partner's activity out of the slopes: it moves so that the
// partner's total stays, and takes its rows along. Written out, for Go unrolls
// no loops.
func (q *balance) eliminate(share *partnerShare, held *[unknownCount]float64, zz, over float64) {
	jac, zzBy := &q.jac, &q.zzBy
	a0, a1, a2, a3 := held[0], held[1], held[2], held[3]
	w0, w1, w2, w3 := a0*over, a1*over, a2*over, a3*over
	jac[0][0] -= float64(w0 * a0)
	jac[1][0] -= float64(w1 * a0)
	jac[1][1] -= float64(w1 * a1)
	jac[2][0] -= float64(w2 * a0)
	jac[2][1] -= float64(w2 * a1)
	jac[2][2] -= float64(w2 * a2)
	jac[3][0] -= float64(w3 * a0)
	jac[3][1] -= float64(w3 * a1)
	jac[3][2] -= float64(w3 * a2)
	jac[3][3] -= float64(w3 * a3)
	zzBy[0] -= float64(w0 * zz)
	zzBy[1] -= float64(w1 * zz)
	zzBy[2] -= float64(w2 * zz)
	zzBy[3] -= float64(w3 * zz)
	share.unknown, share.zz = [unknownCount]float64{w0, w1, w2, w3}, zz*over
}

// addStrong adds a single strong ion that balances the charge to the sum of
// z² m. The partners' charges are constant, so the charge follows the unknowns.
func (q *balance) addStrong(m *molalities) {
	charge, sign := m.charge(), m.strongSign()
	q.zz += float64(sign * charge)
	for u, master := range unknowns {
		z := float64(sign * chargeNumber[master])
		for v := range unknowns {
			q.zzBy[v] += float64(z * q.jac[max(u, v)][min(u, v)])
		}
	}
}

// strongSign is the sign of the charge that strong ions balance.
func (m *molalities) strongSign() float64 {
	if m.charge() < 0 {
		return -1
	}
	return 1
}

// setSwing computes how the unknowns follow the ionic strength, with the
// balances kept, and what that makes of it.
func (s *speciation) setSwing() {
	var by [unknownCount]float64 // slopes of the balances by the ionic strength
	zzBy := 0.0                  // and of the sum of z² m
	for g := range groups {
		group := &groups[g]
		if g < partnerCount && s.partnerTotal[g] == 0 {
			continue
		}
		held, all := 0.0, 0.0
		for i := group.from; i < group.to; i++ {
			slope := float64(s.activity[hot[i].gamma].slope * s.m[i])
			sp := &table[i]
			all += slope
			held += float64(float64(sp.partners) * slope)
			zzBy += float64(sp.zz * slope)
			for u, n := range sp.nu {
				by[u] += float64(n * slope)
			}
		}
		if g == partnerCount {
			s.looseBy = all
			break
		}
		share, squares := &s.share[g], s.partnerTotal[g]
		if group.double >= 0 {
			squares += 2 * s.m[int(group.from)+group.double]
		}
		share.byIonic = held / squares
		for u := range by {
			by[u] -= float64(share.unknown[u] * held)
		}
		zzBy -= float64(share.zz * held)
	}
	if s.balanceStrong {
		for u, master := range unknowns {
			zzBy += float64(float64(s.m.strongSign()*chargeNumber[master]) * by[u])
		}
	}
	s.swing = s.solve(&by, 0)
	s.stiff = 1 - float64(0.5*(zzBy-dot(&s.sums.zzBy, &s.swing)))
}
