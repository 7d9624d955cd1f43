package chem

import "math"

// conductor is a charged species that conducts, at one temperature.
type conductor struct {
	species             Species
	z, size, grow, visc float64
	diffusion, slowness float64 // m2/s and one over it
	free                float64 // lambda at infinite dilution, S cm2/eq
}

// conducting holds the cations first, then the anions.
var (
	conducting []conductor
	cations    int
)

func listConductors() {
	for _, sign := range []int{1, -1} {
		for s := Species(0); s < SpeciesCount; s++ {
			if sp := &table[s]; sp.charge*sign > 0 && sp.d25 != 0 {
				conducting = append(conducting, conductor{
					species: s, z: math.Abs(float64(sp.charge)), size: sp.size, grow: sp.sizeGrowth, visc: sp.viscExponent,
				})
			}
		}
		if sign > 0 {
			cations = len(conducting)
		}
	}
}

// perDiffusion takes m2/s to S cm2/mol: Nernst-Einstein at 25 °C, as the
// reference program does at every temperature.
const perDiffusion = 1e4 * faraday * faraday / (gasConstant * t25)

// setConductors computes what of the conductors depends on temperature.
func (k *constants) setConductors() {
	for i := range conducting {
		c, sp := &k.conductors[i], &table[conducting[i].species]
		*c = conducting[i]
		c.diffusion = sp.d25 * viscosity25 / k.viscosity
		if sp.dT != 0 {
			c.diffusion *= exp(sp.dT/k.kelvins - sp.dT/t25)
		}
		if k.altered != nil {
			c.diffusion *= 1 + k.altered.faster[c.species]
		}
		c.slowness = 1 / c.diffusion
		c.free = c.diffusion * float64(perDiffusion*c.z)
	}
	// Onsager's relaxation and electrophoresis, B1 and B2 below.
	a := elementary * elementary / (6 * math.Pi)
	k.relax = a / (2 * vacuumPermit * k.permittivity * boltzmann * k.kelvins) * k.dhB * 1e10
	k.electro = a * avogadro / k.viscosity * k.dhB * 1e17
}

// ions are the conductors of either sign.
func (k *constants) ions() (plus, minus []conductor) {
	return k.conductors[:cations], k.conductors[cations:len(conducting)]
}

// conductivity in mS/cm by Debye-Hückel-Onsager, ion by ion, each weighted by
// its equivalents, so that dilution reaches the sum of the ions (parameters of
// Appelo & Parkhurst). Per equivalent
//
//	lambda = (lambda0 - B2 |z| sqrt I/(1+ka)) (1 - B1 sqrt I/(1+ka)^2) (eta0/eta)^visc
//
// The factor kg water per litre stands squared, as in the program to which the
// parameters were fitted; very dilute water reads 0.3 % low by it.
func (s solution) conductivity() float64 {
	cations, anions := s.ions()
	plus, minus := s.m.charges(cations), s.m.charges(anions)
	if !(plus.mol > 0 && minus.mol > 0) {
		return 0
	}
	medium := s.mediumOf(&plus, &minus)
	sum := s.carried(cations, &medium, 0) + s.carried(anions, &medium, medium.anionShift)
	perLitre := 1 / s.litres
	return sum * float64(perLitre*perLitre)
}

// charges are the sums over the conducting ions of one sign.
type charges struct {
	mol, eq    float64 // mol/kg, eq/kg
	eqD, eqByD float64 // equivalents times and over the diffusion coefficient
}

func (m *molalities) charges(ions []conductor) (sum charges) {
	for i := range ions {
		c := &ions[i]
		mol := m[c.species]
		eq := float64(mol * c.z)
		sum.mol += mol
		sum.eq += eq
		sum.eqD += float64(eq * c.diffusion)
		sum.eqByD += float64(eq * c.slowness)
	}
	return sum
}

// medium is what all ions of a solution share on their way.
type medium struct {
	eq             float64 // of both signs
	size           float64 // what an angstrom counts: B sqrt I
	relax, electro float64 // B1 and B2 times sqrt I
	anionShift     float64 // anions are smaller beside divalent cations
	lnThin         float64 // ln of water's viscosity over the solution's
}

func (s solution) mediumOf(plus, minus *charges) medium {
	zPlus, zMinus := plus.eq/plus.mol, minus.eq/minus.mol
	dPlus, dMinus := plus.eqD/plus.mol, minus.eqD/minus.mol
	t := dPlus / (dPlus + dMinus)
	q := 1 / ((t/zPlus + (1-t)/zMinus) * (zPlus + zMinus))
	root := math.Sqrt(s.ionic)
	return medium{
		eq:         plus.eq + minus.eq,
		size:       s.dhB * root,
		relax:      s.relax * q / (1 + math.Sqrt(q)) * zPlus * zMinus * root,
		electro:    s.electro * root,
		anionShift: 0.126 * (zPlus - 1),
		lnThin:     -s.recall.viscosity.ln(s.relativeViscosity(plus, minus)),
	}
}

// carried is the sum of the ions' conductivities, S cm2/kg. The shift makes
// anions smaller.
func (s solution) carried(ions []conductor, in *medium, shift float64) float64 {
	negligible, scarce := 1e-8*in.eq, 1e-5*in.eq
	sum := 0.0
	for i := range ions {
		c := &ions[i]
		eq := float64(s.m[c.species] * c.z)
		if eq < negligible {
			continue
		}
		// Of a scarce ion the size may stay as in dilute water: 1e-7 of the sum.
		grown := 1.0
		if eq > scarce {
			grown = s.ionGrowth(c, shift)
		}
		sum += float64(c.lambda(in, shift, grown) * eq)
	}
	return sum
}

// lambda is the conductivity per equivalent, S cm2/eq, at least 0, of an ion
// grown to so many times its size in dilute water.
func (c *conductor) lambda(in *medium, shift, grown float64) float64 {
	ka := float64((c.size - float64(shift*c.z)) * float64(grown*in.size))
	near := 1 / (1 + ka)
	lambda := (c.free - float64(float64(in.electro*c.z)*near)) * (1 - float64(in.relax*float64(near*near)))
	if c.visc != 0 {
		lambda *= expSmall(float64(c.visc * in.lnThin))
	}
	if lambda > 0 {
		return lambda
	}
	return 0
}

// ionGrowth is how an ion's size grows with its apparent molar volume, at
// least 1; hydrogen, which has none, shrinks with the ionic strength.
func (s solution) ionGrowth(c *conductor, shift float64) float64 {
	e := c.grow + float64(shift*c.z)
	switch {
	case e == 0:
		return 1
	case c.species == H:
		return s.recall.size[H].of(1+s.ionic, e)
	}
	v := 1 + s.growth[c.species]
	if !(v > 0) {
		return 1
	}
	if grown := s.recall.size[c.species].of(v, e); grown > 1 {
		return grown
	}
	return 1
}
