package sheet

import (
	"bytes"
	_ "embed" // the page's template
	"fmt"
	"html/template"
	"io"
	"time"

	"leat/controller/report"
)

//go:embed report.html
var pageText string

// liquidColours is how many colours the page has for stocks.
const liquidColours = 8

// HTML writes a report for a browser: one file that needs no other.
func HTML(w io.Writer, r *report.Report) error {
	t, err := template.New("report").Funcs(template.FuncMap{
		"percent": share, "volume": report.Volume, "clock": func(at time.Time) string { return clock(at, r) },
		"between": between, "span": func(s report.Stretch) string { return span(s.From, s.To, r) },
		"reason": func(s report.Stretch) string { return reason(s) },
		"groups": func(t *report.Tank) [][]report.Stretch {
			return groups(t.Withheld, func(s report.Stretch) string { return s.Cause + s.Pump })
		},
		"few":    func(g []report.Stretch) bool { return len(g) <= fewTimes },
		"common": common, "spans": func(g []report.Stretch) string { return spans(g, r) }, "held": func(g []report.Stretch) string { return long(heldIn(g)) },
		"alarms": func(t *report.Tank) [][]report.Alarm {
			return groups(t.Alarms, func(a report.Alarm) string { return a.Cause })
		},
		"alarmed": func(g []report.Alarm) string { return alarmTimes(g, r) },
		"last":    func(g []report.Alarm) report.Alarm { return g[len(g)-1] },
		"author":  author, "liquid": liquid, "extras": extras, "waits": waitWords, "stood": stoodWords, "zone": func() string { return zone(r) },
		"counted": report.Counted, "set": func(h report.Held) string { return setWords(&h, r) },
		"drift":   func(h report.Held, unit string) string { return driftWords(&h, unit) },
		"picture": func(t *report.Tank) template.HTML { return picture(r, t) },
		"legend":  func(t *report.Tank) []entry { return legend(r, t) },
		"colours": func() []template.CSS { return classes(liquidColours, "s", "acid", "base") },
		"shades":  func() []template.CSS { return classes(causeColours, "c") },
		"tanks": func() (tanks []*report.Tank) {
			for i := range r.Tanks {
				tanks = append(tanks, &r.Tanks[i])
			}
			return tanks
		},
	}).Parse(pageText)
	if err != nil {
		return err
	}
	var page bytes.Buffer
	if err := t.Execute(&page, r); err != nil {
		return err
	}
	_, err = page.WriteTo(w)
	return err
}

// classes are names of the style sheet, which are its variables too.
func classes(n int, letter string, more ...string) (names []template.CSS) {
	for i := range n {
		names = append(names, template.CSS(fmt.Sprint(letter, i))) //nolint:gosec // a letter and a number
	}
	for _, name := range more {
		names = append(names, template.CSS(name)) //nolint:gosec // constants
	}
	return names
}

// entry is one line of a legend: a colour of the style sheet and what it stands for.
type entry struct{ Class, Words string }

func legend(r *report.Report, t *report.Tank) (entries []entry) {
	for _, l := range t.Liquids {
		entries = append(entries, entry{"tick " + colour(r, l.Pump), liquid(l)})
	}
	for _, cause := range causesOf(t) {
		entries = append(entries, entry{"hold " + causeClass(t, cause), cause})
	}
	return entries
}
