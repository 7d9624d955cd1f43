package report

import (
	"math"
	"time"

	"leat/controller/diary"
	"leat/dosing"
)

// Held is how one quantity was held.
type Held struct {
	InBand  *float64 `json:"in_band,omitempty"`      // share of the minutes that are known; nil = none is
	InWarn  *float64 `json:"in_warn_band,omitempty"` // the same within twice the band
	Known   float64  `json:"known"`                  // share of the time with a reading and a setpoint
	Band    float64  `json:"band"`
	Low     *float64 `json:"low,omitempty"`
	Mean    *float64 `json:"mean,omitempty"`
	High    *float64 `json:"high,omitempty"`
	Drift   *float64 `json:"drift_per_hour,omitempty"` // without doses, mean of what was learned
	Set     []Point  `json:"setpoints"`                // each value from its time on
	Line    []Point  `json:"-"`                        // the reading, by minute
	inBand  int
	minutes int
}

// Point is a value at a time.
type Point struct {
	At    time.Time `json:"at"`
	Value float64   `json:"value"`
}

// band is how far a quantity may lie from its setpoint.
type band struct{ in, warn float64 }

var (
	bandPH = band{dosing.StartBand.PH, dosing.WarnBand.PH}
	bandEC = band{dosing.StartBand.EC, dosing.WarnBand.EC}
)

// setpointsOf are the setpoints of a tank as they were, by quantity. The first is what
// stood when the time began.
func setpointsOf(past *diary.Past, tank string) map[string][]Point {
	set := map[string][]Point{}
	for i := range past.Events {
		e := &past.Events[i]
		if e.Kind != diary.KindSetpoint || e.Tank != tank {
			continue
		}
		was, at := set[e.Name], later(e.At, past.From).In(past.Zone)
		switch n := len(was); {
		case n > 0 && was[n-1].At.Equal(at):
			was[n-1].Value = e.Value
		case n == 0 || was[n-1].Value != e.Value:
			set[e.Name] = append(was, Point{at, e.Value})
		}
	}
	return set
}

// held judges the minutes of the first of the inputs that was read.
func held(past *diary.Past, inputs []string, set []Point, band band, line *timeline) Held {
	h := Held{Band: band.in, Set: set}
	var minutes diary.Minutes
	for _, input := range inputs {
		if minutes = past.Minutes[input]; len(minutes) > 0 {
			break
		}
	}
	low, high, sum := math.Inf(1), math.Inf(-1), 0.0
	inWarn, next := 0, 0
	for _, m := range minutes {
		h.Line = append(h.Line, Point{m.At.In(past.Zone), m.Mean})
		low, high, sum = min(low, m.Low), max(high, m.Top), sum+m.Mean
		for next < len(set) && !set[next].At.After(m.At.Add(time.Minute)) {
			next++
		}
		if next == 0 {
			continue
		}
		h.minutes++
		switch off := math.Abs(m.Mean - set[next-1].Value); {
		case off <= band.in+rounding:
			h.inBand++
			inWarn++
		case off <= band.warn+rounding:
			inWarn++
		}
	}
	if n := len(minutes); n > 0 {
		mean := sum / float64(n)
		h.Low, h.High, h.Mean = &low, &high, &mean
	}
	if h.minutes > 0 {
		in, warn := float64(h.inBand)/float64(h.minutes), float64(inWarn)/float64(h.minutes)
		h.InBand, h.InWarn = &in, &warn
	}
	if whole := line.to.Sub(past.From).Minutes(); whole > 0 {
		h.Known = min(float64(h.minutes)/whole, 1)
	}
	return h
}

// rounding keeps a value that lies on the edge of a band within it.
const rounding = 1e-9

func driftOf(past *diary.Past, tank, quantity string) *float64 {
	sum, n := 0.0, 0
	for i := range past.Events {
		e := &past.Events[i]
		if e.Kind == diary.KindDrift && e.Tank == tank && e.Name == quantity && !e.At.Before(past.From) {
			sum, n = sum+e.Value, n+1
		}
	}
	if n == 0 {
		return nil
	}
	mean := sum / float64(n)
	return &mean
}
