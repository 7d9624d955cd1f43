package web

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// spark is one quantity of the last hours without figures, for a card: its line in its band.
type spark struct{ Line, Band, Words string }

// sparkStep is how finely it is drawn, in units of which the night has a hundred and the
// card thirty.
const (
	sparkStep = 12 * time.Minute
	sparkWide = 100.0
	sparkHigh = 30.0
)

// sparksOf are pH and EC of a night.
func sparksOf(n *Night) (sparks []spark) {
	for _, q := range []struct {
		name  string
		trace *Trace
	}{{"pH", &n.PH}, {"EC", &n.EC}} {
		sparks = append(sparks, sparkOf(q.name, q.trace, n.From, n.To))
	}
	return sparks
}

func sparkOf(name string, t *Trace, from, to time.Time) spark {
	if len(t.Line) == 0 || len(t.Set) == 0 {
		return spark{Words: name + ": nothing was read in the last hours"}
	}
	low, high, _ := scaleOf(t)
	x := func(at time.Time) string { return short(sparkWide * at.Sub(from).Seconds() / to.Sub(from).Seconds()) }
	y := func(v float64) string {
		return short(sparkHigh * min(max((high-v)/(high-low), 0), 1))
	}
	var line, band strings.Builder
	var last time.Time
	least, most := math.Inf(1), math.Inf(-1)
	for i := range t.Line {
		p := &t.Line[i]
		least, most = min(least, p.Value), max(most, p.Value)
		if !last.IsZero() && p.At.Sub(last) < sparkStep {
			continue
		}
		move := "L"
		if last.IsZero() || p.At.Sub(last) > 2*sparkStep {
			move = "M"
		}
		fmt.Fprintf(&line, "%s%s %s", move, x(p.At), y(p.Value))
		last = p.At
	}
	for i, set := range t.Set {
		until := to
		if i+1 < len(t.Set) {
			until = t.Set[i+1].At
		}
		fmt.Fprintf(&band, "M%s %sH%sV%sH%sz", x(set.At), y(set.Value+t.Band), x(until), y(set.Value-t.Band), x(set.At))
	}
	return spark{Line: line.String(), Band: band.String(), Words: fmt.Sprintf("%s of the last hours: lowest %.2f, highest %.2f", name, least, most)}
}
