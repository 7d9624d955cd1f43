package sheet

import (
	"fmt"
	"html"
	"html/template"
	"math"
	"slices"
	"strings"
	"time"

	"leat/controller/report"
)

// Measures of a picture in its own units.
const (
	wide      = 960
	left      = 60
	right     = 8
	panelHigh = 130
	panelGap  = 26
	laneHigh  = 13
)

// drawing is the picture of one tank: pH, EC, and a lane of ticks for each liquid, on one
// axis of time.
type drawing struct {
	strings.Builder
	r        *report.Report
	t        *report.Tank
	from, to time.Time
}

func (d *drawing) put(format string, args ...any) { fmt.Fprintf(d, format+"\n", args...) }

func (d *drawing) x(at time.Time) float64 {
	share := float64(at.Sub(d.from)) / float64(max(d.to.Sub(d.from), 1))
	return left + (wide-left-right)*min(max(share, 0), 1)
}

// picture draws a tank's time.
func picture(r *report.Report, t *report.Tank) template.HTML {
	d := &drawing{r: r, t: t, from: r.From, to: r.To}
	high := 2*(panelHigh+panelGap) + len(t.Liquids)*laneHigh + 24
	d.put(`<svg viewBox="0 0 %d %d" role="img" aria-label="%s">`, wide, high, html.EscapeString("pH, EC and doses of "+t.Name))
	top := float64(panelGap)
	d.panel("pH", &t.PH, top)
	top += panelHigh + panelGap
	d.panel("EC, mS/cm at 25 °C", &t.EC, top)
	top += panelHigh + 6
	for _, l := range t.Liquids {
		d.lane(&l, top)
		top += laneHigh
	}
	d.hours(top)
	d.put(`</svg>`)
	return template.HTML(d.String()) //nolint:gosec // every text in it is escaped where it is put
}

// panel draws one quantity: the band around the setpoint as it was, the reading, and
// behind it the interlocks that stood, darker where they withheld something.
func (d *drawing) panel(title string, h *report.Held, top float64) {
	low, high := rangeOf(h)
	y := func(v float64) float64 { return top + panelHigh*(high-min(max(v, low), high))/(high-low) }
	d.put(`<rect class="ground" x="%d" y="%.1f" width="%d" height="%d"/>`, left, top, wide-left-right, panelHigh)
	for _, s := range d.t.Stood {
		d.shade("stood "+causeClass(d.t, s.Cause), s, top, span(s.From, s.To, d.r)+" "+s.Text+" ("+s.Cause+")")
	}
	for _, s := range d.t.Withheld {
		d.shade("hold "+causeClass(d.t, s.Cause), s, top, span(s.From, s.To, d.r)+" "+reason(s))
	}
	for _, s := range d.r.Silent {
		d.shade("silent", s, top, s.Text)
	}
	for _, c := range d.t.Changes {
		if c.Kind == "mark" || c.Kind == "setpoint" {
			d.put(`<path class="%s" d="M%.1f %.1fv%d"><title>%s</title></path>`, c.Kind, d.x(c.At), top, panelHigh,
				html.EscapeString(clock(c.At, d.r)+"  "+c.What+author(c)))
		}
	}
	for i, p := range h.Set {
		until := d.to
		if i+1 < len(h.Set) {
			until = h.Set[i+1].At
		}
		from, to := d.x(p.At), d.x(until)
		d.put(`<rect class="band" x="%.1f" y="%.1f" width="%.1f" height="%.1f"/><path class="set" d="M%.1f %.1fH%.1f"/>`,
			from, y(p.Value+h.Band), max(to-from, 0), y(p.Value-h.Band)-y(p.Value+h.Band), from, y(p.Value), to)
	}
	d.put(`<path class="line" d="%s"/>`, d.path(h.Line, y))
	d.put(`<text x="%d" y="%.1f" class="title">%s</text>`, left, top-7, html.EscapeString(title))
	for _, v := range marks(low, high) {
		d.put(`<text x="%d" y="%.1f" class="left">%s</text><path class="grid" d="M%d %.1fH%d"/>`, left-6, y(v)+4, trimmed(v), left, y(v), wide-right)
	}
}

func (d *drawing) shade(class string, s report.Stretch, top float64, words string) {
	from, to := d.x(s.From), d.x(s.To)
	d.put(`<rect class="%s" x="%.1f" y="%.1f" width="%.1f" height="%d"><title>%s</title></rect>`, class, from, top, max(to-from, 1), panelHigh, html.EscapeString(words))
}

// path is the line of a reading, one point for each unit of width; it breaks where
// nothing was read.
func (d *drawing) path(line []report.Point, y func(float64) float64) string {
	var b strings.Builder
	pen := false
	var last time.Time
	for i := 0; i < len(line); {
		at, sum, n := math.Floor(d.x(line[i].At)), 0.0, 0
		if i > 0 && line[i].At.Sub(last) > 5*time.Minute {
			pen = false
		}
		for ; i < len(line) && math.Floor(d.x(line[i].At)) == at; i++ {
			sum, n, last = sum+line[i].Value, n+1, line[i].At
		}
		verb := "L"
		if !pen {
			verb = "M"
		}
		fmt.Fprintf(&b, "%s%.0f %.1f", verb, at, y(sum/float64(n)))
		pen = true
	}
	return b.String()
}

// lane draws the doses of one liquid as ticks.
func (d *drawing) lane(l *report.Liquid, top float64) {
	d.put(`<text x="%d" y="%.1f" class="left small">%s</text>`, left-6, top+laneHigh-3, html.EscapeString(short(l.Pump)))
	class := colour(d.r, l.Pump)
	most := 0.0
	for _, dose := range d.t.Doses {
		if dose.Pump == l.Pump {
			most = max(most, dose.ML)
		}
	}
	for _, dose := range d.t.Doses {
		if dose.Pump != l.Pump || dose.ML <= 0 {
			continue
		}
		tall := (laneHigh - 2) * (0.35 + 0.65*dose.ML/most)
		x, foot := d.x(dose.At), top+laneHigh-1
		d.put(`<path class="tick %s" d="M%.1f %.1fV%.1f"><title>%s</title></path>`, class, x, foot, foot-tall,
			html.EscapeString(fmt.Sprintf("%s  %s of %s, %s", clock(dose.At, d.r), report.Volume(dose.ML), dose.Pump, dose.Outcome)))
	}
}

func short(pump string) string {
	if r := []rune(pump); len(r) > 10 {
		return string(r[:9]) + "…"
	}
	return pump
}

// hours marks the axis of time.
func (d *drawing) hours(top float64) {
	long := d.to.Sub(d.from)
	step, layout := time.Hour, "15:04"
	switch {
	case long > 12*24*time.Hour:
		step, layout = 72*time.Hour, "01-02"
	case long > 3*24*time.Hour:
		step, layout = 24*time.Hour, "01-02"
	case long > 30*time.Hour:
		step, layout = 12*time.Hour, "01-02 15:04"
	case long > 8*time.Hour:
		step = 2 * time.Hour
	}
	from := d.from
	at := time.Date(from.Year(), from.Month(), from.Day(), 0, 0, 0, 0, from.Location())
	for ; !at.After(d.to); at = at.Add(step) {
		if at.Before(d.from) {
			continue
		}
		d.put(`<path class="grid" d="M%.1f %dV%.1f"/><text x="%.1f" y="%.1f" class="mid">%s</text>`, d.x(at), panelGap, top, d.x(at), top+16, at.Format(layout))
	}
}

// rangeOf is what a panel shows: the bands, and all readings.
func rangeOf(h *report.Held) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, p := range h.Set {
		low, high = min(low, p.Value-2*h.Band), max(high, p.Value+2*h.Band)
	}
	for _, p := range h.Line {
		low, high = min(low, p.Value), max(high, p.Value)
	}
	if !(low < high) {
		return 0, 1
	}
	return low, high
}

// marks are round values of an axis, three to six of them.
func marks(low, high float64) (values []float64) {
	step := math.Pow(10, math.Floor(math.Log10(high-low)))
	for _, part := range []float64{1, 0.5, 0.2, 0.1} {
		if (high-low)/(step*part) >= 3 {
			step *= part
			break
		}
	}
	for v := math.Ceil(low/step) * step; v <= high; v += step {
		values = append(values, v)
	}
	return values
}

func trimmed(v float64) string { return fmt.Sprintf("%.3g", v) }

// colour is the class of a pump's ticks: acid and base have one each, stocks one after
// the other.
func colour(r *report.Report, pump string) string {
	stocks := 0
	for _, p := range r.Pumps {
		stock := p.Role != "acid" && p.Role != "base"
		switch {
		case p.Name == pump && !stock:
			return p.Role
		case p.Name == pump:
			return fmt.Sprintf("s%d", stocks%liquidColours)
		case stock:
			stocks++
		}
	}
	return "s0"
}

// causesOf are the causes that withheld doses or only stood, in order of appearance.
func causesOf(t *report.Tank) (causes []string) {
	for _, s := range append(slices.Clone(t.Withheld), t.Stood...) {
		if !slices.Contains(causes, s.Cause) {
			causes = append(causes, s.Cause)
		}
	}
	return causes
}

// causeColours is how many shades the page has for causes.
const causeColours = 6

func causeClass(t *report.Tank, cause string) string {
	return fmt.Sprintf("c%d", slices.Index(causesOf(t), cause)%causeColours)
}
