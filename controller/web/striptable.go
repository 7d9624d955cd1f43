package web

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// rowsOf is a night hour by hour, a month by its days, a year by its months, for who
// cannot see the drawing or wants the figures.
func rowsOf(n *Night) (rows []stripRow) {
	from, layout := n.From.Truncate(time.Hour), "15:04"
	next := func(t time.Time) time.Time { return t.Add(time.Hour) }
	switch whole := n.To.Sub(n.From); {
	case whole > 60*24*time.Hour:
		from, layout = time.Date(n.From.Year(), n.From.Month(), 1, 0, 0, 0, 0, n.From.Location()), "Jan 2006"
		next = func(t time.Time) time.Time { return t.AddDate(0, 1, 0) }
	case whole > 48*time.Hour:
		from, layout = midnight(n.From), "2 Jan"
		next = func(t time.Time) time.Time { return t.AddDate(0, 0, 1) }
	}
	for from.Before(n.To) {
		to := next(from)
		rows = append(rows, stripRow{Hour: from.Format(layout), PH: meanWords(&n.PH, from, to), EC: meanWords(&n.EC, from, to),
			Doses: givenWords(n.Lanes, from, to), Held: heldWords(n.Held, from, to), from: from, to: to})
		from = to
	}
	return rows
}

func within(at, from, to time.Time) bool { return !at.Before(from) && at.Before(to) }

// meanWords is the mean of an hour beside the setpoint at its end.
func meanWords(t *Trace, from, to time.Time) string {
	sum, count := 0.0, 0
	for _, p := range t.Line {
		if within(p.At, from, to) {
			sum, count = sum+p.Value, count+1
		}
	}
	if count == 0 {
		return "–"
	}
	text := fmt.Sprintf("%.2f", sum/float64(count))
	for _, set := range slices.Backward(t.Set) {
		if set.At.Before(to) {
			return text + fmt.Sprintf(" (%.2f)", set.Value)
		}
	}
	return text
}

func givenWords(lanes []Lane, from, to time.Time) string {
	var parts []string
	for i := range lanes {
		ml := 0.0
		for _, d := range lanes[i].Doses {
			if within(d.At, from, to) {
				ml += d.ML
			}
		}
		if ml > 0 {
			parts = append(parts, lanes[i].Pump+" "+millilitres(ml))
		}
	}
	if len(parts) == 0 {
		return "–"
	}
	return strings.Join(parts, ", ")
}

func heldWords(held []Held, from, to time.Time) string {
	var causes []string
	for _, h := range held {
		if h.From.Before(to) && h.To.After(from) && !slices.Contains(causes, h.Cause) {
			causes = append(causes, h.Cause)
		}
	}
	if len(causes) == 0 {
		return "–"
	}
	return strings.Join(causes, ", ")
}
