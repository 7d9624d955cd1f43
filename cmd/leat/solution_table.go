package main

import (
	"fmt"
	"io"
	"math"
	"sort"
	"strings"

	"leat/dosing/chem"
)

// printSolutionTable prints a solution for reading.
func printSolutionTable(a solutionAsked, w io.Writer) error {
	var r chem.Result
	t, err := a.solve(&r)
	if err != nil {
		return err
	}
	var out strings.Builder
	printSummary(&out, a, t, &r)
	printSpecies(&out, &r)
	printSaturation(&out, &r)
	if err = printDoubts(&out, a, &t, &r); err != nil {
		return err
	}
	r.Warnings.Each(func(text string) { fmt.Fprintf(&out, "\nwarning: %s\n", text) })
	_, err = io.WriteString(w, out.String())
	return err
}

func printSummary(w io.Writer, a solutionAsked, t chem.Totals, r *chem.Result) {
	how := "by charge balance"
	if a.conditions.FixedPH != 0 {
		how = "given"
	}
	if a.conditions.Open {
		how += fmt.Sprintf(", open to %.0f ppm CO2", a.conditions.CO2Atm*1e6)
	}
	row := func(name, value, remark string) {
		line := fmt.Sprintf("%-18s %10s  %s", name, value, remark)
		fmt.Fprintln(w, strings.TrimRight(line, " "))
	}
	row("pH", fmt.Sprintf("%.2f", r.PH), how)
	row("EC", fmt.Sprintf("%.3f", r.EC), fmt.Sprintf("mS/cm at %g °C", r.TempC))
	row("EC at 25 °C", fmt.Sprintf("%.3f", r.EC25), "mS/cm")
	s := chem.Solver{NitratePairs: a.pairs}
	if own, err := s.TemperatureCoefficient(&t, a.conditions); err == nil {
		row("its coefficient", fmt.Sprintf("%.2f", own), "% per °C of the EC at 25 °C")
	}
	row("buffer", fmt.Sprintf("%.3f", r.Buffer), "meq/L per pH")
	row("ionic strength", fmt.Sprintf("%.4f", r.IonicStrength), "mol/kg water")
	row("charge missing", fmt.Sprintf("%.3f", 0-chargeShown(r)), "meq/kg water, cations short of anions")
	if a.conditions.Open {
		row("carbon", fmt.Sprintf("%.3f", r.DIC), "mmol/kg water in equilibrium with that air")
	}
	printRebound(row, a)
}

// printRebound tells where pH ends once the carbon dioxide that an addition
// set free has left.
func printRebound(row func(name, value, remark string), a solutionAsked) {
	if a.added == (chem.Totals{}) || a.conditions.Open || a.conditions.FixedPH != 0 || !(a.totals.DIC+a.added.DIC > 0) {
		return
	}
	var s chem.Solver
	ends, err := s.Rebound(&a.totals, &a.added, a.conditions.TempC, roomCO2)
	if err != nil {
		return
	}
	row("pH later", fmt.Sprintf("%.2f", ends.Open), fmt.Sprintf("when it has met air of %.0f ppm CO2, %.2f mmol/kg of carbon gone", roomCO2*1e6, ends.Lost))
	if ends.Met > 0 {
		row("bicarbonate met", fmt.Sprintf("%.0f %%", 100*ends.Met), "by the addition")
	}
	after := a.totals.Add(a.added, 1)
	open := chem.Conditions{TempC: a.conditions.TempC, Open: true, CO2Atm: roomCO2}
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
