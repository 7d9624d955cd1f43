package loop

import (
	"math"
	"testing"
	"time"

	"leat/dosing"
	"leat/dosing/chem"
)

// busyLoops are the loops of a tank with ten doses on their way, by the curve that they
// have in service.
func busyLoops(t testing.TB) *bench {
	b := newBench(t)
	curve, err := chem.NewCurve(chem.Totals{NO3: 13.1, NH4: 0.3, P: 1.3, K: 6, Ca: 3.5, Mg: 1.5, SO4: 1.4, DIC: 0.3}, 21)
	if err != nil {
		t.Fatal(err)
	}
	tank := dosing.Tank{Volume: 1400, DeadTime: 75 * time.Second, TimeConstant: 150 * time.Second, BufferScale: 1, PHNoise: 0.01, ECNoise: 0.005}
	b.l = NewLoops(0, tank, b.pumps, curve, b.totals)
	for i := range 60 {
		b.now = b.now.Add(5 * time.Second)
		b.read(dosing.QuantityPH, 6.2+0.01*math.Sin(float64(i)), dosing.QualityGood)
		b.read(dosing.QuantityEC, 1.8, dosing.QualityGood)
		if i >= 50 {
			b.totals.Count(dosing.Dose{Key: uint64(i), Pump: dosing.PumpID(i % 4), Volume: dosing.Millilitre, Up: b.now.Up})
		}
	}
	return b
}

func BenchmarkRead(b *testing.B) {
	busy := busyLoops(b)
	l, now := busy.l, busy.now
	b.ReportAllocs()
	for b.Loop() {
		now.Up += time.Second
		r, _ := dosing.NewReading(0, dosing.QuantityPH, 6.2, now, 0, false)
		l.Read(r, dosing.QualityGood)
	}
}

// Every reading ends a block of the filter, with ten doses on their way.
func BenchmarkReadThatEndsABlock(b *testing.B) {
	busy := busyLoops(b)
	l, now := busy.l, busy.now
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
	busy := busyLoops(b)
	l, now := busy.l, busy.now
	b.ReportAllocs()
	for b.Loop() {
		l.last.known = false // as after a dose: what is in transit is summed anew
		l.version++
		l.Next(now, busy.target, busy.limits)
	}
}

func BenchmarkEstimate(b *testing.B) {
	busy := busyLoops(b)
	l, now := busy.l, busy.now
	b.ReportAllocs()
	for b.Loop() {
		l.last.known = false
		l.version++
		l.Estimate(now, busy.target)
	}
}
