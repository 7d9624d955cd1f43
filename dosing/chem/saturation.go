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
	Newberyite
	PhaseCount
)

//go:embed data/phases.txt
var phasesText string

type phase struct {
	name, source string
	log          logK
	made         made
	ions         []part // of the ion product
}

// part is so many of one master species, or of water.
type part struct {
	of int // the unknowns, the partners after them, water last
	n  float64
}

const waterPart = unknownCount + partnerCount

var phases [PhaseCount]phase

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
		p.made = made{row[1], k}
		var holds [waterPart + 1]float64
		err = eachTerm(row[1], SpeciesCount, func(n int, of *species, water bool) {
			times := float64(n)
			if water {
				holds[waterPart] += times
				return
			}
			holds[waterPart] += float64(times * float64(of.water))
			for u := range of.nu {
				holds[u] += float64(times * of.nu[u])
			}
			if of.partner >= 0 {
				holds[unknownCount+of.partner] += float64(times * float64(of.partners))
			}
			// SI = log(product of these species) - log K; each is K times its
			// masters, so its own log K joins with the opposite sign.
			for j := range k {
				k[j] -= float64(times * of.log[j])
			}
		})
		if err != nil {
			return fmt.Errorf("phases.txt, %s: %w", row[0], err)
		}
		p.log = k
		for of, n := range holds {
			if n != 0 {
				p.ions = append(p.ions, part{of, n})
			}
		}
	}
	return nil
}

// saturation fills the indices from the activities of the last speciation. An
// index is NaN when one of its ions is absent, for the logarithm is.
func (s solution) saturation(r *Result) {
	var activity [waterPart + 1]float64 // ln
	for u, x := range s.x {
		activity[u] = x
		if !s.active[u] {
			activity[u] = math.NaN()
		}
	}
	for c, a := range s.partnerActivity {
		activity[unknownCount+c] = s.recall.partner[c].ln(a)
	}
	activity[waterPart] = s.recall.water.ln(s.water)
	for i := range phases {
		sum := 0.0
		for _, ion := range phases[i].ions {
			sum += float64(ion.n * activity[ion.of])
		}
		r.Saturation[i] = sum/ln10 - s.solubility[i]
	}
}
