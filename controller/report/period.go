package report

import (
	"fmt"
	"time"
)

// Period is what a report is of.
type Period struct {
	From, To time.Time // in the farm's zone
	Words    string
}

// A night lasts from evening to morning; from half of it on, the one under way is
// reported rather than the one before.
const (
	evening = 18
	morning = 8
)

// Periods are the names that PeriodOf knows.
var Periods = []string{"night", "week", "month"}

// Unclear is a fault of the question, not of the record.
type Unclear string

func (u Unclear) Error() string { return string(u) }

func unclear(format string, args ...any) error { return Unclear(fmt.Sprintf(format, args...)) }

// PeriodOf is the period of that name in a record that begins and ends then. The ends
// are in the farm's zone.
func PeriodOf(name string, first, last time.Time) (Period, error) {
	switch name {
	case "", "night":
		return night(first, last), nil
	case "week":
		return Period{From: later(first, last.AddDate(0, 0, -7)), To: last, Words: "the seven days up to the end of the record"}, nil
	case "month":
		return Period{From: later(first, last.AddDate(0, -1, 0)), To: last, Words: "the month up to the end of the record"}, nil
	}
	return Period{}, unclear("%q is no period: want night, week or month, or -from and -to", name)
}

func night(first, last time.Time) Period {
	begins := time.Date(last.Year(), last.Month(), last.Day(), evening, 0, 0, 0, last.Location())
	if begins.After(last) {
		begins = begins.AddDate(0, 0, -1)
	}
	ends := func(of time.Time) time.Time {
		return time.Date(of.Year(), of.Month(), of.Day()+1, morning, 0, 0, 0, of.Location())
	}
	before := begins.AddDate(0, 0, -1)
	if half := begins.Add(ends(begins).Sub(begins) / 2); last.Before(half) && first.Before(ends(before)) {
		begins = before
	}
	p := Period{From: begins, To: ends(begins), Words: "the night that ended last"}
	if p.To.After(last) {
		p.To, p.Words = last, "the night under way, up to the end of the record"
	}
	return p
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

func earlier(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}
