package web

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
)

// strip is a night as the page draws it: pH and EC over one another, the doses of each
// liquid as ticks in a lane of its own, the interlocks of each cause in another; and the
// same as a table.
type strip struct {
	Span     string // its key
	Sentence string
	High     string // of the drawing
	From, To string
	Drawn    string
	Plots    []plot
	Lanes    []lane
	Hours    []tick // down to the lowest plot
	Foot     string // where the hours are written
	Taps     []tap  // what is touched leads to its row in words
	TapHigh  string
	Rows     []stripRow
}

// tap is the part of the drawing that belongs to a row of the table.
type tap struct{ X, Wide, Row, Words string }

// Spans are the times that can be looked at.
func (s *strip) Spans() []span { return spans }

// Name is what its time is called.
func (s *strip) Name() string {
	if what, ok := spanOf(s.Span); ok {
		return "The last " + strings.TrimPrefix(what.Name, "a ")
	}
	return ""
}

// plot is one quantity. Band is the band around the setpoint as it was.
type plot struct {
	Name, Words, Line, Set, Band string
	Ticks                        []tick
	Top, High, Title             string
	Shades                       []bar // an interlock was active
}

type tick struct{ At, Label string }

type bar struct{ X, Wide, Kind string }

// lane is the doses of one liquid or the interlocks of one cause.
type lane struct {
	Words, Role, Mark string
	Text, Top         string // where its words and its marks stand
	Ticks, Doubted    string // paths
	Pump, Cause       string // one of them
	Bars              []bar
}

// stripRow is one hour, day or month in the table.
type stripRow struct {
	Hour, PH, EC, Doses, Held string
	from, to                  time.Time
}

// Measures of the drawing, in its own units.
const (
	stripWide  = 360.0
	gutter     = 34.0 // for the values
	plotHigh   = 84.0
	plotHead   = 15.0 // above a plot, where its name stands
	plotGap    = 4.0
	laneHigh   = 26.0
	laneMark   = 9.0              // of a tick
	stripSteps = 180              // that a line is drawn in, at most
	stripGap   = 10 * time.Minute // readings further apart are not joined: nobody knows what was between
	lanesMost  = 8                // of causes
	nameFits   = 31               // letters of a liquid, with its figures behind it
	stripSpare = 14.0             // for the hours
)

// roleMarks stand beside the colour of a liquid, which nobody need see.
var roleMarks = map[string]string{"acid": "▼", "base": "▲", "stock": "●"}

// pen draws one night.
type pen struct{ from, to time.Time }

func (p pen) x(at time.Time) float64 {
	share := at.Sub(p.from).Seconds() / p.to.Sub(p.from).Seconds()
	return gutter + min(max(share, 0), 1)*(stripWide-gutter)
}

func short(v float64) string { return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64) }

// draw lays a night out.
func draw(n *Night) *strip {
	p := pen{n.From, n.To}
	s := &strip{Sentence: n.Sentence, From: p.label(n.From), To: p.label(n.To), Drawn: n.To.Format("15:04")}
	top := 0.0
	for _, q := range []struct {
		name  string
		trace *Trace
	}{{"pH", &n.PH}, {"EC, mS/cm", &n.EC}} {
		s.Plots = append(s.Plots, p.plot(q.name, q.trace, n.Held, top+plotHead))
		top += plotHead + plotHigh + plotGap
	}
	s.Foot, s.TapHigh = short(top+stripSpare/2), short(top)
	s.Hours = p.hours()
	top += stripSpare
	for i := range n.Lanes {
		s.Lanes = append(s.Lanes, p.doses(&n.Lanes[i], top))
		top += laneHigh
	}
	for _, held := range p.causes(n.Held) {
		held.Text, held.Top = short(top+11), short(top+15)
		s.Lanes = append(s.Lanes, held)
		top += laneHigh
	}
	s.High = short(top + 2)
	s.Rows = rowsOf(n)
	for i := range s.Rows {
		r := &s.Rows[i]
		x := p.x(r.from)
		s.Taps = append(s.Taps, tap{short(x), short(p.x(r.to) - x), strconv.Itoa(i), r.Hour + ": pH " + r.PH + ", EC " + r.EC})
	}
	return s
}

// long says that days are drawn rather than hours.
func (p pen) long() bool { return p.to.Sub(p.from) > 48*time.Hour }

// label is a time as it is written beside the drawing.
func (p pen) label(at time.Time) string {
	if p.long() {
		return at.Format("2 Jan 2006")
	}
	return at.Format("15:04")
}

// hours are the times that are written below the plots.
func (p pen) hours() (ticks []tick) {
	whole := p.to.Sub(p.from)
	at, layout := p.from.Truncate(3*time.Hour), "15:04"
	next := func(t time.Time) time.Time { return t.Add(whole / 4) }
	switch {
	case whole > 60*24*time.Hour:
		at, layout = time.Date(p.from.Year(), p.from.Month(), 1, 0, 0, 0, 0, p.from.Location()), "Jan"
		next = func(t time.Time) time.Time { return t.AddDate(0, 2, 0) }
	case p.long():
		at, layout = p.from, "2 Jan"
		next = func(t time.Time) time.Time { return t.AddDate(0, 0, 7) }
	}
	for ; at.Before(p.to); at = next(at) {
		if x := p.x(at); x > gutter+8 && x < stripWide-16 {
			ticks = append(ticks, tick{short(x), at.Format(layout)})
		}
	}
	return ticks
}

// scaleOf is the range of values of a plot with round numbers to write beside it. A probe
// gone astray is cut off at the edge rather than let it flatten all others: more than
// four units from the setpoint is no water.
func scaleOf(t *Trace) (low, high float64, steps []float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, set := range t.Set {
		low, high = min(low, set.Value-2*t.Band), max(high, set.Value+2*t.Band)
	}
	const astray = 4
	least, most := low-astray, high+astray
	for _, p := range t.Line {
		v := p.Value
		if len(t.Set) > 0 {
			v = min(max(v, least), most)
		}
		low, high = min(low, v), max(high, v)
	}
	if !(high > low) {
		low, high = low-0.5, low+0.5
	}
	step := 0.1
	for _, next := range []float64{0.2, 0.5, 1, 2, 5} {
		if (high-low)/step > 3.5 {
			step = next
		}
	}
	for v := math.Ceil(low/step) * step; v <= high+1e-9; v += step {
		steps = append(steps, v)
	}
	return low, high, steps
}

func (p pen) plot(name string, t *Trace, held []Held, top float64) plot {
	d := plot{Name: name, Words: "no reading in these hours", Top: short(top), High: short(plotHigh), Title: short(top - 4)}
	for _, h := range held {
		if p.long() { // there an interlock is told by the day
			break
		}
		x := p.x(h.From)
		d.Shades = append(d.Shades, bar{short(x), short(p.x(h.To) - x), kindOf(h.Cause)})
	}
	if len(t.Line) == 0 && len(t.Set) == 0 {
		return d
	}
	low, high, steps := scaleOf(t)
	y := func(v float64) float64 { return top + min(max((high-v)/(high-low), 0), 1)*plotHigh }
	for _, v := range steps {
		d.Ticks = append(d.Ticks, tick{short(y(v)), strconv.FormatFloat(v, 'f', 1, 64)})
	}
	d.Set, d.Band = p.steps(t, y)
	if len(t.Line) > 0 {
		least, most := math.Inf(1), math.Inf(-1)
		for _, point := range t.Line {
			least, most = min(least, point.Value), max(most, point.Value)
		}
		d.Words = fmt.Sprintf("lowest %.2f, highest %.2f", least, most)
		d.Line = p.line(t.Line, y)
	}
	return d
}

// steps is the setpoint as it was, and the band around it.
func (p pen) steps(t *Trace, y func(float64) float64) (line, band string) {
	var set, under strings.Builder
	for i, point := range t.Set {
		until := p.to
		if i+1 < len(t.Set) {
			until = t.Set[i+1].At
		}
		x, wide := p.x(point.At), p.x(until)-p.x(point.At)
		move := "V" + short(y(point.Value))
		if i == 0 {
			move = "M" + short(x) + " " + short(y(point.Value))
		}
		fmt.Fprintf(&set, "%sh%s", move, short(wide))
		upper, lower := y(point.Value+t.Band), y(point.Value-t.Band)
		fmt.Fprintf(&under, "M%s %sh%sv%sh-%sz", short(x), short(upper), short(wide), short(lower-upper), short(wide))
	}
	return set.String(), under.String()
}

// line is what was read, as means of equal steps.
func (p pen) line(points []Point, y func(float64) float64) string {
	var line strings.Builder
	var last time.Time
	lastX, lastY := 0.0, 0.0
	step := p.to.Sub(p.from) / stripSteps
	gap := max(stripGap, 5*step/2)
	for i := 0; i < len(points); {
		first, sum, n := points[i].At, 0.0, 0
		for ; i < len(points) && points[i].At.Sub(first) < step; i++ {
			sum, n = sum+points[i].Value, n+1
		}
		x, v := math.Round(p.x(first)*10)/10, math.Round(y(sum/float64(n))*10)/10
		if last.IsZero() || first.Sub(last) > gap {
			fmt.Fprintf(&line, "M%s %s", short(x), short(v))
		} else {
			fmt.Fprintf(&line, "l%s %s", short(x-lastX), short(v-lastY))
		}
		last, lastX, lastY = first, x, v
	}
	return line.String()
}

func (p pen) doses(l *Lane, top float64) lane {
	d := lane{Pump: l.Pump, Role: l.Role, Mark: roleMarks[l.Role], Text: short(top + 11), Top: short(top + 15)}
	doubted, count, most := 0, 0, 0.0
	for _, dose := range l.Doses {
		most = max(most, dose.ML)
	}
	var sure, unsure strings.Builder
	for _, dose := range l.Doses {
		path := &sure
		if !dose.Sure {
			path, doubted = &unsure, doubted+1
		}
		count += max(dose.Count, 1)
		// The larger the dose, the taller its tick; the smallest is still seen.
		high := laneMark * max(0.3, dose.ML/most)
		fmt.Fprintf(path, "M%s %sv-%s", short(p.x(dose.At)), short(top+15+laneMark), short(high))
	}
	d.Ticks, d.Doubted = sure.String(), unsure.String()
	name := l.Pump + " · " + l.Liquid
	if len(name) > nameFits {
		name = l.Pump
	}
	d.Words = fmt.Sprintf("%s: %s, %s", name, millilitres(l.ML), counted(count, "dose"))
	if doubted > 0 {
		d.Words += fmt.Sprintf(", %d unsure", doubted)
	}
	return d
}

// causes are the lanes of the interlocks, what held longest first.
func (p pen) causes(held []Held) (lanes []lane) {
	long, times, bars := map[string]time.Duration{}, map[string]int{}, map[string][]bar{}
	var order []string
	for _, h := range held {
		if times[h.Cause] == 0 {
			order = append(order, h.Cause)
		}
		x := p.x(h.From)
		long[h.Cause] += h.To.Sub(h.From)
		times[h.Cause]++
		bars[h.Cause] = append(bars[h.Cause], bar{short(x), short(max(p.x(h.To)-x, 1)), kindOf(h.Cause)})
	}
	slices.SortStableFunc(order, func(a, b string) int { return int((long[b] - long[a]) / time.Second) })
	for i, cause := range order {
		if i == lanesMost {
			break
		}
		lanes = append(lanes, lane{Cause: cause, Role: "held", Mark: "▬", Bars: bars[cause], Words: fmt.Sprintf("%s: %s, %s", cause, leftWords(long[cause]), counted(times[cause], "time"))})
	}
	return lanes
}

// millilitres is a volume with three digits that count.
func millilitres(ml float64) string {
	if ml >= 999.5 {
		return significant(ml/1000) + " L"
	}
	return significant(ml) + " mL"
}

// significant is a number with three digits that count.
func significant(v float64) string {
	switch {
	case v >= 100:
		return strconv.FormatFloat(v, 'f', 0, 64)
	case v >= 10:
		return strconv.FormatFloat(v, 'f', 1, 64)
	}
	return strconv.FormatFloat(v, 'f', 2, 64)
}

// counted is a number of things in words.
func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
