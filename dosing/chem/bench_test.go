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

// What changes between two solves, mmol or meq per kg of water.
var (
	second = Totals{NO3: 0.001} // of dosing acid
	dose   = Totals{NO3: 0.02}  // of acid, a whole one
	flood  = Totals{NO3: 1}     // of acid, far beyond the buffer
	// A minute's uptake of a full crop, every ion at its own pace.
	minute = Totals{NO3: 0.0018, NH4: 0.0002, P: 0.0002, K: 0.0011, Ca: 0.0004, Mg: 0.00015, SO4: 0.0001}
)

func BenchmarkWarm(b *testing.B)                { benchmarkWarm(b, second, Conditions{TempC: 25}) }
func BenchmarkWarmAfterAMinute(b *testing.B)    { benchmarkWarm(b, minute, Conditions{TempC: 25}) }
func BenchmarkWarmAfterADose(b *testing.B)      { benchmarkWarm(b, dose, Conditions{TempC: 25}) }
func BenchmarkWarmAfterALargeStep(b *testing.B) { benchmarkWarm(b, flood, Conditions{TempC: 25}) }

// The same away from 25 °C, where EC25 takes a second speciation …
func BenchmarkWarmAt22WithEC25(b *testing.B) { benchmarkWarm(b, minute, Conditions{TempC: 22}) }

// … and without it.
func BenchmarkWarmAt22(b *testing.B) {
	benchmarkWarm(b, minute, Conditions{TempC: 22, OnlyHere: true})
}

// benchmarkWarm solves one composition after another, none like the last: the
// tank wanders by a step of its own at a time, up and down, and comes back the
// way it went.
func benchmarkWarm(b *testing.B, step Totals, c Conditions) {
	const half = 128
	var tanks [2 * half]Totals
	roll := dice(13)
	at := feed
	for n := 0; n <= half; n++ {
		tanks[n], tanks[(2*half-n)%len(tanks)] = at, at
		sign := float64(1 - n&2) // twice up, twice down: it does not run away
		for _, ion := range Ions {
			*at.Ion(ion) += sign * (0.5 + roll.roll()) * *step.Ion(ion)
		}
	}
	var s Solver
	var r Result
	b.ReportAllocs()
	for n := 0; n < b.N; n++ {
		if err := s.Solve(&tanks[n%len(tanks)], c, &r); err != nil {
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
