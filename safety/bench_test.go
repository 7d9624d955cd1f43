package safety

import (
	"testing"
	"time"

	"leat/dosing"
	"leat/dosing/chem"
)

// benchFarm is a farm on the titration curve of a real solution, with two doses on
// their way.
func benchFarm(b *testing.B) *farm {
	b.Helper()
	f := freshFarm(&testing.T{})
	curve, err := chem.NewCurve(dosing.Tank{Phosphate: 1.5, Carbonate: 1}.Expected(), 21)
	if err != nil {
		b.Fatal(err)
	}
	for i := range f.w.tanks {
		f.w.tanks[i].curve = curve
	}
	f.pass(90 * time.Second)
	f.w.Aim(0, dosing.Target{PH: 5.5, EC: 2})
	f.dose(0, acidPump, 2*dosing.Millilitre)
	f.pass(10 * time.Second)
	f.dose(0, acidPump, dosing.Millilitre)
	return f
}

func BenchmarkReadPH(b *testing.B) {
	f := benchFarm(b)
	id := f.input(0, dosing.QuantityPH)
	readings := make([]dosing.Reading, 64)
	for i := range readings {
		readings[i], _ = dosing.NewReading(id, dosing.QuantityPH, 5.8+0.01*float64(i%5), f.now, 0, false)
	}
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		f.w.Read(readings[i%len(readings)])
	}
}

func BenchmarkReadSwitch(b *testing.B) {
	f := benchFarm(b)
	r, _ := dosing.NewReading(f.input(0, dosing.QuantityCirculation), dosing.QuantityCirculation, 1, f.now, 0, false)
	b.ReportAllocs()
	for b.Loop() {
		f.w.Read(r)
	}
}

func BenchmarkEvaluateTwoTanks(b *testing.B) {
	f := benchFarm(b)
	b.ReportAllocs()
	for b.Loop() {
		f.w.Evaluate(f.now)
	}
}

func BenchmarkLargest(b *testing.B) {
	f := benchFarm(b)
	b.ReportAllocs()
	for b.Loop() {
		f.g.Largest(f.now, 0, acidPump)
	}
}

func BenchmarkJudgeAllowed(b *testing.B) {
	f := benchFarm(b)
	plan := dosing.Plan{Tank: 0, Pump: acidPump, Volume: dosing.Millilitre, Reason: dosing.ReasonPHHigh}
	if _, v := f.g.Judge(f.now, plan); !v.Allowed {
		b.Fatalf("%+v", v)
	}
	b.ReportAllocs()
	for b.Loop() {
		f.g.Judge(f.now, plan)
	}
}

// What costs memory on the way of a reading would be paid every second of every
// night.
func TestReadingAndEvaluatingAHealthyFarmAllocateNothing(t *testing.T) {
	f := newFarm(t)
	reading, _ := dosing.NewReading(f.input(0, dosing.QuantityPH), dosing.QuantityPH, 5.8, f.now, 0, false)
	if n := testing.AllocsPerRun(100, func() { f.w.Read(reading) }); n != 0 {
		t.Errorf("a reading allocates %v times", n)
	}
	if n := testing.AllocsPerRun(100, func() { f.w.Evaluate(f.now) }); n != 0 {
		t.Errorf("an evaluation allocates %v times", n)
	}
	if n := testing.AllocsPerRun(100, func() { f.g.Largest(f.now, 0, acidPump) }); n != 0 {
		t.Errorf("asking for the largest dose allocates %v times", n)
	}
	plan := dosing.Plan{Tank: 0, Pump: acidPump, Volume: dosing.Millilitre}
	if n := testing.AllocsPerRun(100, func() { f.g.Judge(f.now, plan) }); n > 1 {
		t.Errorf("a judgement allocates %v times; the clearance is one", n)
	}
}
