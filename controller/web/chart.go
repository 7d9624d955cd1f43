package web

import (
	"fmt"
	"math"
	"strings"
	"sync"
	"time"

	"leat/controller"
	"leat/dosing"
)

// Minute is the mean of one input over one minute.
type Minute struct {
	At   time.Time
	Mean float64
}

// chart is the last hours of one input beside what is wanted, in the units of the
// drawing: chartWide across, chartHigh down.
type chart struct {
	Title, Words      string
	From, To          string // clock times of its two ends
	Line              string // path of the readings
	BandTop, BandHigh float64
	Want              float64
	Live              bool // false: nothing in these hours
}

// Measures of a chart. Readings further apart than chartGap are not joined: nobody
// knows what was between them.
const (
	chartHours = 12 * time.Hour
	chartStep  = 3 * time.Minute
	chartGap   = 10 * time.Minute
	chartWide  = 360.0
	chartHigh  = 96.0
)

// drawEvery is how often a chart is drawn anew: it is most of what a page that is
// followed is sent.
const drawEvery = 10 * time.Minute

// drawings keeps the newest charts by tank.
type drawings struct {
	mu   sync.Mutex
	made map[string]drawing
}

type drawing struct {
	at     time.Time
	charts []chart
}

// charts are pH and EC of a tank over the last hours, at most drawEvery old.
func (s *Server) charts(at time.Time, tank *controller.TankView) []chart {
	if s.options.History == nil {
		return nil
	}
	s.drawings.mu.Lock()
	defer s.drawings.mu.Unlock()
	have, known := s.drawings.made[tank.Name]
	if age := at.Sub(have.at); !known || age < 0 || age >= drawEvery {
		have = drawing{at, s.draw(at, tank)}
		s.drawings.made[tank.Name] = have
	}
	return have.charts
}

func (s *Server) draw(at time.Time, tank *controller.TankView) (drawn []chart) {
	for i := range tank.Inputs {
		in := &tank.Inputs[i]
		var c chart
		switch in.Quantity {
		case dosing.QuantityPH:
			c = chart{Title: "pH"}
		case dosing.QuantityEC:
			c = chart{Title: "EC, mS/cm"}
		default:
			continue
		}
		minutes, err := s.options.History(tank.Name+"/"+in.Name, at.Add(-chartHours), at)
		if err != nil {
			c.Words = "the history cannot be read: " + err.Error()
		} else if in.Quantity == dosing.QuantityPH {
			c.draw(minutes, at, tank.PH.Present, dosing.StartBand.PH)
		} else {
			c.draw(minutes, at, tank.EC.Present, dosing.StartBand.EC)
		}
		drawn = append(drawn, c)
	}
	return drawn
}

// draw lays minutes out over the hours before at, with the band around what is
// wanted. A probe gone astray is cut off at the edge rather than let it flatten all
// others: more than four units from the wanted value is no water.
func (c *chart) draw(minutes []Minute, at time.Time, want, halfBand float64) {
	const astray = 4.0
	c.From, c.To = at.Add(-chartHours).Format("15:04"), at.Format("15:04")
	if len(minutes) == 0 {
		c.Words = "no reading in these hours"
		return
	}
	c.Live = true
	least, most := math.Inf(1), math.Inf(-1)
	for _, m := range minutes {
		least, most = min(least, m.Mean), max(most, m.Mean)
	}
	c.Words = fmt.Sprintf("lowest %.2f, highest %.2f, wanted now %.2f", least, most, want)
	low, high := max(min(least, want-2*halfBand), want-astray), min(max(most, want+2*halfBand), want+astray)
	y := func(v float64) float64 { return min(max((high-v)/(high-low), 0), 1) * chartHigh }
	c.Want, c.BandTop = y(want), y(want+halfBand)
	c.BandHigh = y(want-halfBand) - c.BandTop
	var line strings.Builder
	var last time.Time
	for i := 0; i < len(minutes); {
		first, sum, n := minutes[i].At, 0.0, 0
		for ; i < len(minutes) && minutes[i].At.Sub(first) < chartStep; i++ {
			sum, n = sum+minutes[i].Mean, n+1
		}
		move := 'L'
		if last.IsZero() || first.Sub(last) > chartGap {
			move = 'M'
		}
		x := chartWide * (1 - at.Sub(first).Hours()/chartHours.Hours())
		fmt.Fprintf(&line, "%c%.1f %.1f", move, max(x, 0), y(sum/float64(n)))
		last = first
	}
	c.Line = line.String()
}
