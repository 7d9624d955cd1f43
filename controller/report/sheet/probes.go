package sheet

import (
	"io"

	"leat/controller/report"
)

// Probes writes how the probes were calibrated, for a terminal.
func Probes(w io.Writer, r *report.Probes) error {
	var p page
	p.line("%s", r.Verdict)
	p.line("\nStation %s, %s", r.Station, r.At.Format("2006-01-02 15:04"))
	for i := range r.Probes {
		probe := &r.Probes[i]
		text := "  " + probe.Tank + " " + probe.Name
		switch {
		case len(probe.Calibrations) == 0:
			text += ": never; leat calibrate -tank " + probe.Tank + " " + probe.Name
		case probe.Overdue:
			text += ": was due " + probe.Due.Format("2006-01-02")
		case !probe.Due.IsZero():
			text += ": due " + probe.Due.Format("2006-01-02")
		}
		if !probe.WornOut.IsZero() {
			text += "; at this wear its slope is 90 % on " + probe.WornOut.Format("2006-01-02") + ": have another ready"
		}
		p.line("%s", text)
		p.line("    %s", probe.MeterWords(r.At))
		for k := len(probe.Calibrations) - 1; k >= 0; k-- {
			c := &probe.Calibrations[k]
			by := ""
			if c.By != "" {
				by = " (" + c.By + ")"
			}
			p.line("    %s%s %s%s", c.At.Format("2006-01-02 15:04"), by, c.Text, clause(c.Note))
		}
	}
	_, err := io.WriteString(w, p.String())
	return err
}
