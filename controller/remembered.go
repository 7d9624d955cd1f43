package controller

import (
	"fmt"
	"slices"
	"time"

	"leat/dosing"
	"leat/safety"
	"leat/safety/ledger"
)

// Remembered is what a restart brings back from the ledger, of the living core or of
// one that was made from its ledger: the two must not differ.
type Remembered struct {
	Tanks []RememberedTank
	Pumps []RememberedPump
}

// RememberedTank is what is remembered of a tank.
type RememberedTank struct {
	Mode                                       safety.Mode
	Disarmed                                   string
	Paused, Maintenance, Cleaning, Unconfirmed bool
	ECDoubted, Filling                         bool
	PauseLeft                                  time.Duration // 0 = it has no end
	Latches                                    []string      // cause, and pump of a pump's own, sorted
	PH, EC                                     SetpointView
	Owed                                       []dosing.Volume // by pump
	Unseen                                     safety.Unseen
	Holidays                                   int      // whose end was confirmed
	Calibrations                               []string // of its probes, in the order of the inputs
}

// RememberedPump is what is remembered of a pump.
type RememberedPump struct {
	Hour, Day, Ever dosing.Volume
	Left            dosing.Volume // by ledger and refills
	Doses           [ledger.OutcomeCount]uint64
	Volume          [ledger.OutcomeCount]dosing.Volume
}

// Remembered is what a restart must bring back.
func (c *Core) Remembered(now dosing.Instant) Remembered {
	var all Remembered
	for i := range c.tanks {
		id, t := dosing.TankID(i), &c.tanks[i]
		r := RememberedTank{Mode: t.mode, Disarmed: t.disarmed, Paused: t.operator.Paused, Maintenance: t.operator.Maintenance,
			Cleaning: t.operator.Cleaning, ECDoubted: t.operator.ECDoubted, Filling: t.fillUp != nil && t.mode == safety.ModeArmed, Unconfirmed: c.unconfirmed(id), PH: t.ph.view(), EC: t.ec.view(), Owed: slices.Clone(c.doses.owed[id]), Unseen: c.watch.Unseen(id)}
		if t.operator.Paused && t.pauseEnd != 0 {
			r.PauseLeft = t.pauseEnd - now.Up
		}
		for _, trip := range c.watch.Trips(id) {
			if !trip.Latched || trip.Cause == safety.CauseSolutionUnconfirmed {
				continue
			}
			name := trip.Cause.String()
			if trip.Scope == safety.ScopePump {
				name += " of " + c.settings.Safety.Pumps[trip.Pump].Name
			}
			r.Latches = append(r.Latches, name)
		}
		slices.Sort(r.Latches)
		r.Holidays = len(c.setpoints.of[id].ended)
		for k := range c.settings.Safety.Inputs {
			if last := c.calibrations.newest[k]; c.settings.Safety.Inputs[k].Tank == id && !last.At.IsZero() {
				r.Calibrations = append(r.Calibrations, fmt.Sprintf("%s %g %g %v", c.settings.Safety.Inputs[k].Name, last.Slope, last.Offset, last.Itself))
			}
		}
		all.Tanks = append(all.Tanks, r)
	}
	for i := range c.stocks.counts {
		v := c.snapshot.pumpView(now, dosing.PumpID(i))
		all.Pumps = append(all.Pumps, RememberedPump{Hour: v.Hour, Day: v.Day, Ever: v.Ever, Left: c.stocks.left(dosing.PumpID(i)), Doses: v.Doses, Volume: v.Volume})
	}
	return all
}

// differs is how far a setpoint may lie beside its ramp after a restart: an ask takes
// effect when its row is durable, and the row is as old as the ask.
const differs = 0.001

// Differs says in what way other, made from the ledger, is not what lives; empty when
// in none.
func (r *Remembered) Differs(other *Remembered) string {
	for i := range r.Tanks {
		a, b := r.Tanks[i], other.Tanks[i]
		for _, s := range []*SetpointView{&a.PH, &a.EC, &b.PH, &b.EC} {
			s.At = time.Time{}
			s.Undoable, s.Before, s.BeforeUntil = false, 0, time.Time{} // an undo is offered only by the run that saw the change
		}
		if gap := a.PauseLeft - b.PauseLeft; gap.Abs() > time.Second {
			return fmt.Sprintf("tank %d: the pause ends in %v, replayed in %v", i, a.PauseLeft, b.PauseLeft)
		}
		for _, s := range []struct {
			name       string
			live, past SetpointView
		}{{"pH", a.PH, b.PH}, {"EC", a.EC, b.EC}} {
			if gap := s.live.Working - s.past.Working; gap > differs || gap < -differs {
				return fmt.Sprintf("tank %d: setpoint of %s is %.4f now, replayed %.4f", i, s.name, s.live.Working, s.past.Working)
			}
		}
		if u, past := a.Unseen, b.Unseen; u.Acid > past.Acid+differs || u.Base > past.Base+differs || u.Stock > past.Stock+differs {
			return fmt.Sprintf("tank %d: %+v is unseen, replayed only %+v", i, u, past)
		}
		b.Unseen = a.Unseen // more than there is, a replay may find
		b.PH.Working, b.EC.Working, b.PauseLeft = a.PH.Working, a.EC.Working, a.PauseLeft
		if live, past := fmt.Sprintf("%+v", a), fmt.Sprintf("%+v", b); live != past {
			return fmt.Sprintf("tank %d: %s, replayed %s", i, live, past)
		}
	}
	for i := range r.Pumps {
		if a, b := r.Pumps[i], other.Pumps[i]; a != b {
			return fmt.Sprintf("pump %d: %+v, replayed %+v", i, a, b)
		}
	}
	return ""
}
