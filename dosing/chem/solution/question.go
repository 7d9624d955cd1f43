// Package solution reads what a solution is made of, as people write it, and writes out
// what it is: a table for reading, a JSON document with promised keys, the same for every
// row of a file of cases. dosing/chem does the chemistry. It touches nothing.
package solution

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"leat/dosing/chem"
)

// Question is one solution and what is to be told of it. Amounts in mmol per kg of water.
type Question struct {
	Totals       chem.Totals
	Added        chem.Totals // acids and bases that are added first
	Conditions   chem.Conditions
	Spread       bool // tell how far each figure reaches over the published constants
	NitratePairs bool // count the ion pairs of nitrate, and tell what they change
}

// solve computes the solution with what is added to it.
func (q *Question) solve(r *chem.Result) (chem.Totals, error) {
	t := q.Totals.Add(q.Added, 1)
	s := chem.Solver{NitratePairs: q.NitratePairs}
	return t, s.Solve(&t, q.Conditions, r)
}

// ReadIons reads words such as "NO3=7.5"; a name that is none gets the one suggested that
// was plainly meant.
func ReadIons(words []string) (t chem.Totals, err error) {
	given := map[string]bool{}
	for _, word := range words {
		name, amount, found := strings.Cut(word, "=")
		if !found {
			return t, fmt.Errorf("%q is not ION=MMOL, for example NO3=7.5", word)
		}
		ion := t.Ion(name)
		if ion == nil {
			hint := ""
			if guess := nearestIon(name); guess != "" {
				hint = "; did you mean " + guess + "?"
			}
			return t, fmt.Errorf("%q is not an ion of the list%s (%s)", name, hint, strings.Join(chem.Ions[:], " "))
		}
		if given[name] {
			return t, fmt.Errorf("%s is given twice", name)
		}
		given[name] = true
		if *ion, err = Decimal(name, amount); err != nil {
			return t, err
		}
	}
	return t, nil
}

// ReadAdditions reads "HNO3=3,KOH=1", mmol per kg of water of acids and bases.
func ReadAdditions(text string) (added chem.Totals, err error) {
	for _, word := range strings.Split(text, ",") {
		name, amount, found := strings.Cut(word, "=")
		reagent, known := chem.ReagentNamed(name)
		if !found || !known {
			return added, fmt.Errorf("%q is not one of HNO3 H3PO4 H2SO4 KOH NaOH K2CO3 KHCO3 K2SiO3 with =MMOL", word)
		}
		v, err := Decimal(name, amount)
		if err != nil {
			return added, err
		}
		if !(v >= 0) {
			return added, fmt.Errorf("%s is below zero", word)
		}
		added = added.Add(reagent.Ions, v)
	}
	return added, nil
}

// ReadCO2 reads "400ppm" or "log10=-3.4" as atm; what names it in an error.
func ReadCO2(what, text string) (atm float64, err error) {
	if log, found := strings.CutPrefix(text, "log10="); found {
		if atm, err = Decimal(what+" log10", log); err != nil {
			return 0, err
		}
		return math.Pow(10, atm), nil
	}
	ppm, found := strings.CutSuffix(text, "ppm")
	if !found {
		return 0, fmt.Errorf("%s %q: write 400ppm or log10=-3.4", what, text)
	}
	atm, err = Decimal(what, strings.TrimSpace(ppm))
	return atm * 1e-6, err
}

// Decimal reads a plain decimal number; Go's NaN, Inf, hex and underscores are no amounts.
// what names it in an error.
func Decimal(what, text string) (float64, error) {
	if text != "" && strings.Trim(text, "0123456789.eE+-") == "" {
		if v, err := strconv.ParseFloat(text, 64); err == nil {
			return v, nil
		}
	}
	return 0, fmt.Errorf("%s: %q is not a number", what, text)
}
