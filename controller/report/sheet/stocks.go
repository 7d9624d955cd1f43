package sheet

import (
	"fmt"
	"io"
	"slices"

	"leat/controller/report"
)

// Stocks writes what the containers hold, for a terminal.
func Stocks(w io.Writer, r *report.Stocks) error {
	var p page
	p.line("%s", r.Verdict)
	demand := report.Counted(r.Days, "day")
	if r.Usual {
		demand = "a usual crop"
	}
	p.line("\nStation %s, %s; demand of %s", r.Station, r.At.Format("2006-01-02 15:04"), demand)
	wide := 0
	for i := range r.Stocks {
		wide = max(wide, len([]rune(container(&r.Stocks[i]))))
	}
	for i := range r.Stocks {
		s := &r.Stocks[i]
		p.line("  %-*s  %s", wide, container(s), stock(s))
	}
	if slices.ContainsFunc(r.Stocks, func(s report.Stock) bool { return s.Left == nil }) {
		p.line("\nEnter what a container holds, after a refill or as it is, on the page or with leat act refill -pump NAME -litres VOLUME.")
	}
	_, err := io.WriteString(w, p.String())
	return err
}

func container(s *report.Stock) string {
	return liquid(report.Liquid{Pump: s.Pump, Liquid: s.Liquid})
}

func stock(s *report.Stock) string {
	text := "not known"
	if s.Left != nil {
		text = report.Volume(*s.Left) + " left"
		if s.Container > 0 {
			text += " of " + report.Volume(s.Container)
		}
	}
	if s.PerDay != nil {
		text += fmt.Sprintf("; %s a day", report.Volume(*s.PerDay))
	}
	if s.Lasts != nil {
		text += "; lasts " + s.Lasts.String()
	}
	if s.Left != nil {
		text += "; refilled " + s.Refilled.Format("2006-01-02")
		if s.By != "" {
			text += " by " + s.By
		}
		if s.Batch != "" {
			text += ", batch " + s.Batch
		}
		text += clause(s.Note)
	}
	return text
}
