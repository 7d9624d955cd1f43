package demo

import (
	"fmt"
	"io"
	"strings"
	"time"

	"leat/controller"
	"leat/dosing"
)

// How often the live view is redrawn, in wall time, and a plain line is printed,
// in simulated time.
const (
	redrawEvery = 250 * time.Millisecond
	lineEvery   = 15 * time.Minute
)

// screen shows the night as it runs: a view that is redrawn on a terminal, plain
// lines elsewhere.
type screen struct {
	out   io.Writer
	wide  func() int // columns of a terminal that is redrawn; nil = plain lines
	drawn time.Time
	lines int // of the last drawing
	said  map[string]string
}

func newScreen(out io.Writer, wide func() int) *screen {
	return &screen{out: out, wide: wide, said: map[string]string{}}
}

func (c *screen) show(s *stage, now dosing.Instant) {
	view := s.app.View()
	if view == nil {
		return
	}
	if c.wide == nil {
		c.line(view, now)
		return
	}
	if time.Since(c.drawn) < redrawEvery {
		return
	}
	c.drawn = time.Now()
	text := c.drawing(s, view, now)
	if c.lines > 0 {
		fmt.Fprintf(c.out, "\x1b[%dA", c.lines)
	}
	lines := strings.Split(strings.TrimRight(text, "\n"), "\n")
	// A line that the terminal broke in two would be drawn again below itself.
	wide := max(c.wide()-1, 1)
	for _, l := range lines {
		fmt.Fprintf(c.out, "\x1b[2K%s\n", clip(l, wide))
	}
	c.lines = len(lines)
}

// line prints changes of mode or reason, and every quarter of a simulated hour
// where the tanks stand.
func (c *screen) line(view *controller.View, now dosing.Instant) {
	for i := range view.Tanks {
		t := &view.Tanks[i]
		said := t.Mode.String() + "|" + t.Cause.String()
		if c.said[t.Name] == said && now.Up%lineEvery != 0 {
			continue
		}
		c.said[t.Name] = said
		fmt.Fprintf(c.out, "%s  %-8s %s  EC %s mS/cm  %s\n", clockWords(now.Up), t.Name, measured(t, dosing.QuantityPH, "pH "),
			measured(t, dosing.QuantityEC, ""), t.Reason)
	}
}

func measured(t *controller.TankView, q dosing.Quantity, prefix string) string {
	for _, in := range t.Inputs {
		if in.Quantity == q && in.Present {
			return fmt.Sprintf("%s%.2f", prefix, in.Value)
		}
	}
	return prefix + "–.––"
}

// drawing is the live view as text.
func (c *screen) drawing(s *stage, view *controller.View, now dosing.Instant) string {
	var b strings.Builder
	fmt.Fprintf(&b, "night %s   reached %.0f×   broker %s   record %s\n", clockWords(now.Up),
		now.Up.Seconds()/max(time.Since(s.began).Seconds(), 1e-3), upWords(view.LinkUp), view.Ledger)
	for i := range view.Tanks {
		t := &view.Tanks[i]
		fmt.Fprintf(&b, "\n%s: %s\n", t.Name, t.Reason)
		fmt.Fprintf(&b, "  %s\n", t.Next)
		fmt.Fprintf(&b, "  pH %s  setpoint %.2f  %s\n", measured(t, dosing.QuantityPH, ""), t.PH.Working, gauge(s.nights[i].last(func(m sample) float64 { return m.pH - m.wantPH }), dosing.StartBand.PH))
		fmt.Fprintf(&b, "  EC %s  setpoint %.2f  %s\n", measured(t, dosing.QuantityEC, ""), t.EC.Working, gauge(s.nights[i].last(func(m sample) float64 { return m.ec - m.wantEC }), dosing.StartBand.EC))
		for _, a := range t.Alarms {
			fmt.Fprintf(&b, "  alarm, %s: %s\n", a.Priority, a.Text)
		}
		for range 2 - min(len(t.Alarms), 2) {
			b.WriteString("\n") // keeps the drawing's height, so that it does not jump
		}
	}
	return b.String()
}

func upWords(up bool) string {
	if up {
		return "connected"
	}
	return "NOT connected"
}

func (n *night) last(value func(sample) float64) float64 {
	if len(n.samples) == 0 {
		return 0
	}
	return value(n.samples[len(n.samples)-1])
}

// gauge draws an error around its band: [ ] is the band, ● the value.
func gauge(err, half float64) string {
	const wide = 41
	cells := []rune(strings.Repeat("·", wide))
	place := func(v float64) int { return min(max(int(wide/2+v/half*5+0.5), 0), wide-1) }
	cells[place(-half)], cells[place(half)] = '[', ']'
	cells[place(err)] = '●'
	return string(cells)
}

func clip(line string, width int) string {
	runes := []rune(line)
	if len(runes) <= width {
		return line
	}
	return string(runes[:width-1]) + "…"
}

// leave puts the cursor below the live view.
func (c *screen) leave() { fmt.Fprintln(c.out) }
