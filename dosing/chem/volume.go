package chem

import "math"

// traceMol is too little of a species to matter to volume or viscosity.
const traceMol = 1e-7 // mol/kg; 3e-8 of the viscosity

// swelling is the apparent molar volume of a species at one temperature,
//
//	dilute + charge sqrt(I)/(1 + size sqrt(I)) + more I^power   cm3/mol
type swelling struct {
	species                           Species
	dilute, charge, size, more, power float64
}

var swellings []swelling

func listSwellings() {
	for s := Species(0); s < SpeciesCount; s++ {
		if sp := &table[s]; sp.hasVolume {
			swellings = append(swellings, swelling{species: s, power: sp.vol[9]})
		}
	}
}

// setVolumes0 computes what of the volumes depends on temperature.
func (k *constants) setSwellings() {
	theta := k.kelvins - 228
	for i := range swellings {
		w := &k.swellings[i]
		*w = swellings[i]
		sp := &table[w.species]
		v := &sp.vol
		w.dilute = float64(41.84*(float64(0.1*v[0])+100*v[1]/2601+v[2]/theta+1e4*v[3]/(2601*theta))) - float64(v[4]*1e5*k.born)
		w.charge = 0.5 * sp.zz * k.dhV
		w.size = k.dhB * v[5]
		w.more = v[6] + v[7]/theta + float64(v[8]*theta)
	}
}

// setVolumes computes the apparent molar volumes' growth with ionic strength
// and from it the litres of solution that a kilogram of water makes.
func (s *speciation) setVolumes() {
	root := math.Sqrt(s.ionic)
	s.lnIonic = s.recall.ionic.ln(s.ionic)
	cm3 := 1000 / s.density
	for i := range s.swellings[:len(swellings)] {
		w := &s.swellings[i]
		m := s.m[w.species]
		if m < traceMol {
			s.growth[w.species] = 0
			continue
		}
		g := w.charge * root / (1 + float64(w.size*root))
		switch w.power {
		case 1:
			g += float64(w.more * s.ionic)
		case 0:
			g += w.more
		default:
			g += float64(w.more * s.recall.volume[w.species].exp(float64(w.power*s.lnIonic)))
		}
		s.growth[w.species] = g
		cm3 += float64(m * (w.dilute + g))
	}
	s.litres = cm3 / 1000
}
