package solution

import (
	"fmt"
	"io"
	"math"
	"sort"
	"strings"

	"leat/dosing/chem"
)

// roomCO2 is the carbon dioxide of a ventilated room, for the second end point of an
// addition.
const roomCO2 = 420e-6 // atm

// Text solves the solution for a table to read.
func (q *Question) Text() (string, error) {
	var r chem.Result
	t, err := q.solve(&r)
	if err != nil {
		return "", err
	}
	var out strings.Builder
	q.printSummary(&out, t, &r)
	printSpecies(&out, &r)
	printSaturation(&out, &r)
	if err = q.printDoubts(&out, &t, &r); err != nil {
		return "", err
	}
	r.Warnings.Each(func(text string) { fmt.Fprintf(&out, "\nwarning: %s\n", text) })
	return out.String(), nil
}

func (q *Question) printSummary(w io.Writer, t chem.Totals, r *chem.Result) {
	how := "by charge balance"
	if q.Conditions.FixedPH != 0 {
		how = "given"
	}
	if q.Conditions.Open {
		how += fmt.Sprintf(", open to %.0f ppm CO2", q.Conditions.CO2Atm*1e6)
	}
	row := func(name, value, remark string) {
		line := fmt.Sprintf("%-18s %10s  %s", name, value, remark)
		fmt.Fprintln(w, strings.TrimRight(line, " "))
	}
	row("pH", fmt.Sprintf("%.2f", r.PH), how)
	row("EC", fmt.Sprintf("%.3f", r.EC), fmt.Sprintf("mS/cm at %g °C", r.TempC))
	row("EC at 25 °C", fmt.Sprintf("%.3f", r.EC25), "mS/cm")
	s := chem.Solver{NitratePairs: q.NitratePairs}
	if own, err := s.TemperatureCoefficient(&t, q.Conditions); err == nil {
		row("its coefficient", fmt.Sprintf("%.2f", own), "% per °C of the EC at 25 °C")
	}
	row("buffer", fmt.Sprintf("%.3f", r.Buffer), "meq/L per pH")
	row("ionic strength", fmt.Sprintf("%.4f", r.IonicStrength), "mol/kg water")
	row("charge missing", fmt.Sprintf("%.3f", 0-chargeShown(r)), "meq/kg water, cations short of anions")
	if q.Conditions.Open {
		row("carbon", fmt.Sprintf("%.3f", r.DIC), "mmol/kg water in equilibrium with that air")
	}
	q.printRebound(row)
}

// printRebound tells where pH ends once the carbon dioxide that an addition
// set free has left.
func (q *Question) printRebound(row func(name, value, remark string)) {
	if q.Added == (chem.Totals{}) || q.Conditions.Open || q.Conditions.FixedPH != 0 || !(q.Totals.DIC+q.Added.DIC > 0) {
		return
	}
	var s chem.Solver
	ends, err := s.Rebound(&q.Totals, &q.Added, q.Conditions.TempC, roomCO2)
	if err != nil {
		return
	}
	row("pH later", fmt.Sprintf("%.2f", ends.Open), fmt.Sprintf("when it has met air of %.0f ppm CO2, %.2f mmol/kg of carbon gone", roomCO2*1e6, ends.Lost))
	if ends.Met > 0 {
		row("bicarbonate met", fmt.Sprintf("%.0f %%", 100*ends.Met), "by the addition")
	}
	after := q.Totals.Add(q.Added, 1)
	open := chem.Conditions{TempC: q.Conditions.TempC, Open: true, CO2Atm: roomCO2}
	if more, err := s.AcidFor(&after, ends.Closed, open); err == nil && more > 0 {
		row("acid to stay", fmt.Sprintf("%.3f", more), fmt.Sprintf("meq/kg water more, to hold pH %.2f then", ends.Closed))
	}
}

// printSpecies prints what is there, most first, in three columns.
func printSpecies(w io.Writer, r *chem.Result) {
	const least = 1e-6 // mmol/kg
	var there []chem.Species
	for i, m := range r.Species {
		if m >= least {
			there = append(there, chem.Species(i))
		}
	}
	sort.SliceStable(there, func(i, j int) bool { return r.Species[there[i]] > r.Species[there[j]] })
	fmt.Fprint(w, "\nspecies, mmol/kg water\n")
	const columns = 3
	rows := (len(there) + columns - 1) / columns
	for i := 0; i < rows; i++ {
		line := ""
		for j := i; j < len(there); j += rows {
			line += fmt.Sprintf("  %-11s %-12s", there[j], fmt.Sprintf("%.4g", r.Species[there[j]]))
		}
		fmt.Fprintln(w, strings.TrimRight(line, " "))
	}
}

func printSaturation(w io.Writer, r *chem.Result) {
	fmt.Fprint(w, "\nsaturation, log10; above 0 it can fall out (brushite above 0.3)\n")
	for i, si := range r.Saturation {
		value := "–" // an ion is absent
		if !math.IsNaN(si) {
			value = fmt.Sprintf("%+.2f", si) + publishedApart(chem.Phase(i), si)
		}
		fmt.Fprintf(w, "  %-16s %s\n", chem.Phase(i), value)
	}
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
func (q *Question) printDoubts(w io.Writer, t *chem.Totals, r *chem.Result) error {
	if q.NitratePairs {
		without, err := withoutPairs(t, q.Conditions)
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
	if !q.Spread {
		return nil
	}
	s := chem.Solver{NitratePairs: q.NitratePairs}
	spread, err := s.Spread(t, q.Conditions)
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
