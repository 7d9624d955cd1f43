package chem

import "testing"

// go test ./dosing/chem -run '^$' -bench . -benchmem

// A solver that never saw anything, its room's constants computed anew: pH by
// charge balance, EC, all species, saturation.
func BenchmarkColdWithConstants(b *testing.B) {
	var r Result
	s := new(Solver)
	b.ReportAllocs()
	for n := 0; n < b.N; n++ {
		s.here.found, s.here.recall, s.here.ready = false, recall{}, false
		if err := s.Solve(&feed, Conditions{TempC: 25}, &r); err != nil {
			b.Fatal(err)
		}
	}
}

// A cold start at a temperature the solver knows.
func BenchmarkCold(b *testing.B) {
	var s Solver
	var r Result
	b.ReportAllocs()
	for n := 0; n < b.N; n++ {
		s.here.found, s.here.recall = false, recall{}
		if err := s.Solve(&feed, Conditions{TempC: 25}, &r); err != nil {
			b.Fatal(err)
		}
	}
}

// A warm start after 0.001 meq/L of acid or base, the change of a second or two
// of dosing.
func BenchmarkWarm(b *testing.B) { benchmarkWarm(b, 0.001, Conditions{TempC: 25}) }

// A warm start after a whole dose of 0.02 meq/L.
func BenchmarkWarmAfterADose(b *testing.B) { benchmarkWarm(b, 0.02, Conditions{TempC: 25}) }

// The same away from 25 °C, where EC25 takes a second speciation …
func BenchmarkWarmAt22WithEC25(b *testing.B) { benchmarkWarm(b, 0.001, Conditions{TempC: 22}) }

// … and without it.
func BenchmarkWarmAt22(b *testing.B) {
	benchmarkWarm(b, 0.001, Conditions{TempC: 22, OnlyHere: true})
}

func benchmarkWarm(b *testing.B, meq float64, c Conditions) {
	var s Solver
	var r Result
	totals := feed
	b.ReportAllocs()
	for n := 0; n < b.N; n++ {
		totals.NO3 = feed.NO3 + float64(n&1)*meq
		if err := s.Solve(&totals, c, &r); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkCurve(b *testing.B) {
	curve, err := NewCurve(feed, 22)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for n := 0; n < b.N; n++ {
		if err := curve.Refill(feed, 22); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkAcidNeeded(b *testing.B) {
	curve, err := NewCurve(feed, 22)
	if err != nil {
		b.Fatal(err)
	}
	sum := 0.0
	for n := 0; n < b.N; n++ {
		sum += curve.AcidNeeded(6.1, 5.8)
	}
	_ = sum
}
