package controller_test

import (
	"testing"
	"time"

	"leat/controller"
	"leat/controller/sim"
	"leat/dosing"
	"leat/safety"
)

// The benchmarks run the sample farm's settings: two tanks, thirteen pumps, nine of
// them stocks for both tanks. Reproduce with
//
//	go test ./controller -run '^$' -bench . -cpu 1 -count 6

// settled is a rig whose tanks are in their bands, with an hour of doses behind it.
func settled(b *testing.B) *rig {
	b.Helper()
	r := newRig(b, sim.Options{Seed: 2, StartPH: 5.9, StartECShare: 0.95})
	r.Arm()
	r.Run(70*time.Minute, nil)
	return r
}

// recorded is every event that the core of a rig sees in some time.
func recorded(r *rig, d time.Duration, want func(*controller.Event, *controller.Output) bool) (events []controller.Event, at []dosing.Instant) {
	r.Seen = func(now dosing.Instant, e *controller.Event, out *controller.Output) {
		if want(e, out) {
			events, at = append(events, *e), append(at, now)
		}
	}
	r.Run(d, nil)
	r.Seen = nil
	return events, at
}

// BenchmarkStepReading is one step on a reading, all inputs of the farm in turn.
// The readings of each minute are made untimed.
func BenchmarkStepReading(b *testing.B) {
	r := settled(b)
	minute := newReplay(b, r)
	events := make([]controller.Event, len(minute.readings))
	at := make([]dosing.Instant, len(events))
	i := len(events)
	b.ReportAllocs()
	for b.Loop() {
		if i == len(events) {
			b.StopTimer()
			for j := range events {
				at[j], events[j] = minute.event(j)
			}
			minute.next += time.Minute
			i = 0
			b.StartTimer()
		}
		r.Core.Step(at[i], &events[i])
		i++
	}
}

// replay is a minute of the farm's readings, to be had again and again.
type replay struct {
	readings []dosing.Reading
	start    dosing.Instant
	next     time.Duration // uptime at which the minute begins this time
}

func newReplay(b *testing.B, r *rig) *replay {
	events, at := recorded(r, time.Minute, func(e *controller.Event, _ *controller.Output) bool { return e.Kind == controller.EventReading })
	m := &replay{start: at[0], next: r.Now().Up}
	for i := range events {
		m.readings = append(m.readings, events[i].Reading)
	}
	return m
}

func (m *replay) event(i int) (dosing.Instant, controller.Event) {
	q := &m.readings[i]
	at := m.start.Add(m.next - m.start.Up + q.At().Since(m.start))
	reading, err := dosing.NewReading(q.Input(), q.Quantity(), q.Value(), at, 0, false)
	if err != nil {
		panic(err)
	}
	return at, controller.Event{Kind: controller.EventReading, Reading: reading}
}

// ticks times ticks alone; readings and heartbeats come between them untimed, so
// that nothing is stale.
func ticks(b *testing.B, decideEvery time.Duration) {
	r := settled(b)
	minute := newReplay(b, r)
	beats, _ := recorded(r, 2*time.Second, func(e *controller.Event, _ *controller.Output) bool { return e.Kind == controller.EventHeartbeat })
	r.file.Settings.ControlPeriod = decideEvery
	minute.next = r.Now().Up
	now, i := r.Now(), 0
	b.ReportAllocs()
	for b.Loop() {
		now = now.Add(time.Second)
		b.StopTimer()
		for ; ; i++ {
			if i == len(minute.readings) {
				i = 0
				minute.next += time.Minute
			}
			at, e := minute.event(i)
			if at.Up > now.Up {
				break
			}
			r.Core.Step(at, &e)
		}
		for j := range beats {
			h := *beats[j].Heartbeat
			h.Tick += now.Up - minute.start.Up
			r.Core.Step(now, &controller.Event{Kind: controller.EventHeartbeat, Heartbeat: &h})
		}
		b.StartTimer()
		r.Core.Step(now, &controller.Event{Kind: controller.EventTick})
	}
	if mode := r.Core.View(now).Tanks[0].Mode; mode != safety.ModeArmed {
		b.Logf("at the end: %s", r.Core.View(now).Tanks[0].Reason)
	}
}

// BenchmarkStepTick is one step of the second hand without a decision: every
// interlock is judged, setpoints and alarms move on.
func BenchmarkStepTick(b *testing.B) { ticks(b, 1<<62) }

// BenchmarkStepDeciding is one step of the second hand with a decision that doses
// nothing: the gate judges thirteen pumps for each tank, the loops plan. A tick
// without one is to be taken off to see the decision alone.
func BenchmarkStepDeciding(b *testing.B) { ticks(b, time.Second) }

// BenchmarkView is one snapshot for page, topics and metrics.
func BenchmarkView(b *testing.B) {
	r := settled(b)
	b.ReportAllocs()
	for b.Loop() {
		if v := r.Core.View(r.Now()); len(v.Tanks) != 2 {
			b.Fatal("no view")
		}
	}
}

// BenchmarkNight is a simulated hour of the whole farm with the shipped core, gate,
// ledger code and parsers.
func BenchmarkNight(b *testing.B) {
	r := newRig(b, offSetpoint(2))
	r.Arm()
	b.ReportAllocs()
	for b.Loop() {
		r.Run(time.Hour, nil)
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "sim-h/s")
}
