package line

import (
	"fmt"
	"time"

	"leat/safety"
)

// Figure is what the line does now, in words.
type Figure struct{ Name, Text string }

// Figures are those of the last Update.
func (l *Line) Figures() []Figure { return append([]Figure(nil), l.figures...) }

func (l *Line) figure(name, format string, a ...any) {
	l.figures = append(l.figures, Figure{name, fmt.Sprintf(format, a...)})
}

// Figure adds a figure that somebody else judges.
func (l *Line) Figure(name, words string) { l.figures = append(l.figures, Figure{name, words}) }

// Find adds a finding that somebody else made, which is no matter of roots yet.
func (l *Line) Find(cause safety.Cause, words string) {
	l.findings = append(l.findings, Finding{cause, words, -1})
}

// rootsWords say how long the roots bear it; nothing where that is not in sight.
func rootsWords(left time.Duration) string {
	switch {
	case left < 0:
		return ""
	case left < time.Minute:
		return "; roots suffer now"
	}
	return "; " + roughly(left) + " left before roots suffer"
}

func roughly(d time.Duration) string {
	if d < 2*time.Hour {
		return fmt.Sprintf("%.0f min", d.Minutes())
	}
	return fmt.Sprintf("%.1f h", d.Hours())
}
