package sheet

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"leat/controller/report"
)

// fewTimes is how often something is told line by line.
const fewTimes = 2

// groups are things of one key together, in order of the first of each.
func groups[T any](all []T, key func(T) string) (groups [][]T) {
	place := map[string]int{}
	for _, one := range all {
		n, known := place[key(one)]
		if !known {
			n = len(groups)
			place[key(one)] = n
			groups = append(groups, nil)
		}
		groups[n] = append(groups[n], one)
	}
	return groups
}

func heldIn(g []report.Stretch) (sum time.Duration) {
	for _, s := range g {
		sum += s.Held.Duration()
	}
	return sum
}

// common is why nothing was dosed in all of them: what was due is told where it was the
// same.
func common(g []report.Stretch) string {
	s := g[0]
	for _, other := range g {
		if other.Want != s.Want {
			s.Want = "something"
		}
		if other.Text != s.Text {
			s.Text, _, _ = strings.Cut(s.Text, " (")
		}
	}
	s.Held, s.Mixing = report.Seconds(s.To.Sub(s.From).Seconds()), 0
	return reason(s)
}

func spans(g []report.Stretch, r *report.Report) string {
	var parts []string
	if len(g) > manyTimes {
		g = slices.Clone(g)
		slices.SortStableFunc(g, func(a, b report.Stretch) int { return cmp.Compare(b.Held, a.Held) })
		g = g[:fewTimes+1]
		parts = append(parts, "the longest "+span(g[0].From, g[0].To, r))
		g = g[1:]
	}
	for _, s := range g {
		parts = append(parts, span(s.From, s.To, r))
	}
	return strings.Join(parts, ", ")
}

// manyTimes is how many times are told one by one.
const manyTimes = 24

// wrapped writes a list in lines of a terminal.
func (p *page) wrapped(indent, list string) {
	line := indent
	for _, part := range strings.SplitAfter(list, ", ") {
		if len(line)+len(part) > 100 {
			p.line("%s", strings.TrimRight(line, " "))
			line = indent
		}
		line += part
	}
	p.line("%s", line)
}

// alarmTimes are when an alarm stood; of many times the first, the last and their number.
func alarmTimes(g []report.Alarm, r *report.Report) string {
	if len(g) <= fewTimes {
		var parts []string
		for _, a := range g {
			parts = append(parts, alarmTime(a, r))
		}
		return strings.Join(parts, ", ")
	}
	return fmt.Sprintf("%d times, %s … %s", len(g), alarmTime(g[0], r), alarmTime(g[len(g)-1], r))
}

// reason is why nothing was dosed.
func reason(s report.Stretch) string {
	what := strings.TrimSuffix(s.Text, ".")
	if s.Pump != "" {
		what += " [" + s.Pump + "]"
	}
	if s.Mixing > 0 {
		what += "; then the water was left to mix for " + long(s.Mixing.Duration())
	}
	wanted := s.Want + " was due"
	if s.Want == "unknown" {
		wanted = "what was due cannot be known"
	}
	held := ""
	if whole := s.To.Sub(s.From); whole-s.Held.Duration() > time.Minute {
		held = ", " + long(s.Held.Duration()) + " of it"
	}
	return fmt.Sprintf("%s (%s; %s%s)", what, s.Cause, wanted, held)
}

// between are two times with their days.
func between(from, to time.Time) string {
	if from.Format(time.DateOnly) == to.Format(time.DateOnly) {
		return from.Format("2006-01-02 15:04") + " to " + to.Format("15:04")
	}
	return from.Format("2006-01-02 15:04") + " to " + to.Format("2006-01-02 15:04")
}

// clock is a time of the report: with its day where that is not clear from the time.
func clock(at time.Time, r *report.Report) string {
	if r.To.Sub(r.From) > 24*time.Hour || at.Before(r.From) {
		return at.Format("01-02 15:04")
	}
	return at.Format("15:04")
}

func span(from, to time.Time, r *report.Report) string {
	if from.Format(time.DateOnly) == to.Format(time.DateOnly) {
		return clock(from, r) + " to " + to.Format("15:04")
	}
	return clock(from, r) + " to " + clock(to, r)
}

func long(d time.Duration) string {
	switch {
	case d < 2*time.Minute:
		return fmt.Sprintf("%.0f s", d.Seconds())
	case d < 2*time.Hour:
		return fmt.Sprintf("%.0f min", d.Minutes())
	case d < 48*time.Hour:
		return fmt.Sprintf("%d h %02d min", int(d.Hours()), int(d.Minutes())%60)
	}
	return fmt.Sprintf("%.1f days", d.Hours()/24)
}
