package chem

import "math"

// thickener is a species that changes the viscosity, at one temperature.
type thickener struct {
	species   Species
	d3, z, fz float64
	tan       float64
	b, d      float64 // Jones-Dole, and of the second-order term
	dilute    float64 // cm3/mol, of the apparent molar volume
}

var thickeners []thickener

func listThickeners() {
	for s := Species(0); s < SpeciesCount; s++ {
		b := &table[s].visc
		if *b == [7]float64{} {
			continue
		}
		z := math.Abs(float64(table[s].charge))
		thickeners = append(thickeners, thickener{species: s, d3: b[5], z: z, fz: (float64(z*z) + z) / 2, tan: b[6]})
	}
}

// setThickeners computes what of the viscosity depends on temperature.
func (k *constants) setThickeners() {
	k.falkDole = 4.3787e-14 * float64(k.kelvins*math.Sqrt(k.kelvins)) / k.viscosity
	var dilute [SpeciesCount]float64
	for i := range k.swellings[:len(swellings)] {
		dilute[k.swellings[i].species] = k.swellings[i].dilute
	}
	k.chloride = dilute[Cl]
	for i := range thickeners {
		v := &k.thickeners[i]
		*v = thickeners[i]
		b := &table[v.species].visc
		v.dilute = dilute[v.species]
		if b[0] != 0 || b[1] != 0 {
			v.b = b[0] + float64(b[1]*exp(float64(-b[2]*k.tempC)))
		}
		if b[3] != 0 {
			v.d = b[3] * exp(float64(-b[4]*k.tempC))
		}
	}
}

// relativeViscosity is the solution's viscosity over that of water.
func (s solution) relativeViscosity(plus, minus *charges) float64 {
	linear, square := 0.0, 0.0
	volume, anions := 0.0, 0.0
	for i := range s.thickeners[:len(thickeners)] {
		v := &s.thickeners[i]
		m := s.m[v.species]
		if m < traceMol {
			continue
		}
		linear += float64(v.b * m)
		if d := float64(v.d * m); v.matters(d, m, s.ionic) {
			second := float64(d * s.secondOrder(v, m))
			if second < -1e-5 {
				second = 0 // as in the reference program
			}
			square += second
		}
		if v.tan != 0 {
			volume += float64((v.dilute + s.growth[v.species]) * float64(v.tan*m))
			anions += m
		}
	}
	bulk := 1.0
	if chloride := s.chloride + s.growth[Cl]; anions > 0 && chloride > 0 {
		bulk = 2 - volume/(anions*chloride)
	}
	ratio := 1 + s.rootTerm(plus, minus) + float64(bulk*(linear+square))
	return math.Min(math.Max(ratio, 0.5), 20)
}

// rootTerm is Falkenhagen and Dole's, in the square root of concentration.
func (s solution) rootTerm(plus, minus *charges) float64 {
	z1, z2 := plus.eq/plus.mol, minus.eq/minus.mol
	d1, d2 := plus.eq/plus.eqByD, minus.eq/minus.eqByD
	t := (d1 - d2) / (math.Sqrt(float64(d1*z1)+float64(d2*z2)) + math.Sqrt((d1+d2)*(z1+z2)))
	psi := float64(0.25*(float64(d1*z2)+float64(d2*z1))) - float64(z1*z2*float64(t*t))
	a := s.falkDole / (math.Sqrt(s.permittivity*(z1+z2)/math.Max(z1, z2)) * (d1 * d2)) * psi
	return float64(a * math.Sqrt(0.5*(plus.eq+minus.eq)))
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
func (s solution) secondOrder(v *thickener, m float64) float64 {
	own := m * v.fz
	if v.z == 0 {
		own = s.ionic
	}
	f := -1.0
	switch {
	case v.d3 >= 1:
		f = s.ionic / 3 / v.d3
	case v.d3 > 0.4:
		f = -0.8 / v.d3
	}
	sum := s.recall.own[v.species].of(own, v.d3)
	if f != -1 {
		sum += float64(s.recall.thickens[v.species].exp(float64(v.d3*s.lnIonic)) * (1 + f))
	}
	return sum / (2 + f)
}
