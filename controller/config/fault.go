package config

import (
	"fmt"
	"sort"
	"strings"
)

// FieldError is one fault of a configuration file: which key, on which line, what
// stands there, what is wrong with it and what to write instead.
type FieldError struct {
	File    string `json:"file"`
	Key     string `json:"key"`  // as a person names it: pump[acid].rate
	Line    int    `json:"line"` // 1 is the first; 0 = the file as a whole
	Value   string `json:"value,omitempty"`
	Problem string `json:"problem"`
	Hint    string `json:"hint,omitempty"`
}

func (e *FieldError) Error() string {
	var b strings.Builder
	b.WriteString(e.File)
	if e.Line > 0 {
		fmt.Fprintf(&b, ":%d", e.Line)
	}
	b.WriteString(": ")
	if e.Key != "" {
		b.WriteString(e.Key)
		if e.Value != "" {
			b.WriteString(" = " + e.Value)
		}
		b.WriteString(": ")
	}
	b.WriteString(e.Problem)
	if e.Hint != "" {
		b.WriteString("; " + e.Hint)
	}
	return b.String()
}

// Faults is every fault of a file at once, in the order of its lines: correcting
// one at a time, with a start between, is how faults get waved through.
type Faults []*FieldError

func (f Faults) Error() string {
	lines := make([]string, len(f))
	for i, e := range f {
		lines[i] = e.Error()
	}
	return strings.Join(lines, "\n")
}

// Unwrap lets errors.As find the single faults.
func (f Faults) Unwrap() []error {
	errs := make([]error, len(f))
	for i, e := range f {
		errs[i] = e
	}
	return errs
}

func (f Faults) sorted() Faults {
	sort.SliceStable(f, func(i, j int) bool { return f[i].Line < f[j].Line })
	return f
}

// nearest is the known word closest to a mistyped one; empty when none is close
// enough to be meant.
func nearest(word string, known []string) string {
	best, distance := "", len(word)/2+1
	for _, k := range known {
		if d := edits(strings.ToLower(word), strings.ToLower(k)); d < distance {
			best, distance = k, d
		}
	}
	return best
}

// edits counts the single-letter changes from a to b, a swap of neighbours being
// one (optimal string alignment).
func edits(a, b string) int {
	x, y := []rune(a), []rune(b)
	before, last := make([]int, len(y)+1), make([]int, len(y)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(x); i++ {
		row := make([]int, len(y)+1)
		row[0] = i
		for j := 1; j <= len(y); j++ {
			cost := 1
			if x[i-1] == y[j-1] {
				cost = 0
			}
			row[j] = min(last[j]+1, row[j-1]+1, last[j-1]+cost)
			if i > 1 && j > 1 && x[i-1] == y[j-2] && x[i-2] == y[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last = last, row
	}
	return last[len(y)]
}

// quoted shortens what a person wrote so that an error stays one line.
func quoted(text string) string {
	if len(text) > 60 {
		text = strings.ToValidUTF8(text[:57], "") + "..."
	}
	return fmt.Sprintf("%q", text)
}

// listed joins words for a sentence: "a, b or c".
func listed(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " or " + words[len(words)-1]
}
