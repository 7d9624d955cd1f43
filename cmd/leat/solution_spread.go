package main

import (
	"fmt"
	"io"
	"math"

	"leat/dosing/chem"
)

// span is a lowest and a highest value in JSON.
type span struct {
	Low  *float64 `json:"low"`
	High *float64 `json:"high"`
}

// rangeDocument is the JSON of one range over the published constants.
type rangeDocument struct {
	span
	By   string   `json:"moved_most_by,omitempty"`
	Set  string   `json:"set,omitempty"`
	Move *float64 `json:"move"`
}

type spreadDocument struct {
	PH         rangeDocument            `json:"ph"`
	EC         rangeDocument            `json:"ec_ms_per_cm"`
	EC25       rangeDocument            `json:"ec25_ms_per_cm"`
	Saturation map[string]rangeDocument `json:"saturation"`
}

// pairsDocument is what counting nitrate's pairs adds to each figure.
type pairsDocument struct {
	PH         *float64            `json:"ph_change"`
	EC         *float64            `json:"ec_change_ms_per_cm"`
	EC25       *float64            `json:"ec25_change_ms_per_cm"`
	Saturation map[string]*float64 `json:"saturation_change"`
}

// document is the JSON of a solution with the doubts that were asked for.
func (a *solutionAsked) document(t *chem.Totals, at chem.Conditions, r *chem.Result) (solutionDocument, error) {
	d := documentOf(r)
	if a.spread {
		s := chem.Solver{NitratePairs: a.pairs}
		spread, err := s.Spread(t, at)
		if err != nil {
			return d, err
		}
		d.Spread = &spreadDocument{PH: rangeOf(spread.PH), EC: rangeOf(spread.EC), EC25: rangeOf(spread.EC25), Saturation: map[string]rangeDocument{}}
		for i, g := range spread.Saturation {
			d.Spread.Saturation[chem.Phase(i).String()] = rangeOf(g)
		}
	}
	if a.pairs {
		without, err := withoutPairs(t, at)
		if err != nil {
			return d, err
		}
		d.Pairs = &pairsDocument{PH: digits(r.PH - without.PH), EC: digits(r.EC - without.EC), EC25: digits(r.EC25 - without.EC25), Saturation: map[string]*float64{}}
		for i, si := range r.Saturation {
			d.Pairs.Saturation[chem.Phase(i).String()] = digits(si - without.Saturation[i])
		}
	}
	return d, nil
}

func rangeOf(g chem.Range) rangeDocument {
	return rangeDocument{span: span{digits(g.Low), digits(g.High)}, By: g.By, Set: g.Set, Move: digits(g.Move)}
}

// withoutPairs is the same solution by the ordinary model.
func withoutPairs(t *chem.Totals, at chem.Conditions) (r chem.Result, err error) {
	var s chem.Solver
	err = s.Solve(t, at, &r)
	return r, err
}

// wideApart is from where on published solubility products differ so much that an
// index is not printed without its range.
const wideApart = 1.0

// publishedSaturation holds the indices whose solubility products are published wide
// apart, from the lowest to the highest.
func publishedSaturation(saturation *[chem.PhaseCount]float64) map[string]*span {
	all := map[string]*span{}
	for i, si := range saturation {
		falls, rises := chem.Phase(i).Published()
		if falls+rises >= wideApart && !math.IsNaN(si) {
			all[chem.Phase(i).String()] = &span{digits(si - falls), digits(si + rises)}
		}
	}
	return all
}

// publishedApart says the range of an index where publications stand wide apart.
func publishedApart(p chem.Phase, si float64) string {
	falls, rises := p.Published()
	if falls+rises < wideApart {
		return ""
	}
	return fmt.Sprintf("  (%+.1f to %+.1f by the published solubility products)", si-falls, si+rises)
}

// printDoubts prints what the options ask for: what nitrate's pairs change, and how far
// each figure reaches over the published constants.
func printDoubts(w io.Writer, a solutionAsked, t *chem.Totals, r *chem.Result) error {
	if a.pairs {
		without, err := withoutPairs(t, a.conditions)
		if err != nil {
			return err
		}
		fmt.Fprint(w, "\nnitrate pairs are counted; they change\n")
		change := func(name, format string, with, without float64, remark string) {
			if v := with - without; !math.IsNaN(v) {
				fmt.Fprintf(w, "  %-16s "+format+"%s\n", name, v, remark)
			}
		}
		change("pH", "%+.3f", r.PH, without.PH, "")
		change("EC", "%+.4f mS/cm", r.EC, without.EC, fmt.Sprintf(", %+.2f %%", 100*(r.EC/without.EC-1)))
		for i, si := range r.Saturation {
			change(chem.Phase(i).String(), "%+.3f", si, without.Saturation[i], "")
		}
	}
	if !a.spread {
		return nil
	}
	s := chem.Solver{NitratePairs: a.pairs}
	spread, err := s.Spread(t, a.conditions)
	if err != nil {
		return err
	}
	fmt.Fprint(w, "\nover the published constants, lowest to highest; what moves it most when exchanged alone\n")
	printRange(w, "pH", "%.3f", spread.PH)
	printRange(w, "EC", "%.4f", spread.EC)
	printRange(w, "EC at 25 °C", "%.4f", spread.EC25)
	for i, g := range spread.Saturation {
		printRange(w, chem.Phase(i).String(), "%+.2f", g)
	}
	return nil
}

func printRange(w io.Writer, name, format string, g chem.Range) {
	if math.IsNaN(g.Low) {
		return
	}
	by := "nothing moves it"
	if g.By != "" {
		by = g.By
		if g.Set != "" {
			by += " of " + g.Set
		}
		by += fmt.Sprintf(", by %+.2g", g.Move)
	}
	fmt.Fprintf(w, "  %-16s "+format+" to "+format+"  %s\n", name, g.Low, g.High, by)
}
