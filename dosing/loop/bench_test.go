package loop

import (
	"math"
	"testing"
	"time"

	"leat/dosing"
)

// tabulated is a titration curve by table, as dosing/chem keeps it: what the
// loops cost in service.
type tabulated struct{ alk, buffer [151]float64 } // pH 3 to 10.5 by 0.05

func tabulate(w water) *tabulated {
	c := &tabulated{}
	for i := range c.alk {
		c.alk[i], c.buffer[i] = w.alkalinity(3 + 0.05*float64(i))
	}
	return c
}

func (c *tabulated) at(table *[151]float64, ph float64) float64 {
	x := max(0, min(149.999, (ph-3)/0.05))
	i := int(x)
	return table[i] + (table[i+1]-table[i])*(x-float64(i))
}
func (c *tabulated) AcidNeeded(from, to float64) float64 {
	return c.at(&c.alk, from) - c.at(&c.alk, to)
}
func (c *tabulated) Buffer(ph float64) float64 { return c.at(&c.buffer, ph) }
func (c *tabulated) PHAfter(from, acid float64) float64 {
	want := c.at(&c.alk, from) - acid
	low, high := 0, 150
	for high-low > 1 {
		if mid := (low + high) / 2; c.alk[mid] > want {
			high = mid
		} else {
			low = mid
		}
	}
	return 3 + 0.05*(float64(low)+(want-c.alk[low])/(c.alk[high]-c.alk[low]))
}

// busyLoops are the loops of a tank with ten doses on their way.
func busyLoops() (*Loops, *scene, dosing.Instant) {
	s := farmNight(1, true)
	s.curve = tabulate(water{P: 1.3, C: 0.3, N: 0.3})
	totals := dosing.NewTotals(len(s.pumps), 1)
	l := NewLoops(0, s.tank, s.pumps, s.curve, totals)
	now := dosing.Instant{}
	for i := range 60 {
		now = now.Add(5 * time.Second)
		ph, _ := dosing.NewReading(0, dosing.QuantityPH, 6.2+0.01*math.Sin(float64(i)), now, 0, false)
		ec, _ := dosing.NewReading(1, dosing.QuantityEC, 1.8, now, 0, false)
		l.Read(ph, dosing.QualityGood)
		l.Read(ec, dosing.QualityGood)
		if i >= 50 {
			totals.Count(dosing.Dose{Key: uint64(i), Pump: dosing.PumpID(i % 4), Volume: dosing.Millilitre, Up: now.Up})
		}
	}
	return l, s, now
}

func BenchmarkRead(b *testing.B) {
	l, _, now := busyLoops()
	b.ReportAllocs()
	for b.Loop() {
		now.Up += time.Second
		r, _ := dosing.NewReading(0, dosing.QuantityPH, 6.2, now, 0, false)
		l.Read(r, dosing.QualityGood)
	}
}

// Every reading ends a block of the filter, with ten doses on their way.
func BenchmarkReadThatEndsABlock(b *testing.B) {
	l, _, now := busyLoops()
	now.Up += blockTime
	r, _ := dosing.NewReading(0, dosing.QuantityPH, 6.2, now, 0, false)
	fresh := l.ph
	b.ReportAllocs()
	for b.Loop() {
		l.ph = fresh
		l.Read(r, dosing.QualityGood)
	}
}

func BenchmarkNext(b *testing.B) {
	l, s, now := busyLoops()
	limits := make([]dosing.Volume, len(s.pumps))
	for i := range limits {
		limits[i] = dosing.Litre
	}
	b.ReportAllocs()
	for b.Loop() {
		l.transit.known = false // as after a dose: what is in transit is summed anew
		l.version++
		l.Next(now, s.target, limits)
	}
}

func BenchmarkEstimate(b *testing.B) {
	l, s, now := busyLoops()
	b.ReportAllocs()
	for b.Loop() {
		l.transit.known = false
		l.version++
		l.Estimate(now, s.target)
	}
}

func BenchmarkNight(b *testing.B) {
	s, _ := standardNight(5)
	for b.Loop() {
		s.runLoops()
	}
}
