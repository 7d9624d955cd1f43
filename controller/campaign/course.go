package campaign

import (
	"math"
	"time"

	"leat/dosing"
	"leat/safety"
)

func setpoint(w *trail) {
	last := map[dosing.TankID]*Sample{}
	for i := range w.Samples {
		s := &w.Samples[i]
		set := &w.Settings.Tanks[s.Tank]
		if !(float64(s.Target.PH) >= set.PH.Min && float64(s.Target.PH) <= set.PH.Max && float64(s.Target.EC) >= set.EC.Min && float64(s.Target.EC) <= set.EC.Max) {
			w.violate(s.At, "the setpoints are %.2f and %.2f, outside their bounds", s.Target.PH, s.Target.EC)
		}
		if b := last[s.Tank]; b != nil {
			hours := (s.At - b.At).Hours()
			if math.Abs(float64(s.Target.PH-b.Target.PH)) > set.PH.RampPerHour*hours+1e-9 || float64(s.Target.EC-b.Target.EC) > set.EC.RampPerHour*hours+1e-9 {
				w.violate(s.At, "a setpoint moved faster than its ramp")
			}
		}
		last[s.Tank] = s
	}
}

// envelope: once inside the band, a night without a fault stays inside the harm
// band. Whoever finds a violation plays the night with dead pumps: one that leaves
// it too, while caps bind, is no fault of the daemon.
func envelope(w *trail) {
	if w.Faulty {
		return
	}
	type settled struct{ ph, ec, told bool }
	state := map[dosing.TankID]*settled{}
	for i := range w.Samples {
		s := &w.Samples[i]
		if state[s.Tank] == nil {
			state[s.Tank] = &settled{}
		}
		ph, ec, done := s.PH-float64(s.Target.PH), s.EC-float64(s.Target.EC), state[s.Tank]
		done.ph = done.ph || math.Abs(ph) <= dosing.StartBand.PH
		done.ec = done.ec || math.Abs(ec) <= dosing.StartBand.EC
		if done.told || !(done.ph && math.Abs(ph) > 0.5 || done.ec && math.Abs(ec) > 0.2) {
			continue
		}
		done.told = true
		w.violate(s.At, "pH %.2f and EC %.2f, wanted %.2f and %.2f", s.PH, s.EC, s.Target.PH, s.Target.EC)
	}
}

const (
	liveFor    = 15 * time.Minute
	liveShares = 0.9 // of the start band: the estimate is not the truth
)

// liveness: a demand that nothing holds and nothing withholds is met within a
// quarter of an hour, and every hold says why and since when.
func liveness(w *trail) {
	type waiting struct {
		since    time.Duration
		withheld uint64
		active   bool
	}
	wait := map[dosing.TankID]*waiting{}
	for i := range w.Minutes {
		m := &w.Minutes[i]
		for k := range m.Holds {
			if h := &m.Holds[k]; h.Text == "" || h.Since > m.At {
				w.violate(m.At, "%s holds without words or age", h.Cause)
			}
		}
		if wait[m.Tank] == nil {
			wait[m.Tank] = &waiting{}
		}
		x := wait[m.Tank]
		if !w.demands(m) || x.active && m.Withheld != x.withheld || w.dosedWithin(m.Tank, m.At, time.Minute) {
			x.active = false
			continue
		}
		if !x.active {
			*x = waiting{since: m.At, withheld: m.Withheld, active: true}
		}
		if m.At-x.since >= liveFor {
			w.violate(m.At, "will settle at pH %.2f and EC %.2f, wanted %.2f and %.2f; nothing holds it and nothing was dosed for %v",
				m.Estimate.PH, m.Estimate.EC, m.Target.PH, m.Target.EC, liveFor)
			x.active = false
		}
	}
}

// demands says whether an armed tank needs something that one of its pumps could
// give and nothing holds.
func (w *trail) demands(m *Minute) bool {
	if m.Mode != safety.ModeArmed || !m.Estimate.Known {
		return false
	}
	off := float64(m.Estimate.PH - m.Target.PH)
	low := float64(m.Target.EC - m.Estimate.EC)
	for i := range w.Settings.Safety.Pumps {
		p := &w.Settings.Safety.Pumps[i]
		wanted := p.Role == dosing.RoleAcid && off > dosing.StartBand.PH || p.Role == dosing.RoleBase && -off > dosing.StartBand.PH ||
			p.Role == dosing.RoleStock && low > dosing.StartBand.EC
		if !wanted || !p.ServesTank(m.Tank) {
			continue
		}
		held := false
		for k := range m.Holds {
			held = held || m.Holds[k].stops(p)
		}
		if !held {
			return true
		}
	}
	return false
}

func (w *trail) dosedWithin(id dosing.TankID, at, within time.Duration) bool {
	for i := len(w.doses) - 1; i >= 0; i-- {
		d := &w.doses[i]
		if d.order.Tank == id && d.order.At <= at && (at-d.order.At <= within || !d.closed || at-d.end <= within) {
			return true
		}
		if d.closed && at-d.end > time.Hour {
			break
		}
	}
	return false
}

// narrow are causes that concern one stock or the EC only: they never stop acid or
// base.
var narrow = map[safety.Cause]bool{safety.CauseECMissing: true, safety.CauseECStale: true, safety.CauseECInvalid: true,
	safety.CauseTemperatureInvalid: true, safety.CauseTemperatureRange: true, safety.CauseContainerEmpty: true, safety.CauseNoResponse: true}

func scope(w *trail) {
	for i := range w.Minutes {
		m := &w.Minutes[i]
		for k := range m.Holds {
			h := &m.Holds[k]
			if !narrow[h.Cause] || h.Cause == safety.CauseNoResponse && h.Scope == safety.ScopeReagents {
				continue // acid and base stand for their own want of an answer: the probe is in doubt
			}
			for n := range w.Settings.Safety.Pumps {
				p := &w.Settings.Safety.Pumps[n]
				if (p.Role == dosing.RoleAcid || p.Role == dosing.RoleBase) && h.Pump != p.Name && h.stops(p) {
					w.violate(m.At, "%s of %q stops %s", h.Cause, h.Pump, p.Name)
				}
			}
		}
	}
}
