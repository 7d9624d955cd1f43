// Package sheet prints reports: as text for a terminal and as a file for a browser,
// which shows the same with pictures.
//
// # Pictures are SVG of our own
//
// A report is one file that is read by day and by night, on paper and on a phone. picture.go (243 lines) writes
// shapes with classes, whose colours are those of the page's palette, with a title on each dose and
// hold. Weighed against gonum/plot (v0.17.0, nine modules, with fonts and three formats of pictures): it draws what a
// plot has, axes and lines, in colours that are fixed in each shape; lanes of doses and spans of holds, the
// larger part of ours, would be plotters of our own all the same.
package sheet

import (
	"fmt"
	"io"
	"strings"
	"time"
	"unicode/utf8"

	"leat/controller/report"
)

// page collects lines, so that nothing is written of a report that fails.
type page struct{ strings.Builder }

func (p *page) line(format string, args ...any) { fmt.Fprintf(p, format+"\n", args...) }

// Text writes a report for a terminal.
func Text(w io.Writer, r *report.Report) error {
	var p page
	if len(r.Tanks) > 1 {
		for i := range r.Tanks {
			p.line("%s: %s", r.Tanks[i].Name, r.Tanks[i].Verdict)
		}
	} else {
		p.line("%s", r.Verdict)
	}
	p.line("")
	p.line("%s, %s (%s)", name(r), between(r.From, r.To), r.Words)
	for _, remark := range r.Remarks {
		p.line("%s", remark)
	}
	for _, s := range r.Silent {
		p.line("  %s: %s, %s", between(s.From, s.To), s.Text, long(s.To.Sub(s.From)))
	}
	for i := range r.Tanks {
		p.tank(&r.Tanks[i], r)
	}
	if len(r.Changes) > 0 {
		p.line("\nStation")
		p.changes(r.Changes, r)
	}
	if len(r.Refused) > 0 {
		p.line("\nAsked and refused")
		p.changes(r.Refused, r)
	}
	p.line("\nLedger: %d rows, the chain holds. Times are those of %s.", r.Rows, zone(r))
	_, err := io.WriteString(w, p.String())
	return err
}

func name(r *report.Report) string {
	if r.Station == "" {
		return "Station"
	}
	return "Station " + r.Station
}

func zone(r *report.Report) string {
	if r.Zone == "Local" {
		return "this machine"
	}
	return r.Zone
}

func (p *page) tank(t *report.Tank, r *report.Report) {
	p.line("\n%s", t.Name)
	p.held("pH", "", &t.PH, r)
	p.held("EC", " mS/cm", &t.EC, r)
	p.doses(t)
	p.line("\n  Why nothing was dosed while a dose was due")
	if len(t.Withheld) == 0 {
		p.line("    nothing was withheld")
	}
	for _, g := range groups(t.Withheld, func(s report.Stretch) string { return s.Cause + s.Pump }) {
		if len(g) <= fewTimes {
			for _, s := range g {
				p.line("    %s  %s", span(s.From, s.To, r), reason(s))
			}
			continue
		}
		p.line("    %d times, %s in all: %s", len(g), long(heldIn(g)), common(g))
		p.wrapped("      ", spans(g, r))
	}
	if waits := waitWords(t); waits != "" {
		p.line("    between doses, as it must be: %s", waits)
	}
	if stood := stoodWords(t); stood != "" {
		p.line("    interlocks in all, whatever was due: %s", stood)
	}
	p.line("\n  Alarms")
	if len(t.Alarms) == 0 {
		p.line("    none")
	}
	for _, g := range groups(t.Alarms, func(a report.Alarm) string { return a.Cause }) {
		last := g[len(g)-1]
		p.line("    %s  %s: %s", alarmTimes(g, r), last.Priority, last.Text)
		p.line("      %s (%s, %s)", last.Advice, last.Cause, last.State)
	}
	p.line("\n  Changes")
	if len(t.Changes) == 0 {
		p.line("    none")
	}
	p.changes(t.Changes, r)
	if len(t.Uncertain) > 0 {
		p.line("\n  Doses of uncertain fate, counted in full and not repeated")
		for _, d := range t.Uncertain {
			p.line("    %s  %s of %s (%s)%s", clock(d.At, r), report.Volume(d.ML), d.Pump, d.Order, clause(d.Cause))
		}
	}
	p.water(t)
	p.days(t)
}

func (p *page) held(what, unit string, h *report.Held, r *report.Report) {
	if h.InBand == nil {
		p.line("  %s: no reading beside a setpoint is on record", what)
		return
	}
	text := fmt.Sprintf("  %s  in band ±%.2g%s %s of the time, within twice that %s; %.2f to %.2f, mean %.2f", what, h.Band, unit, report.Percent(*h.InBand),
		report.Percent(*h.InWarn), *h.Low, *h.High, *h.Mean)
	if h.Known < 0.99 {
		text += fmt.Sprintf("; known %s of the time", report.Percent(h.Known))
	}
	p.line("%s", text)
	p.line("      setpoint %s%s%s", setWords(h, r), unit, driftWords(h, unit))
}

// setWords are the setpoints as they were; the steps of a ramp are told by its ends.
func setWords(h *report.Held, r *report.Report) string {
	var parts []string
	for i := 0; i < len(h.Set); i++ {
		begin := i
		for i+1 < len(h.Set) && h.Set[i+1].At.Sub(h.Set[i].At) < 20*time.Minute {
			i++
		}
		at := ""
		if begin > 0 {
			at = " from " + clock(h.Set[begin].At, r)
		}
		if i > begin {
			if begin == 0 {
				parts = append(parts, fmt.Sprintf("%.2f", h.Set[0].Value))
				at = " from " + clock(h.Set[1].At, r)
			}
			at += " to " + clock(h.Set[i].At, r)
		}
		parts = append(parts, fmt.Sprintf("%.2f%s", h.Set[i].Value, at))
	}
	return strings.Join(parts, ", ")
}

func driftWords(h *report.Held, unit string) string {
	if h.Drift == nil || *h.Drift == 0 { // nothing was learned yet
		return ""
	}
	return fmt.Sprintf("; without doses it moves %+.3f%s an hour", *h.Drift, unit)
}

func (p *page) doses(t *report.Tank) {
	p.line("\n  Doses")
	if len(t.Liquids) == 0 {
		p.line("    none")
		return
	}
	wide := 0
	for _, l := range t.Liquids {
		wide = max(wide, utf8.RuneCountInString(liquid(l)))
	}
	for _, l := range t.Liquids {
		p.line("    %-*s  %9s  %10s%s", wide, liquid(l), report.Volume(l.ML), report.Counted(l.Count, "dose"), extras(l))
	}
}

func liquid(l report.Liquid) string {
	if l.Liquid == "" || l.Liquid == l.Pump {
		return l.Pump
	}
	text := []rune(l.Pump + " · " + l.Liquid)
	if len(text) > longestName {
		text = append(text[:longestName-1], '…')
	}
	return string(text)
}

// longestName bounds the column of liquids: a stock of five salts names them all.
const longestName = 52

func extras(l report.Liquid) (text string) {
	if l.Hand > 0 {
		text += fmt.Sprintf(", and by hand %s in %d", report.Volume(l.HandML), l.Hand)
	}
	if l.Uncertain > 0 {
		text += fmt.Sprintf(", %d of them of uncertain fate", l.Uncertain)
	}
	if l.Withdrawn > 0 {
		text += fmt.Sprintf(", %d withdrawn before they were sent", l.Withdrawn)
	}
	return text
}

// stoodWords are how often and how long each interlock stood.
func stoodWords(t *report.Tank) string {
	var parts []string
	for _, g := range groups(t.Stood, func(s report.Stretch) string { return s.Cause }) {
		parts = append(parts, fmt.Sprintf("%s %d×, %s", g[0].Cause, len(g), long(heldIn(g))))
	}
	return strings.Join(parts, "; ")
}

func waitWords(t *report.Tank) string {
	var parts []string
	for _, w := range t.Waits {
		parts = append(parts, fmt.Sprintf("%s %s", w.Cause, long(w.Held.Duration())))
	}
	return strings.Join(parts, ", ")
}

func alarmTime(a report.Alarm, r *report.Report) string {
	if a.To.IsZero() {
		return "since " + clock(a.From, r)
	}
	return span(a.From, a.To, r)
}

func (p *page) changes(changes []report.Change, r *report.Report) {
	for _, c := range changes {
		p.line("    %s  %s%s", clock(c.At, r), c.What, author(c))
	}
}

func author(c report.Change) (text string) {
	if c.By != "" {
		text += ", by " + c.By
	}
	if c.From != "" && c.From != c.By {
		text += " from " + c.From
	}
	return text + clause(c.Note)
}

func clause(text string) string {
	if text == "" {
		return ""
	}
	return ": " + text
}

func (p *page) water(t *report.Tank) {
	p.line("\n  Water and nutrients")
	if t.TopUp > 0 {
		p.line("    plain water, as level and valve tell: %.3g L", t.TopUp)
	} else {
		p.line("    plain water: none that level or valve told of")
	}
	var parts []string
	for _, n := range t.Nutrients {
		parts = append(parts, fmt.Sprintf("%s %.3g g", n.Symbol, n.Grams))
	}
	if len(parts) > 0 {
		p.line("    given: %s", strings.Join(parts, ", "))
	}
	if len(t.Unstated) > 0 {
		p.line("    what these hold is not stated: %s", strings.Join(t.Unstated, ", "))
	}
}

func (p *page) days(t *report.Tank) {
	if len(t.Days) == 0 {
		return
	}
	p.line("\n  Days           pH       EC   mL of each liquid")
	for _, d := range t.Days {
		var parts []string
		for _, l := range t.Liquids {
			if ml := d.ML[l.Pump]; ml > 0 {
				parts = append(parts, l.Pump+" "+report.Volume(ml))
			}
		}
		p.line("    %s  %6s  %6s  %s", d.Date, share(d.PH), share(d.EC), strings.Join(parts, ", "))
	}
}

func share(s *float64) string {
	if s == nil {
		return "–"
	}
	return report.Percent(*s)
}
