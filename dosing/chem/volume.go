package chem

import "math"

// traceMol is too little of a species to matter to volume or viscosity.
const traceMol = 1e-7 // mol/kgw; 3e-8 of the viscosity

// setVolumes computes the apparent molar volumes' growth with ionic strength
// and from it the litres of solution that a kilogram of water makes.
func (s *Solver) setVolumes(k *constants) {
	root := math.Sqrt(s.ionic)
	s.lnIonic = ln(math.Max(s.ionic, 1e-12))
	cm3 := 1000 / k.density
	for i := range s.m {
		s.growth[i] = 0
		sp := &table[i]
		if !sp.hasVolume || s.m[i] < traceMol {
			continue
		}
		g := 0.0
		if sp.charge != 0 {
			g = 0.5 * sp.zz * k.dhV * root / (1 + float64(k.dhB*float64(sp.vol[5]*root)))
		}
		if v := k.volumeI[i]; v != 0 {
			switch e := sp.vol[9]; e {
			case 1:
				g += float64(v * s.ionic)
			case 0:
				g += v
			default:
				g += float64(v * exp(float64(e*s.lnIonic)))
			}
		}
		s.growth[i] = g
		cm3 += float64(s.m[i] * (k.volume0[i] + g))
	}
	s.litres = cm3 / 1000
}

// relativeViscosity is the solution's viscosity over that of water.
func (s *Solver) relativeViscosity(k *constants, plus, minus *charges) float64 {
	// Falkenhagen-Dole, the term in the square root of concentration.
	z1, z2 := plus.eq/plus.mol, minus.eq/minus.mol
	d1, d2 := plus.eq/plus.eqByD, minus.eq/minus.eqByD
	t := (d1 - d2) / (math.Sqrt(float64(d1*z1)+float64(d2*z2)) + math.Sqrt((d1+d2)*(z1+z2)))
	psi := float64(0.25*(float64(d1*z2)+float64(d2*z1))) - float64(z1*z2*float64(t*t))
	a := k.falkDole / (math.Sqrt(k.permittivity*(z1+z2)/math.Max(z1, z2)) * (d1 * d2)) * psi

	linear, square := 0.0, 0.0
	volume, anions := 0.0, 0.0
	for i := range viscous {
		v := &viscous[i]
		m := s.m[v.species]
		if m < traceMol {
			continue
		}
		linear += float64(k.viscB[v.species] * m)
		if d := float64(k.viscD[v.species] * m); v.matters(d, m, s.ionic) {
			second := d * v.secondOrder(m, s.ionic, s.lnIonic)
			if second < -1e-5 {
				second = 0 // as in the reference program
			}
			square += second
		}
		if v.tan != 0 {
			volume += float64((k.volume0[v.species] + s.growth[v.species]) * float64(v.tan*m))
			anions += m
		}
	}
	bulk := 1.0
	if chloride := k.volume0[Cl] + s.growth[Cl]; anions > 0 && chloride > 0 {
		bulk = 2 - volume/anions/chloride
	}
	ratio := 1 + float64(a*math.Sqrt(0.5*(plus.eq+minus.eq))) + float64(bulk*(linear+square))
	return math.Min(math.Max(ratio, 0.5), 20)
}

// thickener is a species that changes the viscosity.
type thickener struct {
	species   Species
	d3, z, fz float64
	tan       float64
}

var viscous []thickener

func listViscous() {
	for s := Species(0); s < SpeciesCount; s++ {
		b := &table[s].visc
		if *b == [7]float64{} {
			continue
		}
		z := math.Abs(float64(table[s].charge))
		viscous = append(viscous, thickener{s, b[5], z, (float64(z*z) + z) / 2, b[6]})
	}
}

// matters is false where the second-order term is sure to stay below 2e-6.
func (v *thickener) matters(d, m, ionic float64) bool {
	x := m * v.fz
	if !(x > ionic) {
		x = ionic
	}
	switch {
	case x >= 1:
	case v.d3 >= 0.9:
		d *= x
	case v.d3 >= 0.5:
		d *= math.Sqrt(x)
	}
	return d > 2e-6 || d < -2e-6
}

// secondOrder is (I^d3 (1+fI) + (m fz)^d3)/(2+fI).
func (v *thickener) secondOrder(m, ionic, lnIonic float64) float64 {
	own := m * v.fz
	if v.z == 0 {
		own = ionic
	}
	f := -1.0
	switch {
	case v.d3 >= 1:
		f = ionic / 3 / v.d3
	case v.d3 > 0.4:
		f = -0.8 / v.d3
	}
	sum := exp(float64(v.d3 * ln(math.Max(own, 1e-12))))
	if f != -1 {
		sum += float64(exp(float64(v.d3*lnIonic)) * (1 + f))
	}
	return sum / (2 + f)
}
