package payload

import (
	"strconv"
	"time"

	"leat/controller"
	"leat/safety/ledger"
)

// Limits of a zone's schedule.
const (
	longestDay = 24 * time.Hour
	mostStarts = 300
)

// AppendZoneSchedule writes what a zone's node is to run, day after day. Where the node's boot
// is known it stands beside the time of the day at a tick of it: so a node needs no clock.
func AppendZoneSchedule(dst []byte, s *controller.ZoneSchedule) []byte {
	e := object(dst)
	e.order("schedule", s.ID)
	if len(s.Starts) == 0 {
		e.yes("always", true)
	} else {
		e.key("starts_s")
		e.dst = append(e.dst, '[')
		for i, at := range s.Starts {
			if i > 0 {
				e.dst = append(e.dst, ',')
			}
			e.dst = strconv.AppendInt(e.dst, int64(at/time.Second), 10)
		}
		e.dst = append(e.dst, ']')
		e.whole("run_s", int64(s.Length/time.Second))
	}
	e.whole("day_s", int64(s.DayTime/time.Second))
	if s.Boot != "" {
		e.text("boot", s.Boot)
		e.whole("tick_ms", s.Tick.Milliseconds())
	}
	return e.end()
}

// ParseZoneSchedule reads a zone's schedule at its node. One that starts nothing and does not
// run all the time is none: no message stops a zone.
func ParseZoneSchedule(body []byte) (controller.ZoneSchedule, error) {
	f, err := fieldsOf(body, "schedule", "always", "starts_s", "run_s", "day_s", "boot", "tick_ms")
	if err != nil {
		return controller.ZoneSchedule{}, err
	}
	s := controller.ZoneSchedule{ID: f.order("schedule"), DayTime: f.daySeconds("day_s")}
	if !f.has("always") || !f.yes("always") {
		s.Starts, s.Length = f.starts("starts_s"), f.daySeconds("run_s")
		if f.err == nil && (len(s.Starts) == 0 || s.Length <= 0) {
			f.err = refuse("send starts_s and run_s, or always", "schedule %s runs nothing", s.ID)
		}
	}
	if f.has("boot") {
		s.Boot, s.Tick = f.name("boot"), f.milliseconds("tick_ms", longestTick)
	}
	if f.err != nil {
		return controller.ZoneSchedule{}, f.err
	}
	return s, nil
}

func (f *fields) daySeconds(name string) time.Duration {
	return time.Duration(f.count(name, float64(longestDay/time.Second))) * time.Second
}

// starts reads rising times of the day in seconds.
func (f *fields) starts(name string) (starts []time.Duration) {
	list := f.get(name)
	if list.form != formArray {
		f.fail(name, "times of the day in seconds, rising")
		return nil
	}
	for at := range list.elements() {
		n, err := parseNumber(at.raw)
		next := time.Duration(n) * time.Second
		if at.form != formNumber || err != nil || n < 0 || next >= longestDay || len(starts) >= mostStarts || len(starts) > 0 && next <= starts[len(starts)-1] {
			f.fail(name, "times of the day in seconds, rising")
			return nil
		}
		starts = append(starts, next)
	}
	return starts
}

// AppendZoneReport writes what a zone's node says of itself; for nodes.
func AppendZoneReport(dst []byte, r *controller.ZoneReport) []byte {
	e := object(dst)
	e.text("boot", r.Boot)
	e.whole("tick_ms", r.Tick.Milliseconds())
	if r.Runs != (ledger.OrderID{}) {
		e.order("schedule", r.Runs)
	}
	e.text("phase", r.Phase.String())
	e.some("cause", r.Cause)
	return e.end()
}

// ParseZoneReport reads what a zone's node says. Tank and zone are left for the caller, who
// knows the topic.
func ParseZoneReport(body []byte) (controller.ZoneReport, error) {
	f, err := fieldsOf(body, "boot", "tick_ms", "schedule", "phase", "cause")
	if err != nil {
		return controller.ZoneReport{}, err
	}
	r := controller.ZoneReport{Boot: f.name("boot"), Tick: f.milliseconds("tick_ms", longestTick), Cause: f.optional("cause", longestNote)}
	if f.has("schedule") {
		r.Runs = f.order("schedule")
	}
	phase, known := controller.ParseZonePhase(f.name("phase"))
	if f.err == nil && !known {
		f.fail("phase", "resting, running, draining or skipping")
	}
	if r.Phase = phase; f.err != nil {
		return controller.ZoneReport{}, f.err
	}
	return r, nil
}
