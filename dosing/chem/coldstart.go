package chem

import "math"

// coldStart guesses the speciation: pH from the acids and bases alone, without
// pairs, at activity coefficients of the totals; then the free anions with
// every partner taken as free. Some four Newton steps away from the answer.
func (s *speciation) coldStart(c *Conditions) {
	s.water = 1
	p := &s.partnerTotal
	s.ionic = 0.5 * (float64(4*(p[pCa]+p[pMg]+s.total[uSO4])) + p[pK] + p[pNa] + p[pNH4] + p[pCl] + p[pNO3] + s.total[uCO3] + s.total[uPO4])
	s.ionic += float64(0.5 * math.Min(math.Abs(s.total[uH]), s.ionic))
	s.ionic = math.Max(s.ionic, 1e-7)
	s.setGammas()
	if s.fixed {
		s.x[uH] = -c.FixedPH * ln10
	} else {
		s.x[uH] = guess{s}.hydrogen()
	}
	guess{s}.anions()
}

// guess is where a search begins that has no solution to begin from.
type guess struct{ *speciation }

// effective is a formation constant with the activity coefficient of the
// species divided out.
func (s guess) effective(i Species) float64 {
	return float64(s.k[i] * s.activity[table[i].gamma].inverse)
}

// hydrogen bisects the pair-free hydrogen balance; ln activity.
func (s guess) hydrogen() float64 {
	var (
		h, oh            = s.effective(H), s.effective(OH)
		so4, hso4        = s.effective(SO4), s.effective(HSO4)
		co3, hco3, co2   = s.effective(CO3), s.effective(HCO3), s.effective(CO2)
		po4, hpo4        = s.effective(PO4), s.effective(HPO4)
		h2po4, h3po4     = s.effective(H2PO4), s.effective(H3PO4)
		nh4, nh3         = s.effective(NH4), s.effective(NH3)
		h4si, h3si, h2si = s.effective(H4SiO4), s.effective(H3SiO4), s.effective(H2SiO4)
		h3bo, h2bo       = s.effective(H3BO3), s.effective(H2BO3)
		carbonic         = exp(s.openCO2) / s.k[CO2] // open: a(CO3) a(H)^2
	)
	low, high := -14.5*ln10, 1.0
	for n := 0; n < 9; n++ {
		x := 0.5 * (low + high)
		a := exp(x)
		a2 := a * a
		f := float64(h*a) - oh/a - s.total[uH]
		f += s.total[uSO4] * float64(hso4*a) / (so4 + float64(hso4*a))
		if s.closed {
			c1, c2 := float64(hco3*a), float64(co2*a2)
			f += s.total[uCO3] * (c1 + float64(2*c2)) / (co3 + c1 + c2)
		} else {
			// The charge of carbonate itself counts, its amount being free.
			f -= float64(carbonic*hco3)/a + float64(2*float64(carbonic*co3))/a2
		}
		p1, p2, p3 := float64(hpo4*a), float64(h2po4*a2), float64(h3po4*float64(a2*a))
		f += s.total[uPO4] * (p1 + float64(2*p2) + float64(3*p3)) / (po4 + p1 + p2 + p3)
		f -= s.partnerTotal[pNH4] * (nh3 / a) / (nh4 + nh3/a)
		f -= s.partnerTotal[pSi] * (h3si/a + float64(2*h2si)/a2) / (h4si + h3si/a + h2si/a2)
		f -= s.partnerTotal[pB] * (h2bo / a) / (h3bo + h2bo/a)
		if f < 0 {
			low = x
		} else {
			high = x
		}
	}
	return 0.5 * (low + high)
}

// anions starts sulfate, carbonate and phosphate at their total over
// everything they would form if every cation were free.
func (s guess) anions() {
	for g := range s.partnerTotal {
		s.partnerActivity[g] = s.partnerTotal[g] / s.activity[table[partners[g]].gamma].inverse
	}
	a := exp(s.x[uH])
	var forms [unknownCount]float64
	for i := range table {
		sp := &table[i]
		u := uSO4
		switch {
		case sp.formed[uCO3] == 1:
			u = uCO3
		case sp.formed[uPO4] == 1:
			u = uPO4
		case sp.formed[uSO4] != 1:
			continue
		}
		w := s.effective(Species(i))
		for e := sp.formed[uH]; e > 0; e-- {
			w *= a
		}
		if sp.partner >= 0 {
			for e := sp.partners; e > 0; e-- {
				w *= s.partnerActivity[sp.partner]
			}
		}
		forms[u] += w
	}
	for u := uSO4; u < unknownCount; u++ {
		s.x[u] = 0
		if s.total[u] > 0 {
			s.x[u] = ln(s.total[u] / forms[u])
		}
	}
}
