package chem

import "math"

const (
	mostSteps = 120
	stepLimit = 3.0 // largest change of a ln activity in one step
	farStep   = 0.5 // beyond it a step is a direction, its first order worthless
	// A step of this size leaves some of its square as error: 1e-10. So does
	// this share of the ionic strength, whose slopes may be a little old.
	smallStep  = 1.5e-5
	smallIonic = 1e-7
	mostDrift  = 0.01
	smallWater = 3e-10 // change of water's activity, which is not in the slopes
)

// speciation is a water at one temperature: its constants, and the search for
// its activities. It keeps the last solution with the slopes there, and the
// next search starts from both. Amounts are mol/kg.
type speciation struct {
	constants
	found bool // the last search ended well; what follows is its solution
	known bool // and the slopes belong to it

	x               [unknownCount]float64 // ln activity of the unknowns
	active          [unknownCount]bool    // the unknown is present
	total           [unknownCount]float64
	partnerTotal    [partnerCount]float64
	partnerActivity [partnerCount]float64
	m               molalities
	ionic, water    float64 // ionic strength; activity of water
	ionicMost       float64 // if every total carried its highest charge
	openCO2         float64 // ln activity of CO2; NaN when closed
	closed, fixed   bool
	pairNitrate     bool
	pairs           nitratePairs
	balanceStrong   bool // unseen strong ions close the charge: they count in the ionic strength

	activity [gammaMost]coefficient
	sums     balance
	share    [partnerCount]partnerShare
	slopes   factors               // of the balances, by the unknowns
	swing    [unknownCount]float64 // of the unknowns with ionic strength, balances kept
	stiff    float64               // 1 - d(ionic strength the species have)/d(the one assumed)
	looseBy  float64               // what the ionic strength adds to the rows without a partner
	drift    float64               // how far the search has gone since these three were computed
	lnIonic  float64
	litres   float64               // of solution per kg of water
	growth   [SpeciesCount]float64 // of the molar volume with ionic strength, cm3/mol
	recall   recall
}

// recall is what exponentials and logarithms were last time.
type recall struct {
	unknown   [unknownCount]lastExp
	gamma     [gammaMost]lastExp
	ionic     lastLn
	volume    [SpeciesCount]lastExp // powers of the ionic strength …
	thickens  [SpeciesCount]lastExp
	own       [SpeciesCount]lastPow // … and of each species' own amount
	size      [SpeciesCount]lastPow
	partner   [partnerCount]lastLn
	water     lastLn
	viscosity lastLn
}

// speciate finds the activities, with nitrate's pairs when they are to count.
func (s *speciation) speciate(t *Totals, c *Conditions) error {
	if s.pairNitrate {
		return s.speciatePaired(t, c)
	}
	return s.find(t, c)
}

// find finds the activities. Newton on the mass balances and the ionic
// strength, in the logarithm of four activities; the partners' activities are
// eliminated.
func (s *speciation) find(t *Totals, c *Conditions) error {
	warm := s.load(t, c)
	if !warm {
		s.coldStart(c)
	}
	if !warm || !s.known {
		s.drift = math.Inf(1)
	}
	s.found, s.known = false, false
	steps, ok := s.search()
	if !ok && warm {
		s.coldStart(c)
		s.drift = math.Inf(1)
		steps, ok = s.search()
	}
	if !ok {
		return &ConvergenceError{Iterations: steps, IonicStrength: s.ionic}
	}
	s.found, s.known = true, true
	s.setVolumes()
	return nil
}

// startFrom takes another solution, of about the same water, as the last one.
func (s *speciation) startFrom(other *speciation) {
	s.x, s.active, s.ionic, s.water = other.x, other.active, other.ionic, other.water
	s.found, s.known = true, false
}

// load turns the totals into mol/kg and the hydrogen balance. It is true when
// the last solution is a start for this one, and moves it there.
func (s *speciation) load(t *Totals, c *Conditions) (warm bool) {
	partner := [partnerCount]float64{
		pCa: t.Ca/1000 - s.pairs.calcium, pMg: t.Mg / 1000, pK: t.K/1000 - s.pairs.potassium, pNa: t.Na / 1000,
		pNH4: t.NH4 / 1000, pCl: t.Cl / 1000, pNO3: t.NO3/1000 - s.pairs.calcium - s.pairs.potassium, pSi: t.Si / 1000,
		pB: t.B / 1000, pCaNO3: s.pairs.calcium, pKNO3: s.pairs.potassium,
	}
	dic := t.DIC
	if c.Open {
		dic = 0
	}
	// Charge balance, written as the hydrogen that the masters' charges call for.
	hydrogen := -(t.StrongCharge() - float64(2*dic) - float64(3*t.P)) / 1000
	total := [unknownCount]float64{uH: hydrogen, uSO4: t.SO4 / 1000, uCO3: dic / 1000, uPO4: t.P / 1000}
	active := [unknownCount]bool{uH: true, uSO4: t.SO4 > 0, uCO3: c.Open || t.DIC > 0, uPO4: t.P > 0}
	warm = s.found && active == s.active
	s.known = s.known && warm && s.closed != c.Open && s.fixed == (c.FixedPH != 0)
	if s.known {
		warm = s.foresee(&total, &partner, c)
	}
	s.total, s.partnerTotal, s.active = total, partner, active
	s.closed, s.fixed, s.openCO2 = !c.Open, c.FixedPH != 0, math.NaN()
	if s.fixed {
		s.x[uH] = -c.FixedPH * ln10
	}
	s.ionicMost = 1 + math.Abs(hydrogen) +
		float64(0.0005*(float64(9*t.P)+float64(4*(t.Ca+t.Mg+t.SO4+t.DIC+t.Si))+t.K+t.Na+t.NH4+t.NO3+t.Cl+t.B))
	if c.Open {
		s.ionicMost += 20
		s.openCO2 = ln(float64(s.henry * c.CO2Atm))
	}
	return warm
}

// foresee moves the last solution along its slopes to other totals. After an
// ordinary dose what is left to find is the square of the change. False when
// it leads so far that a cold start lies nearer.
func (s *speciation) foresee(total *[unknownCount]float64, partner *[partnerCount]float64, c *Conditions) bool {
	var b [unknownCount]float64
	zz, all := 0.0, 0.0
	for u := range b {
		b[u] = total[u] - s.total[u]
	}
	for p := range partner {
		d := partner[p] - s.partnerTotal[p]
		if d == 0 {
			continue
		}
		// What is new here has no slopes by the ionic strength yet.
		s.drift += math.Abs(d / s.partnerTotal[p])
		share := &s.share[p]
		for u := range b {
			b[u] -= float64(share.unknown[u] * d)
		}
		zz += float64(share.zz * d)
		all += d
	}
	h := 0.0
	if s.fixed {
		h = float64(-c.FixedPH*ln10) - s.x[uH]
	}
	step := s.solve(&b, h)
	ionic, ok := s.sway(&step, 0.5*zz)
	size := largest(&step)
	if !(size < farStep && ok) {
		return false
	}
	s.moveBy(&step)
	s.drift += size + math.Abs(ionic)/s.ionic
	s.ionic += ionic
	s.water = s.waterAfter(&step, ionic, all)
	return true
}

// search steps until the step is small; it returns how many it took.
func (s *speciation) search() (int, bool) {
	for n := 1; n <= mostSteps; n++ {
		s.setGammas()
		if !s.closed {
			s.x[uCO3] = s.openCO2 - ln(s.k[CO2]) + ln(s.water) - float64(2*s.x[uH])
		}
		s.setSpecies()
		b, ok := s.setSlopes()
		if !ok {
			return n, false
		}
		step := s.solve(&b, 0)
		size := largest(&step)
		if !(size <= 1e9) {
			return n, false
		}
		far := !(size < farStep)
		ionic := 0.0
		if !far {
			if !(s.drift < mostDrift) {
				s.setSwing()
				s.drift = 0
			}
			ionic, ok = s.sway(&step, float64(0.5*s.sums.zz)-s.ionic)
			far = !ok
		}
		if far {
			s.leap(&step, n > 30)
			continue
		}
		if n > 30 {
			ionic *= 0.5 // it swings: meet it half way
		}
		s.moveBy(&step)
		change := ionic / s.ionic
		s.drift += size + math.Abs(change)
		water := s.waterAfter(&step, ionic, 0)
		if size < smallStep && math.Abs(change) < smallIonic && math.Abs(water-s.water) < smallWater {
			s.follow(&step, ionic)
			s.ionic, s.water = s.ionic+ionic, water
			return n, true
		}
		s.setIonic(s.ionic + ionic)
		s.water = water
	}
	return mostSteps, false
}

// leap takes a step from far away: bounded, the ionic strength that of the
// species at hand.
func (s *speciation) leap(step *[unknownCount]float64, swings bool) {
	if size := largest(step); size > stepLimit {
		for u := range step {
			step[u] *= stepLimit / size
		}
	}
	s.moveBy(step)
	s.drift = math.Inf(1)
	used := s.ionic
	s.setIonic(0.5 * s.sums.zz)
	if swings {
		s.ionic = 0.5 * (s.ionic + used)
	}
	s.water = waterActivity(s.sums.all)
}

func largest(step *[unknownCount]float64) float64 {
	most := 0.0
	for _, d := range step {
		if d = math.Abs(d); !(d <= most) {
			most = d
		}
	}
	return most
}

func (s *speciation) moveBy(step *[unknownCount]float64) {
	for u := range s.x {
		s.x[u] += step[u]
	}
}

// follow moves the molalities along with the last, small step and the ionic
// strength, so that it need not be followed by another evaluation.
func (s *speciation) follow(step *[unknownCount]float64, ionic float64) {
	for g := range groups {
		group := &groups[g]
		shift := 0.0 // of the partner's ln activity
		if g < partnerCount {
			if s.partnerTotal[g] == 0 {
				continue
			}
			share := &s.share[g]
			shift = -float64(share.byIonic*ionic) - dot(&share.unknown, step)
			s.partnerActivity[g] *= 1 + shift
		}
		for n := range group.runs {
			run := &group.runs[n]
			common := float64(run.partners*shift) + float64(run.n*step[run.anion])
			for i := run.from; i < run.to; i++ {
				h := &hot[i]
				d := common + float64(h.hydrogen*step[uH]) + float64(s.activity[h.gamma&(gammaMost-1)].slope*ionic)
				s.m[i] *= 1 + float64(d*(1+float64(0.5*d)))
			}
		}
	}
}

// setIonic sets the ionic strength within bounds: on its way the search may
// make more of a phosphate than there is, and that would drown everything else.
func (s *speciation) setIonic(ionic float64) {
	if !(ionic < s.ionicMost) {
		ionic = s.ionicMost
	}
	if !(ionic > 1e-9) {
		ionic = 1e-9
	}
	s.ionic = ionic
}

// waterActivity is Raoult's law with 0.017 for 1/55.5, as in the reference
// program; all is what is dissolved, mol/kg.
func waterActivity(all float64) float64 {
	if a := 1 - float64(0.017*all); a > 0.3 {
		return a
	}
	return 0.3
}

// waterAfter is the activity of water after a step from the species at hand,
// with so much more of the partners dissolved. A partner stays as many moles of
// species whatever it pairs with; what has none comes and goes with the
// unknowns and the ionic strength.
func (s *speciation) waterAfter(step *[unknownCount]float64, ionic, more float64) float64 {
	return waterActivity(s.sums.all + more + dot(&s.sums.loose, step) + float64(s.looseBy*ionic))
}

// molalities are how much there is of each species, mol/kg.
type molalities [SpeciesCount]float64

// charge is cations minus anions, eq/kg.
func (m *molalities) charge() float64 {
	var charge, charge2 float64
	for i := 0; i+1 < len(m); i += 2 {
		charge += float64(chargeNumber[i] * m[i])
		charge2 += float64(chargeNumber[i+1] * m[i+1])
	}
	return charge + charge2
}

// hydrogen is the hydrogen balance of all species, mol/kg: what strong acid
// raises and strong base lowers.
func (m *molalities) hydrogen() float64 {
	sum := 0.0
	for i := range m {
		sum += float64(hot[i].hydrogen * m[i])
	}
	return sum
}

// carbon is the inorganic carbon of all species, mmol/kg.
func (m *molalities) carbon() float64 {
	sum := 0.0
	for i := range m {
		sum += float64(table[i].nu[uCO3] * m[i])
	}
	return 1000 * sum
}
