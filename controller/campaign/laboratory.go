package campaign

import (
	"leat/controller/sim"
	"leat/dosing/blend"
	"leat/dosing/chem"
)

// chargeOf is the cations of an amount, meq: about ten of them in a litre make one
// mS/cm.
func chargeOf(t chem.Totals) float64 { return t.K + t.NH4 + 2*t.Ca + 2*t.Mg }

// analyse is the water as a laboratory finds it.
func analyse(truth sim.Truth, from *stream) blend.Analysis {
	a := blend.Analysis{Content: blend.ContentOf(truth.Ions), Alkalinity: -1, PH: truth.PH, EC: truth.EC}
	for s := blend.NO3; s <= blend.Cl; s++ {
		a.Content[s] = max(a.Content[s]*(1+float64(labError*from.normal())), 0)
		a.Stated[s] = true
	}
	a.Content[blend.Carbon] = 0
	return a
}

// normal draws from the standard normal distribution: twelve uniform ones less six.
func (s *stream) normal() float64 {
	sum := -6.0
	for range 12 {
		sum += s.uniform(0, 1)
	}
	return sum
}
