package chem

import (
	_ "embed"
	"fmt"
	"math"
)

// Phase names a solid; it indexes Result.Saturation.
type Phase int

// The solids, in the order of data/phases.txt.
const (
	Calcite Phase = iota
	Gypsum
	Brushite
	Hydroxyapatite
	Struvite
	PhaseCount
)

//go:embed data/phases.txt
var phasesText string

type phase struct {
	name, source string
	product      species // formed and partners of the ion product, log K
	needs        [unknownCount]bool
	uses         [partnerCount]float64 // how many of each partner
}

var (
	phases      [PhaseCount]phase
	usedByPhase [partnerCount]bool
)

// String gives the name as in the table, "gypsum".
func (p Phase) String() string {
	if p < 0 || p >= PhaseCount {
		return fmt.Sprintf("Phase(%d)", int(p))
	}
	return phases[p].name
}

// Source says where the solubility product comes from.
func (p Phase) Source() string { return phases[p].source }

func readPhases() error {
	rows := dataRows(phasesText, "|")
	if len(rows) != int(PhaseCount) {
		return fmt.Errorf("phases.txt has %d rows, saturation.go %d", len(rows), PhaseCount)
	}
	for i, row := range rows {
		if len(row) != 4 {
			return fmt.Errorf("phases.txt, %s: %d columns instead of 4", row[0], len(row))
		}
		p := &phases[i]
		p.name, p.source = row[0], row[3]
		k, err := readLogK(row[2])
		if err != nil {
			return fmt.Errorf("phases.txt, %s: %w", row[0], err)
		}
		err = eachTerm(row[1], SpeciesCount, func(n int, of *species, water bool) {
			if water {
				p.product.water += int8(n)
				return
			}
			p.product.water += int8(n) * of.water
			for u := range of.nu {
				p.product.nu[u] += float64(float64(n) * of.nu[u])
				p.needs[u] = p.product.nu[u] != 0
			}
			if of.partner >= 0 {
				usedByPhase[of.partner] = true
				p.uses[of.partner] += float64(float64(n) * float64(of.partners))
			}
			// SI = log(product of these species) - log K; each is K times its
			// masters, so its own log K joins with the opposite sign.
			for j := range k {
				k[j] -= float64(float64(n) * of.log[j])
			}
		})
		if err != nil {
			return fmt.Errorf("phases.txt, %s: %w", row[0], err)
		}
		p.product.log = k
	}
	return nil
}

// saturation fills the indices from the activities of the last speciation. An
// index is NaN when one of its ions is absent.
func (s *Solver) saturation(k *constants, r *Result) {
	lnWater := ln(s.water)
	var lnPartner [partnerCount]float64
	for c, a := range s.partnerActivity {
		if usedByPhase[c] && a > 0 {
			lnPartner[c] = ln(a)
		}
	}
	for i := range phases {
		p := &phases[i]
		sum := float64(float64(p.product.water) * lnWater)
		absent := false
		for u, n := range p.product.nu {
			if n == 0 {
				continue
			}
			absent = absent || !s.active[u]
			sum += float64(n * s.x[u])
		}
		for c, n := range p.uses {
			if n == 0 {
				continue
			}
			a := s.partnerActivity[c]
			if !(a > 0) {
				absent = true
				continue
			}
			sum += float64(n * lnPartner[c])
		}
		if absent {
			r.Saturation[i] = math.NaN()
			continue
		}
		r.Saturation[i] = sum/ln10 - k.solubility[i]
	}
}
