package demo

import (
	"fmt"
	"html"
	"io"
	"math"
	"strings"
	"time"

	"leat/dosing"
)

// textPlot draws one quantity over the night in rows of characters: · the wanted
// band, # the true value.
func textPlot(n *night, value, want func(sample) float64, halfBand float64, width, height int) []string {
	if len(n.samples) == 0 {
		return nil
	}
	low, high := span(n, value, want, halfBand)
	grid := make([][]rune, height)
	for r := range grid {
		grid[r] = []rune(strings.Repeat(" ", width))
	}
	row := func(v float64) int {
		return min(max(int(math.Round((high-v)/(high-low)*float64(height-1))), 0), height-1)
	}
	for i, m := range n.samples {
		x := i * width / len(n.samples)
		for r := row(want(m) + halfBand); r <= row(want(m)-halfBand); r++ {
			if grid[r][x] == ' ' {
				grid[r][x] = '·'
			}
		}
		grid[row(value(m))][x] = '#'
	}
	lines := make([]string, height)
	for r := range grid {
		lines[r] = fmt.Sprintf("%6.2f │%s", high-float64(r)*(high-low)/float64(height-1), strings.TrimRight(string(grid[r]), " "))
	}
	return lines
}

// span is the range a plot shows: the band and all values, with a little air.
func span(n *night, value, want func(sample) float64, halfBand float64) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, m := range n.samples {
		low = min(low, value(m), want(m)-halfBand)
		high = max(high, value(m), want(m)+halfBand)
	}
	air := max((high-low)*0.05, 0.01)
	return low - air, high + air
}

// Measures of the SVG picture in its own units.
const (
	pictureWidth = 900.0
	panelHeight  = 190.0
	panelGap     = 46.0
	marginLeft   = 62.0
	marginRight  = 18.0
	marginTop    = 34.0
)

// picture writes the night as SVG: a panel of pH and one of EC for each tank, the
// band shaded, doses as ticks below, holds as a bar above.
func picture(w io.Writer, nights []*night) error {
	panels := float64(2 * len(nights))
	height := marginTop + panels*(panelHeight+panelGap)
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %.0f %.0f" font-family="sans-serif" font-size="12">`+"\n", pictureWidth, height)
	b.WriteString("<title>The night: pH and EC of each tank, with band, doses and holds</title>\n")
	b.WriteString(`<rect width="100%" height="100%" fill="#fbfaf6"/>` + "\n")
	y := marginTop
	for _, n := range nights {
		panel(&b, n, y, n.tank+": pH", func(m sample) float64 { return m.pH }, func(m sample) float64 { return m.wantPH }, dosing.StartBand.PH,
			func(r dosing.Role) bool { return r != dosing.RoleStock })
		y += panelHeight + panelGap
		panel(&b, n, y, n.tank+": EC, mS/cm at 25 °C", func(m sample) float64 { return m.ec }, func(m sample) float64 { return m.wantEC }, dosing.StartBand.EC,
			func(r dosing.Role) bool { return r == dosing.RoleStock })
		y += panelHeight + panelGap
	}
	b.WriteString("</svg>\n")
	_, err := io.WriteString(w, b.String())
	return err
}

// panel draws one quantity of one tank.
func panel(b *strings.Builder, n *night, top float64, title string, value, want func(sample) float64, halfBand float64, marks func(dosing.Role) bool) {
	if len(n.samples) == 0 {
		return
	}
	low, high := span(n, value, want, halfBand)
	end := max(n.length(), time.Minute)
	x := func(at time.Duration) float64 {
		return marginLeft + (pictureWidth-marginLeft-marginRight)*float64(at)/float64(end)
	}
	y := func(v float64) float64 { return top + panelHeight*(high-v)/(high-low) }
	fmt.Fprintf(b, `<text x="%.0f" y="%.1f" font-weight="bold">%s</text>`+"\n", marginLeft, top-9, html.EscapeString(title))
	for _, h := range n.holds {
		to := h.to
		if to < 0 {
			to = end
		}
		fmt.Fprintf(b, `<rect x="%.1f" y="%.1f" width="%.1f" height="4" fill="#b5651d"><title>%s</title></rect>`+"\n", x(h.from), top-5, max(x(to)-x(h.from), 1), html.EscapeString(h.text))
	}
	band(b, n, x, y, want, halfBand)
	for i := 0; i <= 4; i++ {
		v := low + (high-low)*float64(i)/4
		fmt.Fprintf(b, `<line x1="%.1f" x2="%.1f" y1="%.1f" y2="%.1f" stroke="#d8d4c8"/><text x="%.1f" y="%.1f" text-anchor="end">%.2f</text>`+"\n",
			marginLeft, pictureWidth-marginRight, y(v), y(v), marginLeft-6, y(v)+4, v)
	}
	line(b, n, x, y, value)
	for _, d := range n.doses {
		if marks(d.role) {
			fmt.Fprintf(b, `<line x1="%.1f" x2="%.1f" y1="%.1f" y2="%.1f" stroke="%s"><title>%s %s</title></line>`+"\n",
				x(d.at), x(d.at), top+panelHeight+2, top+panelHeight+10, roleColour(d.role), html.EscapeString(d.pump), d.volume)
		}
	}
	for i := 0; i <= 6; i++ {
		at := end * time.Duration(i) / 6
		fmt.Fprintf(b, `<text x="%.1f" y="%.1f" text-anchor="middle" fill="#555">%s</text>`+"\n", x(at), top+panelHeight+24, clockWords(at))
	}
}

func band(b *strings.Builder, n *night, x func(time.Duration) float64, y func(float64) float64, want func(sample) float64, halfBand float64) {
	b.WriteString(`<path fill="#dfe9d8" d="M`)
	thin := max(len(n.samples)/400, 1)
	for i := 0; i < len(n.samples); i += thin {
		fmt.Fprintf(b, "%.1f %.1f L", x(n.samples[i].at), y(want(n.samples[i])+halfBand))
	}
	last := n.samples[len(n.samples)-1]
	fmt.Fprintf(b, "%.1f %.1f", x(last.at), y(want(last)+halfBand))
	for i := len(n.samples) - 1; i >= 0; i -= thin {
		fmt.Fprintf(b, " L%.1f %.1f", x(n.samples[i].at), y(want(n.samples[i])-halfBand))
	}
	b.WriteString("Z\"/>\n")
}

func line(b *strings.Builder, n *night, x func(time.Duration) float64, y func(float64) float64, value func(sample) float64) {
	b.WriteString(`<polyline fill="none" stroke="#1f4e5f" stroke-width="1.4" points="`)
	thin := max(len(n.samples)/900, 1)
	for i := 0; i < len(n.samples); i += thin {
		fmt.Fprintf(b, "%.1f,%.1f ", x(n.samples[i].at), y(value(n.samples[i])))
	}
	b.WriteString("\"/>\n")
}

func roleColour(r dosing.Role) string {
	switch r {
	case dosing.RoleAcid:
		return "#a23b3b"
	case dosing.RoleBase:
		return "#3b5ba2"
	}
	return "#4d7a3a"
}

// clockWords prints a simulated time since the start as hours and minutes.
func clockWords(at time.Duration) string {
	minutes := int(at.Round(time.Minute).Minutes())
	return fmt.Sprintf("%d:%02d", minutes/60, minutes%60)
}
