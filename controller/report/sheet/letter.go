package sheet

import (
	"fmt"
	"io"

	"leat/controller/report"
)

// Letter writes what leat would have given beside what was done, for a terminal.
func Letter(w io.Writer, r *report.Letter) error { return letter(r).text(w) }

// LetterHTML writes the same for a browser.
func LetterHTML(w io.Writer, r *report.Letter) error { return letter(r).html(w) }

func letter(r *report.Letter) *leaf {
	l := &leaf{Title: fmt.Sprintf("Station %s, %s: what leat would have done, what was done, how the water answered", r.Station, between(r.From, r.To))}
	for i := range r.Tanks {
		t := &r.Tanks[i]
		l.Parts = append(l.Parts, letterHead(t), letterDays(t))
		if len(t.Answers) > 0 {
			l.Parts = append(l.Parts, letterAnswers(t))
		}
		if len(t.Seen) > 0 {
			l.Parts = append(l.Parts, letterSeen(t))
		}
	}
	l.Foot = []string{"What leat would have given is reckoned: what was done, what it left undone of the way to the setpoint, and how pH and EC moved beside it.",
		"Not known is how pH had moved at the setpoint itself: the farther the tank stood from it, the rougher the figure."}
	return l
}

func letterHead(t *report.LetterTank) part {
	p := part{Heading: t.Name, Lines: append([]string{t.Verdict}, t.Notes...), Head: []string{"liquid", "leat would have given", "entered by hand", "dosed by leat"}}
	for _, w := range t.Wanted {
		p.Lines = append(p.Lines, fmt.Sprintf("%s was due %s, %s in all; the longest %s from %s", w.Role, times(w.Times), long(w.Held.Duration()), long(w.Longest.Duration()), w.From.Format("01-02 15:04")))
	}
	for _, d := range t.Liquids {
		hand := report.Volume(d.HandML)
		if d.Hand > 0 {
			hand += ", " + times(d.Hand)
		}
		name := d.Pump
		if len(d.Liquid) < longName {
			name += " · " + d.Liquid
		}
		p.Rows = append(p.Rows, []string{name, report.Volume(d.Would), hand, report.Volume(d.ML)})
	}
	return p
}

// longName is a liquid of so many salts that its pump says more.
const longName = 40

func times(n int) string {
	if n == 1 {
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}

func letterDays(t *report.LetterTank) part {
	p := part{Heading: t.Name + ", day by day", Unit: "acid, meq for a litre of the tank: the bar is what leat would have given (base below zero), the line what was entered and dosed",
		Head: []string{"day", "pH", "in band", "acid needed", "given", "EC", "in band", "EC needed", "given", ""}}
	for _, d := range t.Days {
		p.Rows = append(p.Rows, []string{d.Date, fromTo(d.PHFrom, d.PHTo), share(d.PHIn), orDash(d.NeedMeq, "%+.3f"), fmt.Sprintf("%+.3f", d.DoneMeq),
			fromTo(d.ECFrom, d.ECTo), share(d.ECIn), orDash(d.NeedEC, "%+.2f"), fmt.Sprintf("%+.2f", d.DoneEC), d.Untold})
		if d.NeedMeq != nil {
			p.Bars = append(p.Bars, bar{Label: d.Date, V: *d.NeedMeq, Done: d.DoneMeq, HasDone: true})
		}
	}
	return p
}

func fromTo(from, to *float64) string {
	if from == nil || to == nil {
		return "–"
	}
	return fmt.Sprintf("%.2f → %.2f", *from, *to)
}

func letterAnswers(t *report.LetterTank) part {
	p := part{Heading: t.Name + ", how the water answered what was entered", Head: []string{"when", "what", "by", "expected", "moved", ""}}
	for _, a := range t.Answers {
		moved, ratio := "–", a.Untold
		if a.Moved != nil {
			moved, ratio = fmt.Sprintf("%+.2f", *a.Moved), fmt.Sprintf("%.2f of what was expected", *a.Moved/a.Expected)
		}
		p.Rows = append(p.Rows, []string{a.At.Format("01-02 15:04"), report.Volume(a.ML) + " of " + a.Pump, a.By, fmt.Sprintf("%s %+.2f", quantity(a.Quantity), a.Expected), moved, ratio})
	}
	return p
}

func letterSeen(t *report.LetterTank) part {
	p := part{Heading: t.Name + ", seen and not entered", Lines: []string{"Enter such additions with leat act hand-dose: then leat knows how the water answers."}, Head: []string{"about", "moved", "as if"}}
	for _, s := range t.Seen {
		as := "nothing that stands at the tank moves it so: plain water, or a probe"
		if s.Liquid != "" {
			as = "about " + report.Volume(s.ML) + " of " + s.Liquid
		}
		p.Rows = append(p.Rows, []string{s.At.Format("01-02 15:04"), fmt.Sprintf("%s %+.2f", quantity(s.Quantity), s.Moved), as})
	}
	return p
}

// quantity is pH or EC as people write it.
func quantity(name string) string {
	if name == "ph" {
		return "pH"
	}
	return "EC"
}
