package sheet

import (
	"fmt"
	"io"

	"leat/controller/report"
)

// Water writes the daily balance, for a terminal.
func Water(w io.Writer, r *report.Water) error {
	var p page
	p.line("%s", r.Verdict)
	p.line("\nStation %s, %s; litres a day", r.Station, r.At.Format("2006-01-02 15:04"))
	for i := range r.Tanks {
		t := &r.Tanks[i]
		area := "its plant area is not stated: plant_area"
		if t.Area > 0 {
			area = fmt.Sprintf("%.3g m² of plants", t.Area)
		}
		p.line("\n%s, %.4g L, %s", t.Name, t.Litres, area)
		p.line("  %-10s  %9s  %9s  %7s  %7s  %11s  %6s  %5s  %6s", "day", "topped up", "otherwise", "dosed", "dumped", "level rose", "used", "±", "L/m²")
		for _, d := range t.Days {
			p.line("  %-10s  %9.1f  %9.1f  %7.2f  %7.1f  %11s  %6s  %5.1f  %6s%s", d.Date, d.ToppedL, d.AddedL, d.DosedL, d.DumpedL, orDash(d.RoseL, "%+.1f"), orDash(d.UsedL, "%.1f"), d.OffL, orDash(d.PerM2, "%.2f"), clause(d.Doubt))
		}
	}
	p.line("\nUsed is what plants and air took, and leaks: what came in, less what was dumped, less what the level rose; ± is its standard uncertainty.")
	_, err := io.WriteString(w, p.String())
	return err
}

func orDash(v *float64, format string) string {
	if v == nil {
		return "–"
	}
	return fmt.Sprintf(format, *v)
}
