package campaign

import (
	"fmt"
	"html"
	"math"
	"strings"
	"time"

	"leat/dosing"
)

// The picture's size and colours. Roles keep their colours in every panel.
const (
	pictureWide = 960
	plotLeft    = 70
	plotWide    = 860
)

var roleColours = map[dosing.Role]string{dosing.RoleAcid: "#b4472d", dosing.RoleBase: "#2f6f9f", dosing.RoleStock: "#4f7d3a"}

// panel is one plot: a span of values over the night.
type panel struct {
	top, high float64
	low, most float64
	hours     float64
}

func (p *panel) x(hours float64) float64 { return plotLeft + plotWide*hours/p.hours }

func (p *panel) y(v float64) float64 {
	v = math.Min(math.Max(v, p.low), p.most)
	return p.top + p.high*(1-(v-p.low)/(p.most-p.low))
}

func (p *panel) frame(b *strings.Builder, title string) {
	fmt.Fprintf(b, `<rect x="%d" y="%.1f" width="%d" height="%.1f" fill="none" stroke="#bbb"/>`, plotLeft, p.top, plotWide, p.high)
	fmt.Fprintf(b, `<text x="%d" y="%.1f" font-weight="bold">%s</text>`, plotLeft, p.top-6, title)
	for _, v := range []float64{p.low, (p.low + p.most) / 2, p.most} {
		fmt.Fprintf(b, `<text x="%d" y="%.1f" text-anchor="end">%.3g</text>`, plotLeft-6, p.y(v)+4, v)
	}
}

func (p *panel) band(b *strings.Builder, low, high float64) {
	fmt.Fprintf(b, `<rect x="%d" y="%.1f" width="%d" height="%.1f" fill="#e6efe0"/>`, plotLeft, p.y(high), plotWide, p.y(low)-p.y(high))
}

func (p *panel) line(b *strings.Builder, colour string, points [][2]float64) {
	fmt.Fprintf(b, `<polyline fill="none" stroke="%s" stroke-width="1.2" points="`, colour)
	for _, q := range points {
		fmt.Fprintf(b, "%.1f,%.1f ", p.x(q[0]), p.y(q[1]))
	}
	b.WriteString(`"/>`)
}

// Heights of a tank's part of the picture and of that of all nights.
const (
	tankHigh   = 720
	nightsHigh = 180
)

// Picture draws one night (of each tank pH, EC, doses, what is on its way, holds)
// and, below it, the share of time in band over all nights of the report, as SVG.
func Picture(t *Trace, night int, report *Report) string {
	var b strings.Builder
	tanks := t.Settings.Safety.Tanks
	high := tankHigh * len(tanks)
	if report != nil {
		high += nightsHigh
	}
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%d" height="%d" viewBox="0 0 %d %d" font-family="sans-serif" font-size="12" fill="#222">`, pictureWide, high, pictureWide, high)
	fmt.Fprintf(&b, `<rect width="100%%" height="100%%" fill="#fff"/>`)
	for id := range tanks {
		fmt.Fprintf(&b, `<g transform="translate(0,%d)"><text x="%d" y="24" font-size="16">Night %d, seed %d, tank %s</text>`,
			tankHigh*id, plotLeft, night, t.Seed, html.EscapeString(tanks[id].Name))
		t.tank(&b, dosing.TankID(id))
		b.WriteString(`</g>`)
	}
	if report != nil {
		fmt.Fprintf(&b, `<g transform="translate(0,%d)">`, tankHigh*(len(tanks)-1))
		report.distribution(&b)
		b.WriteString(`</g>`)
	}
	b.WriteString(`</svg>`)
	return b.String()
}

// tank draws the panels of one tank.
func (t *Trace) tank(b *strings.Builder, id dosing.TankID) {
	var samples []Sample
	for _, s := range t.Samples {
		if s.Tank == id {
			samples = append(samples, s)
		}
	}
	if len(samples) == 0 {
		return
	}
	hours := (samples[len(samples)-1].At - t.Begins).Hours()
	t.curves(b, samples, hours)
	t.doseMarks(b, id, hours)
	t.holdBars(b, id, hours)
	axis := panel{hours: hours}
	for h := 0.0; h <= hours; h++ {
		fmt.Fprintf(b, `<text x="%.1f" y="705" text-anchor="middle">%.0f h</text>`, axis.x(h), h)
	}
}

func (t *Trace) curves(b *strings.Builder, samples []Sample, hours float64) {
	last := samples[len(samples)-1].Target
	pH := panel{top: 60, high: 170, low: float64(last.PH) - 1, most: float64(last.PH) + 1, hours: hours}
	ec := panel{top: 270, high: 120, low: float64(last.EC) * 0.5, most: float64(last.EC) * 1.2, hours: hours}
	most := 0.01
	for _, s := range samples {
		most = math.Max(most, math.Max(s.Acid, s.Base))
	}
	way := panel{top: 430, high: 80, low: -most, most: most, hours: hours}
	var phs, ecs, ways, setPH, setEC [][2]float64
	for i, s := range samples {
		if i%6 != 0 {
			continue
		}
		at := (s.At - t.Begins).Hours()
		phs, ecs = append(phs, [2]float64{at, s.PH}), append(ecs, [2]float64{at, s.EC})
		setPH, setEC = append(setPH, [2]float64{at, float64(s.Target.PH)}), append(setEC, [2]float64{at, float64(s.Target.EC)})
		ways = append(ways, [2]float64{at, s.Acid - s.Base})
	}
	pH.band(b, float64(last.PH)-dosing.StartBand.PH, float64(last.PH)+dosing.StartBand.PH)
	pH.frame(b, "pH, true, with its setpoint and start band")
	pH.line(b, "#999", setPH)
	pH.line(b, "#7a3b8f", phs)
	ec.band(b, float64(last.EC)-dosing.StartBand.EC, float64(last.EC)+dosing.StartBand.EC)
	ec.frame(b, "EC, mS/cm at 25 °C, true")
	ec.line(b, "#999", setEC)
	ec.line(b, "#4f7d3a", ecs)
	way.frame(b, "acid less base on its way, meq/L, as the daemon counts it")
	way.line(b, "#b4472d", ways)
}

// doseMarks draws each dose as a tick: its height is its share of the largest of
// its pump.
func (t *Trace) doseMarks(b *strings.Builder, id dosing.TankID, hours float64) {
	p := panel{top: 550, high: 50, low: 0, most: 1, hours: hours}
	largest := map[dosing.PumpID]dosing.Volume{}
	for i := range t.Orders {
		o := &t.Orders[i]
		largest[o.Pump] = max(largest[o.Pump], o.Volume)
	}
	fmt.Fprintf(b, `<text x="%d" y="%.1f" font-weight="bold">doses: <tspan fill="%s">acid</tspan>, <tspan fill="%s">base</tspan>, <tspan fill="%s">stocks</tspan></text>`,
		plotLeft, p.top-6, roleColours[dosing.RoleAcid], roleColours[dosing.RoleBase], roleColours[dosing.RoleStock])
	for i := range t.Orders {
		o := &t.Orders[i]
		if o.Tank != id || o.At < t.Begins {
			continue
		}
		x := p.x((o.At - t.Begins).Hours())
		y := p.y(float64(o.Volume) / float64(max(largest[o.Pump], 1)))
		fmt.Fprintf(b, `<line x1="%.1f" x2="%.1f" y1="%.1f" y2="%.1f" stroke="%s"/>`, x, x, p.top+p.high, y, roleColours[t.Settings.Safety.Pumps[o.Pump].Role])
	}
}

func (t *Trace) holdBars(b *strings.Builder, id dosing.TankID, hours float64) {
	p := panel{top: 640, high: 40, hours: hours}
	fmt.Fprintf(b, `<text x="%d" y="%.1f" font-weight="bold">held, by cause</text>`, plotLeft, p.top-6)
	for i := range t.Minutes {
		m := &t.Minutes[i]
		if m.Tank != id || m.At < t.Begins {
			continue
		}
		for k := range m.Holds {
			h := &m.Holds[k]
			if !h.stops(&t.Settings.Safety.Pumps[0]) && !h.stops(&t.Settings.Safety.Pumps[len(t.Settings.Safety.Pumps)-1]) {
				continue
			}
			x := p.x((m.At - t.Begins).Hours())
			fmt.Fprintf(b, `<rect x="%.1f" y="%.1f" width="%.1f" height="20" fill="#c9a227"><title>%s since %v</title></rect>`,
				x, p.top, math.Max(plotWide/hours/60, 1), h.Cause, (h.Since - t.Begins).Round(time.Second))
		}
	}
}

// distribution is the share of time in band of every night, best to worst.
func (r *Report) distribution(b *strings.Builder) {
	for k, of := range []func(*Score) *Figure{ofPH, ofEC} {
		var shares []float64
		for _, out := range r.Outcomes {
			for i := range out.Scores {
				shares = append(shares, of(&out.Scores[i]).InBand)
			}
		}
		p := panel{top: 740, high: 120, low: 0, most: 1, hours: 1}
		left, wide := float64(plotLeft+k*440), 400.0
		fmt.Fprintf(b, `<text x="%.1f" y="%.1f" font-weight="bold">%s in band, %d nights from worst to best</text>`, left, p.top-6, []string{"pH", "EC"}[k], len(shares))
		fmt.Fprintf(b, `<rect x="%.1f" y="%.1f" width="%.1f" height="%.1f" fill="none" stroke="#bbb"/><polyline fill="none" stroke="%s" stroke-width="1.5" points="`,
			left, p.top, wide, p.high, []string{"#7a3b8f", "#4f7d3a"}[k])
		for i := range shares {
			q := (float64(i) + 0.5) / float64(len(shares))
			fmt.Fprintf(b, "%.1f,%.1f ", left+wide*q, p.y(quantile(shares, q)))
		}
		b.WriteString(`"/>`)
	}
}
