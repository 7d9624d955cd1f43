package campaign

import (
	"fmt"
	"io"
	"math"
	"strings"
	"text/tabwriter"
)

// Write prints the month as a table.
func (r *MonthReport) Write(w io.Writer) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%s, tank %s, recipe %s, %d days, seed %d\n%s\n\n", r.Farm, r.Tank, r.Recipe, r.Days, r.Seed, r.Why())
	t := tabwriter.NewWriter(&b, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprint(t, "off target at the end\t")
	for _, s := range MonthIons {
		fmt.Fprintf(t, "%s\t", s.Symbol())
	}
	fmt.Fprint(t, "worst of all hours\tEC in band\tstops cleared\tdumped\t\n")
	for _, row := range []struct {
		name string
		run  *MonthRun
	}{{"shares fixed", &r.Fixed}, {"account and analyses", &r.Live}} {
		fmt.Fprintf(t, "%s\t", row.name)
		for _, s := range MonthIons {
			fmt.Fprintf(t, "%+.0f %%\t", 100*row.run.Last[s.Symbol()])
		}
		fmt.Fprintf(t, "%s %+.0f %%, day %.0f\t%.3f\t%d\t%.0f %%, %d×\t\n", row.run.Worst.Ion, 100*row.run.Worst.Off, row.run.Worst.Day, row.run.ECBand, row.run.Cleared, 100*row.run.Dumped, row.run.Dumps)
	}
	_ = t.Flush() // a builder takes everything
	fmt.Fprintf(&b, "\n%.0f %% of the estimates lie within two standard uncertainties of the truth\n", 100*r.Live.Within2)
	if len(r.Missed) > 0 && r.Held.Ion != "" {
		fmt.Fprintf(&b, "of the ions that this water and row reach, the worst of all hours is %s %+.0f %%, day %.0f\n", r.Held.Ion, 100*r.Held.Off, r.Held.Day)
	}
	for _, m := range r.Missed {
		fmt.Fprintf(&b, "fresh from this water and row, %s is %+.0f %% off: %s\n", m.Ion, 100*m.Off, m.Why)
	}
	for _, a := range r.Live.Analyses {
		word := "taken"
		if !a.Accepted {
			word = "REFUSED"
		}
		fmt.Fprintf(&b, "day %4.1f  analysis %s: %s\n", a.Day, word, a.Text)
	}
	if s := r.Live.Setpoint; len(s) > 0 {
		highest := s[0]
		for _, at := range s {
			if at.Value > highest.Value {
				highest = at
			}
		}
		fmt.Fprintf(&b, "day %4.1f  EC setpoint moved for what plants leave, %d times in all, to %.2f mS/cm at most on day %.1f\n", s[0].Day, len(s), highest.Value, highest.Day)
	}
	for _, d := range r.DumpDue {
		fmt.Fprintf(&b, "day %4.1f  %s\n", d.Day, d.Text)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// ionColours keep their ion in every panel.
var ionColours = [...]string{"#2f6f9f", "#b4472d", "#7a3b8f", "#4f7d3a", "#b08a1e", "#555"}

// Picture draws both months under one another, as SVG: the truth of each ion against
// its target, what was thought of it, and EC.
func (r *MonthReport) Picture() string {
	var b strings.Builder
	const high = 900
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%d" height="%d" viewBox="0 0 %d %d" font-family="sans-serif" font-size="12" fill="#222">`, pictureWide, high, pictureWide, high)
	fmt.Fprintf(&b, `<rect width="100%%" height="100%%" fill="#fff"/><text x="%d" y="24" font-size="16">A month of %s: the single ions against the recipe %s</text>`, plotLeft, r.Tank, r.Recipe)
	most := 0.3
	for _, run := range []*MonthRun{&r.Fixed, &r.Live} {
		most = math.Max(most, math.Ceil(math.Abs(run.Worst.Off)*11)/10)
	}
	r.ions(&b, &r.Fixed, panel{top: 66, high: 290, low: -100 * most, most: 100 * most, hours: float64(r.Days)}, "shares fixed: off target, %, truth; shaded ±15 %")
	r.ions(&b, &r.Live, panel{top: 396, high: 290, low: -100 * most, most: 100 * most, hours: float64(r.Days)}, "account and analyses: off target, %, truth (full) and as thought (thin)")
	ec := panel{top: 726, high: 110, hours: float64(r.Days)}
	set := r.Fixed.hours[len(r.Fixed.hours)-1].ec
	ec.low, ec.most = set-0.3, set+0.3
	ec.frame(&b, "EC, mS/cm at 25 °C: grey with fixed shares, green with account and analyses")
	for _, run := range []struct {
		colour string
		hours  []hourOfMonth
	}{{"#999", r.Fixed.hours}, {"#4f7d3a", r.Live.hours}} {
		var line [][2]float64
		for _, h := range run.hours {
			line = append(line, [2]float64{h.day, h.ec})
		}
		ec.line(&b, run.colour, line)
	}
	for day := 0; day <= r.Days; day += 5 {
		fmt.Fprintf(&b, `<text x="%.1f" y="%d" text-anchor="middle">day %d</text>`, ec.x(float64(day)), high-44, day)
	}
	for i, s := range MonthIons {
		x := plotLeft + 130*i
		fmt.Fprintf(&b, `<rect x="%d" y="%d" width="24" height="4" fill="%s"/><text x="%d" y="%d">%s</text>`, x, high-20, ionColours[i], x+30, high-14, s.Symbol())
	}
	b.WriteString(`</svg>`)
	return b.String()
}

func (r *MonthReport) ions(b *strings.Builder, run *MonthRun, p panel, title string) {
	p.band(b, -15, 15)
	p.frame(b, title)
	for i := range MonthIons {
		var truth, thought [][2]float64
		for _, h := range run.hours {
			truth = append(truth, [2]float64{h.day, 100 * h.off[i]})
			if h.thoughtAvailable {
				thought = append(thought, [2]float64{h.day, 100 * h.thought[i]})
			}
		}
		if thought != nil {
			b.WriteString(`<g opacity="0.35">`)
			p.line(b, ionColours[i], thought)
			b.WriteString(`</g>`)
		}
		b.WriteString(`<g stroke-width="2">`)
		p.line(b, ionColours[i], truth)
		b.WriteString(`</g>`)
	}
	for _, a := range run.Analyses {
		fmt.Fprintf(b, `<line x1="%.1f" x2="%.1f" y1="%.1f" y2="%.1f" stroke="#222" stroke-dasharray="4 4"/><text x="%.1f" y="%.1f">analysis</text>`,
			p.x(a.Day), p.x(a.Day), p.top, p.top+p.high, p.x(a.Day)+4, p.top+p.high-6)
	}
}
