package chem

import "math"

// charges are the sums over the conducting ions of one sign.
type charges struct {
	mol, eq    float64 // mol/kgw, eq/kgw
	eqD, eqByD float64 // equivalents times and over the diffusion coefficient
}

// conductivity in mS/cm by Debye-Hückel-Onsager, ion by ion, each weighted by
// its equivalents (chemistry.md, sections 2 and 4; Appelo & Parkhurst's
// parameters). Per equivalent
//
//	lambda = (lambda0 - B2 |z| sqrt I/(1+ka)) (1 - B1 sqrt I/(1+ka)^2) (eta0/eta)^visc
//
// The factor kg water per litre stands squared, as in the program to which the
// parameters were fitted; very dilute water reads 0.3 % low by it.
func (s *Solver) conductivity(k *constants) float64 {
	plus, minus := s.sumCharges(k)
	if !(plus.mol > 0 && minus.mol > 0) {
		return 0
	}
	medium := s.mediumOf(k, &plus, &minus)
	negligible, scarce := 1e-8*(plus.eq+minus.eq), 1e-5*(plus.eq+minus.eq)
	sum := 0.0
	for i := range conducting {
		c := &conducting[i]
		eq := float64(s.m[c.species] * c.z)
		if eq < negligible {
			continue
		}
		// Of a scarce ion the size may stay as in dilute water: 1e-7 of the sum.
		grow := 1.0
		if eq > scarce {
			grow = s.ionGrowth(c, medium.anionShift)
		}
		sum += float64(ionConductivity(k, c, &medium, grow) * eq)
	}
	perLitre := 1 / s.litres
	return sum * float64(perLitre*perLitre)
}

// medium is what all ions of a solution share on their way.
type medium struct {
	root           float64 // of the ionic strength
	relax, electro float64 // B1 and B2 times root
	anionShift     float64 // anions are smaller beside divalent cations
	lnThin         float64 // ln of water's viscosity over the solution's
}

func (s *Solver) mediumOf(k *constants, plus, minus *charges) medium {
	zPlus, zMinus := plus.eq/plus.mol, minus.eq/minus.mol
	dPlus, dMinus := plus.eqD/plus.mol, minus.eqD/minus.mol
	t := dPlus / (dPlus + dMinus)
	q := 1 / ((t/zPlus + (1-t)/zMinus) * (zPlus + zMinus))
	root := math.Sqrt(s.ionic)
	return medium{
		root:       root,
		relax:      k.relax * q / (1 + math.Sqrt(q)) * zPlus * zMinus * root,
		electro:    k.electro * root,
		anionShift: 0.126 * (zPlus - 1),
		lnThin:     -ln(s.relativeViscosity(k, plus, minus)),
	}
}

// perDiffusion takes m2/s to S cm2/mol: Nernst-Einstein at 25 °C, as the
// reference program does at every temperature.
const perDiffusion = 1e4 * faraday * faraday / (gasConstant * t25)

// ionConductivity is lambda per equivalent, S cm2/eq, at least 0, of an ion
// grown to so many times its size in dilute water.
func ionConductivity(k *constants, c *conductor, in *medium, grown float64) float64 {
	size := c.size
	if c.negative {
		size -= float64(in.anionShift * c.z)
	}
	ka := float64(k.dhB * float64(size*grown) * in.root)
	near := 1 / (1 + ka)
	free := float64(k.diffusion[c.species] * float64(perDiffusion*c.z))
	lambda := (free - float64(float64(in.electro*c.z)*near)) * (1 - float64(in.relax*float64(near*near)))
	if c.visc != 0 {
		lambda *= expSmall(float64(c.visc * in.lnThin))
	}
	if lambda > 0 {
		return lambda
	}
	return 0
}

// sumCharges adds up the conducting ions of either sign.
func (s *Solver) sumCharges(k *constants) (plus, minus charges) {
	for i := range conducting {
		c := &conducting[i]
		m, side := s.m[c.species], &plus
		if c.negative {
			side = &minus
		}
		eq, d := float64(m*c.z), k.diffusion[c.species]
		side.mol += m
		side.eq += eq
		side.eqD += float64(eq * d)
		side.eqByD += float64(eq * k.slowness[c.species])
	}
	return plus, minus
}

// ionGrowth is how an ion's size grows with its apparent molar volume, at
// least 1; hydrogen, which has none, shrinks with the ionic strength.
func (s *Solver) ionGrowth(c *conductor, anionShift float64) float64 {
	e := c.grow
	if c.negative {
		e += float64(anionShift * c.z)
	}
	switch {
	case e == 0:
		return 1
	case c.species == H:
		return pow(1+s.ionic, e)
	}
	v := 1 + s.growth[c.species]
	if !(v > 0) {
		return 1
	}
	if grown := pow(v, e); grown > 1 {
		return grown
	}
	return 1
}

// conductor is a charged species that conducts.
type conductor struct {
	species             Species
	z, size, grow, visc float64
	negative            bool
}

var conducting []conductor

func listConductors() {
	for s := Species(0); s < SpeciesCount; s++ {
		sp := &table[s]
		if sp.charge == 0 || sp.d25 == 0 {
			continue
		}
		conducting = append(conducting, conductor{s, math.Abs(float64(sp.charge)), sp.size, sp.sizeGrowth, sp.viscExponent, sp.charge < 0})
	}
}
