package sheet

import (
	"fmt"
	"io"
	"strings"

	"leat/controller/report"
)

// Shopping writes what to buy, for a terminal.
func Shopping(w io.Writer, r *report.Shopping) error {
	var p page
	p.line("%s", r.Verdict)
	switch {
	case r.Usual:
		p.line("\nTo buy, with a margin for what the crop takes more than is usual:")
	case len(r.Make) > 0:
		p.line("\nTo buy, enough nine times out of ten:")
	}
	for i := range r.Buy {
		b := &r.Buy[i]
		amount := fmt.Sprintf("%.3g kg", b.KG)
		if b.Litres > 0 {
			amount = report.Volume(1000*b.Litres) + " as labelled"
		}
		p.line("  %-28s %-18s for %s", b.What, amount, strings.Join(b.For, ", "))
	}
	if len(r.Make) > 0 && len(r.Buy) == 0 {
		p.line("  nothing: what is there lasts")
	}
	if len(r.Make) > 0 {
		p.line("\nThe liquids:")
	}
	for i := range r.Make {
		m := &r.Make[i]
		if m.Most == 0 && m.Why != "" {
			p.line("  %s: %s", container(&report.Stock{Pump: m.Pump, Liquid: m.Liquid}), m.Why)
			continue
		}
		text := fmt.Sprintf("%s needs %s, at most %s", container(&report.Stock{Pump: m.Pump, Liquid: m.Liquid}), report.Volume(1000*m.Need), report.Volume(1000*m.Most))
		if m.Left != nil {
			text += "; " + report.Volume(1000**m.Left) + " left"
		} else {
			text += "; no refill was entered, so it is taken for empty"
		}
		p.line("  %s%s", text, clause(m.Why))
	}
	if len(r.Make) > 0 {
		p.line("\nleat blend make -config FILE -litres L tells how each stock is made.")
	}
	_, err := io.WriteString(w, p.String())
	return err
}
