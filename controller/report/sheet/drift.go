package sheet

import (
	"fmt"
	"io"

	"leat/controller/report"
)

// Drift writes why pH moves, for a terminal.
func Drift(w io.Writer, r *report.Drifts) error { return drift(r).text(w) }

// DriftHTML writes the same for a browser.
func DriftHTML(w io.Writer, r *report.Drifts) error { return drift(r).html(w) }

func drift(r *report.Drifts) *leaf {
	l := &leaf{Title: fmt.Sprintf("Station %s, %s: why pH moves", r.Station, r.At.Format("2006-01-02 15:04"))}
	for i := range r.Tanks {
		l.Parts = append(l.Parts, driftPart(&r.Tanks[i]))
	}
	return l
}

// driftPart is one tank, as its acid asked for and as pH.
func driftPart(t *report.TankDrift) part {
	p := part{Heading: t.Name + ": " + t.Verdict()}
	if t.Untold != "" {
		return p
	}
	p.Lines = append(p.Lines, between(t.From, t.To))
	p.Unit = "acid that is asked for, meq for a litre of the tank and day, each with one standard uncertainty"
	p.Head = []string{"", "acid, meq/L a day", "pH an hour", "by"}
	for _, c := range t.Causes() {
		p.Rows = append(p.Rows, []string{c.Name, plusMinus(c.Meq, c.U), plusMinus(c.PerHour, c.PHU), c.By})
		p.Bars = append(p.Bars, bar{Label: c.Name, V: c.Meq, U: c.U})
	}
	p.Rows = append(p.Rows, []string{"all", plusMinus(t.All.Meq, t.All.U), plusMinus(t.All.PerHour, t.All.PHU), "doses, and how pH changed"})
	p.Bars = append(p.Bars, bar{Label: "all", V: t.All.Meq, U: t.All.U})
	if t.Nitrogen > 0 {
		p.Lines = append(p.Lines, fmt.Sprintf("ammonium: %.1f %% of the nitrogen that is given; each per cent more asks for %.3f meq/L less acid a day", 100*t.Ammonium, t.Point))
	}
	if t.Lever != "" {
		p.Lines = append(p.Lines, "what it could do, within the recipe's limit: "+t.Lever)
	}
	p.Lines = append(p.Lines, t.Notes...)
	return p
}

func plusMinus(v, u float64) string { return fmt.Sprintf("%+.3f ± %.3f", v, u) }
