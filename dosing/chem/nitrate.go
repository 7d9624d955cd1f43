package chem

import (
	_ "embed"
	"fmt"
	"math"
)

//go:embed data/nitrate.txt
var nitrateText string

// nitratePairs are how much calcium and potassium is bound to nitrate, mol/kg.
type nitratePairs struct{ calcium, potassium float64 }

// nitrateLog holds the pairs' formation constants, calcium's first.
var nitrateLog [2]logK

func readNitratePairs() error {
	rows := dataRows(nitrateText, "|")
	if len(rows) != len(nitrateLog) {
		return fmt.Errorf("%d rows instead of %d", len(rows), len(nitrateLog))
	}
	for i, row := range rows {
		if pair := [...]Species{CaNO3, KNO3}[i]; len(row) != 4 || row[0] != table[pair].name {
			return fmt.Errorf("row %d is not %s with 4 columns", i+1, table[pair].name)
		}
		var err error
		if nitrateLog[i], err = readLogK(row[2]); err != nil {
			return err
		}
	}
	return nil
}

// setPairing says whether nitrate pairs; what was found with the other answer
// is no start.
func (s *speciation) setPairing(on bool) {
	if s.pairNitrate != on {
		s.pairNitrate, s.pairs, s.found, s.known = on, nitratePairs{}, false, false
	}
}

// speciatePaired lets nitrate pair with calcium and potassium. A pair holds two
// partners, which the search has no place for; so the bound part is taken out of
// both totals and stands as a species of its own, until it no longer moves. Each
// round takes the bound share of the cation, which settles at any strength.
func (s *speciation) speciatePaired(t *Totals, c *Conditions) error {
	const rounds, settled = 200, 1e-11
	p := powersOfT(s.kelvins)
	calcium, potassium := exp(float64(ln10*nitrateLog[0].at(&p))), exp(float64(ln10*nitrateLog[1].at(&p)))
	s.pairs = nitratePairs{}
	for range rounds {
		if err := s.find(t, c); err != nil {
			return err
		}
		nitrate := s.partnerActivity[pNO3]
		next := nitratePairs{
			calcium:   s.bound(t.Ca, calcium*nitrate*s.partnerActivity[pCa], s.partnerTotal[pCa], CaNO3),
			potassium: s.bound(t.K, potassium*nitrate*s.partnerActivity[pK], s.partnerTotal[pK], KNO3),
		}
		// No more than there is of nitrate.
		if all, most := next.calcium+next.potassium, 0.999*t.NO3/1000; all > most {
			next.calcium *= most / all
			next.potassium *= most / all
		}
		moved := math.Abs(next.calcium-s.pairs.calcium) + math.Abs(next.potassium-s.pairs.potassium)
		if moved < settled+float64(settled*t.NO3) {
			return nil
		}
		s.pairs = next
	}
	return &ConvergenceError{Iterations: rounds, IonicStrength: s.ionic}
}

// bound is how much of a cation's total (mmol/kg) is in a pair of that activity
// when so much (mol/kg) is free of it.
func (s *speciation) bound(total, activity, free float64, pair Species) float64 {
	if !(total > 0 && free > 0) {
		return 0
	}
	ratio := float64(activity*s.activity[table[pair].gamma].inverse) / free
	return total / 1000 * ratio / (1 + ratio)
}
