package sheet

import (
	"bytes"
	_ "embed" // the page's template
	"fmt"
	"html/template"
	"io"
	"math"
	"strings"
	"unicode/utf8"
)

//go:embed leaf.html
var leafText string

// leaf is a short report of lines and tables, written for a terminal or for a browser.
type leaf struct {
	Title string
	Parts []part
	Foot  []string
}

// part is what is told under one heading.
type part struct {
	Heading string
	Lines   []string
	Head    []string
	Rows    [][]string
	Bars    []bar // pictured in a browser, beside the table that holds their figures
	Unit    string
}

// bar is one line of a picture: a value with its uncertainty, and beside it what was done.
type bar struct {
	Label   string
	V, U    float64
	Done    float64
	HasDone bool
}

// text writes a leaf for a terminal.
func (l *leaf) text(w io.Writer) error {
	var p page
	p.line("%s", l.Title)
	for i := range l.Parts {
		part := &l.Parts[i]
		p.line("\n%s", part.Heading)
		for _, line := range part.Lines {
			p.line("  %s", line)
		}
		p.table(append([][]string{part.Head}, part.Rows...))
	}
	if len(l.Foot) > 0 {
		p.line("")
	}
	for _, line := range l.Foot {
		p.line("%s", line)
	}
	_, err := io.WriteString(w, p.String())
	return err
}

// table writes cells below one another: what begins with a digit or a sign to the right.
func (p *page) table(rows [][]string) {
	if len(rows) < 2 {
		return
	}
	wide := make([]int, len(rows[0]))
	for _, row := range rows {
		for i, cell := range row[:len(row)-1] { // what is last needs no width
			wide[i] = max(wide[i], utf8.RuneCountInString(cell))
		}
	}
	for n, row := range rows {
		line := " "
		for i, cell := range row {
			room := strings.Repeat(" ", max(wide[i]-utf8.RuneCountInString(cell), 0))
			if right := n == 0 && numeric(rows[1][i]) || n > 0 && numeric(cell); right {
				line += " " + room + cell + " "
			} else {
				line += " " + cell + room + " "
			}
		}
		p.line("%s", strings.TrimRight(line, " "))
	}
}

// numeric says that a cell is a figure, which stands to the right.
func numeric(cell string) bool { return strings.ContainsAny(cell[:min(1, len(cell))], "+-0123456789") }

// html writes a leaf for a browser: one file that needs no other.
func (l *leaf) html(w io.Writer) error {
	t, err := template.New("leaf").Funcs(template.FuncMap{"bars": bars, "numeric": numeric}).Parse(leafText)
	if err != nil {
		return err
	}
	var page bytes.Buffer
	if err := t.Execute(&page, l); err != nil {
		return err
	}
	_, err = page.WriteTo(w)
	return err
}

// The picture of bars: places in its own units.
const (
	barsWide  = 640.0
	barsLeft  = 150.0
	barsRight = 16.0
	barHigh   = 22.0
)

// bars is a picture of values with their uncertainty around zero; what was done is a line.
func bars(p part) template.HTML {
	if len(p.Bars) == 0 {
		return ""
	}
	low, high := 0.0, 0.0
	for _, b := range p.Bars {
		low, high = min(low, b.V-b.U, b.Done), max(high, b.V+b.U, b.Done)
	}
	if high-low < 1e-9 {
		return ""
	}
	x := func(v float64) float64 { return barsLeft + (v-low)/(high-low)*(barsWide-barsLeft-barsRight) }
	var s strings.Builder
	fmt.Fprintf(&s, `<svg viewBox="0 0 %.0f %.0f" role="img" aria-label="%s">`, barsWide, barHigh*float64(len(p.Bars))+barHigh, template.HTMLEscapeString(p.Heading+", "+p.Unit))
	for i, b := range p.Bars {
		y := barHigh * float64(i)
		fmt.Fprintf(&s, `<text class="left" x="%.1f" y="%.1f">%s</text>`, barsLeft-8, y+15, template.HTMLEscapeString(b.Label))
		fmt.Fprintf(&s, `<rect class="bar" x="%.1f" y="%.1f" width="%.1f" height="%.1f"/>`, min(x(0), x(b.V)), y+4, max(math.Abs(x(b.V)-x(0)), 0.5), barHigh-8)
		if b.U > 0 {
			fmt.Fprintf(&s, `<path class="doubt" d="M%.1f %.1fH%.1fM%.1f %.1fv8M%.1f %.1fv8"/>`, x(b.V-b.U), y+11, x(b.V+b.U), x(b.V-b.U), y+7, x(b.V+b.U), y+7)
		}
		if b.HasDone {
			fmt.Fprintf(&s, `<path class="done" d="M%.1f %.1fv%.1f"/>`, x(b.Done), y+1, barHigh-2)
		}
	}
	bottom := barHigh * float64(len(p.Bars))
	fmt.Fprintf(&s, `<path class="zero" d="M%.1f 0V%.1f"/><text class="mid" x="%.1f" y="%.1f">0</text>`, x(0), bottom, x(0), bottom+15)
	for _, end := range []float64{low, high} {
		if math.Abs(x(end)-x(0)) > 60 {
			fmt.Fprintf(&s, `<text class="mid" x="%.1f" y="%.1f">%+.3g</text>`, min(x(end), barsWide-40), bottom+15, end)
		}
	}
	s.WriteString("</svg>")
	return template.HTML(s.String()) //nolint:gosec // figures, and escaped text
}
