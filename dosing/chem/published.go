package chem

import (
	_ "embed"
	"fmt"
	"math"
	"strconv"
)

//go:embed data/published.txt
var publishedText string

// alteration is what a solver takes otherwise than the tables say.
type alteration struct {
	log    [SpeciesCount]float64 // log10 K more
	solids [PhaseCount]float64   // log10 K more
	faster [SpeciesCount]float64 // of the mobility, 0.01 is a per cent
}

// publishedValue is what one compilation says of one constant, as a difference
// from ours.
type publishedValue struct {
	name, set string
	species   Species
	solid     Phase // -1: it is the species' value
	moves     bool  // its mobility, not log K
	by        float64
}

var publishedValues []publishedValue

func readPublished() error {
	for _, row := range dataRows(publishedText, "|") {
		if len(row) != 5 {
			return fmt.Errorf("%s: %d columns instead of 5", row[0], len(row))
		}
		value, err := strconv.ParseFloat(row[2], 64)
		if err != nil {
			return fmt.Errorf("%s: %q is not a number", row[0], row[2])
		}
		v := publishedValue{name: row[0], set: row[3], solid: -1}
		p := powersOfT(t25)
		s, isSpecies := lookup(row[0], SpeciesCount)
		solid, isSolid := solidNamed(row[0])
		switch {
		case row[1] == "log K" && isSpecies:
			v.species, v.by = s, value-table[s].made.log.at(&p)
		case row[1] == "log K" && isSolid:
			v.solid, v.by = solid, value-phases[solid].made.log.at(&p)
		case row[1] == "lambda" && isSpecies && table[s].d25 > 0:
			ours := table[s].d25 * perDiffusion * math.Abs(float64(table[s].charge))
			v.species, v.moves, v.by = s, true, value/ours-1
		default:
			return fmt.Errorf("%s: no %s of it is in the tables", row[0], row[1])
		}
		publishedValues = append(publishedValues, v)
	}
	return nil
}

func solidNamed(name string) (Phase, bool) {
	for i := range phases {
		if phases[i].name == name {
			return Phase(i), true
		}
	}
	return -1, false
}

// alterationBy is what these values make of the tables. A constant that others
// are written on takes them along.
func alterationBy(values []publishedValue) *alteration {
	a := new(alteration)
	for _, v := range values {
		switch {
		case v.moves:
			a.faster[v.species] = v.by
		case v.solid >= 0:
			a.solids[v.solid] = v.by
		default:
			a.log[v.species] = v.by
		}
	}
	for s := range table {
		if table[s].log != (logK{}) {
			a.log[s] += a.along(table[s].made.reaction, Species(s))
		}
	}
	for p := range phases {
		a.solids[p] -= a.along(phases[p].made.reaction, SpeciesCount)
	}
	return a
}

// along is by how much the species of a reaction are altered together.
func (a *alteration) along(reaction string, before Species) (sum float64) {
	// The reaction was read before: it has no error left.
	_ = eachTerm(reaction, before, func(n int, of *species, water bool) {
		if !water {
			s, _ := lookup(of.name, SpeciesCount)
			sum += float64(float64(n) * a.log[s])
		}
	})
	return sum
}
