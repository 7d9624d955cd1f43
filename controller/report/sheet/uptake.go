package sheet

import (
	"fmt"
	"io"

	"leat/controller/report"
)

// Uptake writes what the plants took of each nutrient, for a terminal.
func Uptake(w io.Writer, r *report.Uptake) error { return uptake(r).text(w) }

// UptakeHTML writes the same for a browser.
func UptakeHTML(w io.Writer, r *report.Uptake) error { return uptake(r).html(w) }

func uptake(r *report.Uptake) *leaf {
	l := &leaf{Title: fmt.Sprintf("Station %s, %s: what the plants took", r.Station, r.At.Format("2006-01-02 15:04"))}
	for i := range r.Tanks {
		l.Parts = append(l.Parts, uptakePart(&r.Tanks[i]))
	}
	l.Foot = []string{"Taken is what was given and came with the water, and what is less in the tank than at the beginning, less what was dumped.",
		"It is as good as the account of the ions, which each analysis corrects: leat act analysis."}
	return l
}

func uptakePart(t *report.TankUptake) part {
	p := part{Heading: t.Name, Head: []string{"g", "given", "with water", "less in tank", "dumped", "taken", "mg/m² a day"}}
	if t.Untold != "" {
		p.Lines = []string{"cannot be told: " + t.Untold}
		return p
	}
	p.Lines = append(p.Lines, fmt.Sprintf("%s; corrected by %s", between(t.From, t.To), analyses(t.Analyses)))
	if t.Area == 0 {
		p.Lines = append(p.Lines, "its plant area is not stated: plant_area")
	}
	p.Lines = append(p.Lines, fmt.Sprintf("dumped %.0f L; a whole change every two weeks, as is usual where nobody keeps account of the ions, would have been %.0f L", t.DumpedL, t.ChangesL))
	if spared := t.ChangesL - t.DumpedL; spared > 0 {
		p.Lines = append(p.Lines, fmt.Sprintf("%.0f L of drain need not have been dumped", spared))
	}
	for _, n := range t.Taken {
		p.Rows = append(p.Rows, []string{n.Symbol, grams(n.Given), grams(n.Water), fmt.Sprintf("%+.3g", n.Less), grams(n.Dumped), fmt.Sprintf("%.3g", n.Taken), orDash(n.PerArea, "%.3g")})
	}
	return p
}

func grams(g float64) string { return fmt.Sprintf("%.3g", g) }

func analyses(n int) string {
	if n == 1 {
		return "one analysis"
	}
	return fmt.Sprintf("%d analyses", n)
}
