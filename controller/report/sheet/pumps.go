package sheet

import (
	"fmt"
	"io"
	"time"

	"leat/controller/report"
)

// Pumps writes how the pumps were measured, for a terminal.
func Pumps(w io.Writer, r *report.Pumps) error {
	var p page
	p.line("%s", r.Verdict)
	p.line("\nStation %s, %s", r.Station, r.At.Format("2006-01-02 15:04"))
	for i := range r.Pumps {
		pump := &r.Pumps[i]
		text := fmt.Sprintf("  %s: %s/min in the file; its tube ran %s", container(&report.Stock{Pump: pump.Name, Liquid: pump.Liquid}), report.Volume(60*pump.Rate), long(time.Duration(pump.TubeHours*float64(time.Hour))))
		if !pump.Tube.IsZero() {
			text += " since " + pump.Tube.Format("2006-01-02")
		}
		p.line("%s", text)
		for k := len(pump.Measured) - 1; k >= 0; k-- {
			m := &pump.Measured[k]
			by := ""
			if m.By != "" {
				by = " (" + m.By + ")"
			}
			p.line("    %s%s %s/min, %+.1f %%%s", m.At.Format("2006-01-02 15:04"), by, report.Volume(60*m.Rate), 100*m.Beside, clause(m.Note))
		}
	}
	_, err := io.WriteString(w, p.String())
	return err
}
