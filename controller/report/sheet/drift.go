package sheet

import (
	"fmt"
	"io"

	"leat/controller/report"
)

// Drift writes why pH moves, for a terminal.
func Drift(w io.Writer, r *report.Drifts) error {
	var p page
	p.line("Station %s, %s: why pH moves", r.Station, r.At.Format("2006-01-02 15:04"))
	for i := range r.Tanks {
		t := &r.Tanks[i]
		p.line("\n%s: %s", t.Name, t.Verdict())
		p.causes(t)
	}
	_, err := io.WriteString(w, p.String())
	return err
}

// causes are the lines of a tank, as its acid asked for and as pH.
func (p *page) causes(t *report.TankDrift) {
	if t.Untold != "" {
		return
	}
	p.line("  %s", between(t.From, t.To))
	p.line("  %-18s %18s %20s", "", "acid, meq/L a day", "pH an hour")
	for _, c := range t.Causes() {
		p.line("  %-18s %s   %s", c.Name, figures(c.Cause), c.By)
	}
	p.line("  %-18s %s   by doses and by how pH changed", "all", figures(t.All))
	if t.Nitrogen > 0 {
		p.line("  ammonium: %.1f %% of the nitrogen that is given; each per cent more asks for %.3f meq/L less acid a day", 100*t.Ammonium, t.Point)
	}
	if t.Lever != "" {
		p.line("  what it could do, within the recipe's limit: %s", t.Lever)
	}
	for _, note := range t.Notes {
		p.line("  %s", note)
	}
}

func figures(c report.Cause) string {
	return fmt.Sprintf("%+9.3f ± %-6.3f %+11.3f ± %-6.3f", c.Meq, c.U, c.PerHour, c.PHU)
}
