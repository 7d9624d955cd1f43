package campaign

import (
	"math"
	"slices"
	"testing"
	"time"

	"leat/controller/sim"
	"leat/dosing"
	"leat/safety"
)

// fourHours draws a standard night of four hours.
func fourHours(t *testing.T, seed uint64) *Scene {
	t.Helper()
	set := standard
	set.hours = 4
	s, err := set.Scene(seed)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func mustRun(t *testing.T, s *Scene) *Trace {
	t.Helper()
	p, err := s.run(nil)
	if err != nil {
		t.Fatal(err)
	}
	return p.trace
}

// dosed is what was ordered and when.
type dosed struct {
	at     time.Duration
	pump   dosing.PumpID
	volume dosing.Volume
}

func dosesOf(w *Trace) (all []dosed) {
	for _, o := range w.Orders {
		all = append(all, dosed{o.At, o.Pump, o.Volume})
	}
	return all
}

func TestAnotherWallClockGivesTheSameDoses(t *testing.T) {
	want := dosesOf(mustRun(t, fourHours(t, 6)))
	if len(want) < 5 {
		t.Fatalf("only %d doses: nothing is compared", len(want))
	}
	for _, wall := range []time.Time{time.Date(1970, 1, 1, 0, 0, 1, 0, time.UTC), time.Date(2026, 10, 25, 0, 30, 0, 0, time.UTC), time.Date(2106, 2, 7, 5, 0, 0, 0, time.UTC)} {
		s := fourHours(t, 6)
		s.wall = wall
		if got := dosesOf(mustRun(t, s)); !slices.Equal(got, want) {
			t.Errorf("from %v on other doses are given", wall)
		}
	}
}

// A clock that is set in the middle of the night, forward, back, by years or for summer
// time, changes no dose: nothing that doses waits by it.
func TestAWallClockThatStepsInTheNightGivesTheSameDoses(t *testing.T) {
	want := dosesOf(mustRun(t, fourHours(t, 6)))
	s := fourHours(t, 6)
	for i, by := range []time.Duration{time.Hour, -time.Hour, 70 * 365 * 24 * time.Hour, -90 * 365 * 24 * time.Hour, 40 * time.Second} {
		for k := range 12 { // at many moments of a dose's life
			s.steps = append(s.steps, wallStep{time.Duration(i)*45*time.Minute + time.Duration(k*k)*7*time.Second + time.Minute, by / 12})
		}
	}
	if got := dosesOf(mustRun(t, s)); !slices.Equal(got, want) {
		t.Errorf("other doses are given by a clock that steps: %d, and %d by one that does not", len(got), len(want))
	}
}

// Inputs in another order are messages in another order within each second, and
// other numbers for all of them.
func TestAnotherOrderOfMessagesGivesTheSameDoses(t *testing.T) {
	want := dosesOf(mustRun(t, fourHours(t, 6)))
	s := fourHours(t, 6)
	settings := *s.Settings
	n := len(settings.Safety.Inputs)
	settings.Safety.Inputs = slices.Clone(settings.Safety.Inputs)
	slices.Reverse(settings.Safety.Inputs)
	s.Settings, s.Wires, s.Feeds = &settings, slices.Clone(s.Wires), slices.Clone(s.Feeds)
	slices.Reverse(s.Wires)
	for i := range s.Feeds {
		s.Feeds[i].Input = dosing.InputID(n-1) - s.Feeds[i].Input
	}
	if got := dosesOf(mustRun(t, s)); !slices.Equal(got, want) {
		t.Errorf("%d doses in place of %d, or others", len(got), len(want))
	}
}

// Ten times the water, with pumps that give ten times as much: the same pH. Doses
// are whole microlitres, which is all that may differ. That may bring a single dose a decision
// earlier, so pH is compared in the mean; a law that knows how large the tank is would differ there.
func TestTenTimesTheWaterAndTheStockGiveTheSamePH(t *testing.T) {
	small := mustRun(t, fourHours(t, 6))
	s := fourHours(t, 6)
	settings := *s.Settings
	g := &settings.Safety
	g.Tanks, g.Pumps, g.Caps, g.Inputs = slices.Clone(g.Tanks), slices.Clone(g.Pumps), slices.Clone(g.Caps), slices.Clone(g.Inputs)
	g.Tanks[0].Volume, g.Tanks[0].MinVolume, g.Tanks[0].MaxVolume = 10*g.Tanks[0].Volume, 10*g.Tanks[0].MinVolume, 10*g.Tanks[0].MaxVolume
	for i := range g.Pumps {
		p, c := &g.Pumps[i], &g.Caps[i]
		p.PerSecond, p.MinDose, p.Container = 10*p.PerSecond, 10*p.MinDose, 10*p.Container
		*c = safety.Caps{PerDose: 10 * c.PerDose, PerHour: 10 * c.PerHour, PerDay: 10 * c.PerDay, OnTime: c.OnTime}
	}
	for i := range g.Inputs {
		if in := &g.Inputs[i]; in.Quantity == dosing.QuantityLevel {
			in.Noise, in.Step, in.Max = 10*in.Noise, 10*in.Step, 10*in.Max
		}
	}
	s.Settings = &settings
	s.Options.Plants = slices.Clone(s.Options.Plants)
	s.Options.Plants[0].Litres *= 10
	large := mustRun(t, s)
	if len(large.Samples) != len(small.Samples) || len(small.Orders) < 5 {
		t.Fatalf("%d and %d samples, %d doses", len(small.Samples), len(large.Samples), len(small.Orders))
	}
	sum := 0.0
	for i := range small.Samples {
		sum += math.Abs(large.Samples[i].PH - small.Samples[i].PH)
	}
	if mean := sum / float64(len(small.Samples)); mean > 0.002 {
		t.Errorf("pH is %.4f apart in the mean", mean)
	}
}

// wandering is a water that remembers how often it was asked for, as a map's order
// or a clock would make it: the same seed must not give it away twice.
type wandering struct{ ph float64 }

func (w wandering) Step(float64, []float64) (sim.WaterState, error) {
	return sim.WaterState{PH: w.ph, EC25: 1.5, Celsius: 21, Litres: 100}, nil
}

func TestANightThatDiffersTheSecondTimeIsFound(t *testing.T) {
	s := fourHours(t, 6)
	runs := 0.0
	s.water = func() sim.Water { runs++; return wandering{6 + 0.1*runs} }
	p, err := s.run(nil)
	if err != nil {
		t.Fatal(err)
	}
	found, err := s.playAgain(p, 0)
	if err != nil || len(found) != 1 || found[0].Invariant != 30 {
		t.Errorf("invariant 30 finds %v, %v", found, err)
	}
	s.water = func() sim.Water { return wandering{6} }
	if p, err = s.run(nil); err != nil {
		t.Fatal(err)
	}
	if found, err := s.playAgain(p, 0); err != nil || len(found) != 0 {
		t.Errorf("the same night twice: %v, %v", found, err)
	}
}
