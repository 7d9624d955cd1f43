package campaign

import (
	"math"
	"time"

	"leat/dosing"
	"leat/safety"
	"leat/safety/ledger"
)

// freshLimit is the age at which a reading of a tank is too old to dose by.
func freshLimit(period time.Duration, plant *safety.Tank) time.Duration {
	return min(max(15*time.Second, 3*period), (plant.DeadTime+plant.Lag)/2, 120*time.Second)
}

func (w *trail) fresh() {
	for i := range w.Orders {
		o := &w.Orders[i]
		role := w.Settings.Safety.Pumps[o.Pump].Role
		usable, wanted := 0, dosing.QuantityPH
		if role == dosing.RoleStock {
			wanted = dosing.QuantityEC
		}
		for _, in := range o.Inputs {
			if in.Quantity != wanted || in.NotFitted != "" {
				continue
			}
			period := 5 * time.Second
			for k := range w.Settings.Safety.Inputs {
				if set := &w.Settings.Safety.Inputs[k]; set.Name == in.Name && set.Tank == o.Tank && set.Period > 0 {
					period = set.Period
				}
			}
			if in.Present && in.Quality.MayDose() && !in.Retained && in.Age <= freshLimit(period, w.tank(o.Tank)) {
				usable++
			}
		}
		if usable == 0 {
			w.violate(o.At, "%s was dosed on no fresh and fit reading of %s", w.Settings.Safety.Pumps[o.Pump].Name, wanted)
		}
	}
}

func (w *trail) inhibited() {
	for i := range w.Orders {
		o := &w.Orders[i]
		p := &w.Settings.Safety.Pumps[o.Pump]
		if o.Mode != safety.ModeArmed && o.Mode != safety.ModeHolding {
			w.violate(o.At, "%s was dosed while the tank was %s", p.Name, o.Mode)
		}
		for k := range o.Holds {
			if h := &o.Holds[k]; h.stops(p) && !h.filledBy(o) {
				w.violate(o.At, "%s was dosed while held by %s", p.Name, h.Cause)
			}
		}
	}
}

// filledBy says that a rolling cap is full of the dose itself, which counts from its
// intent on: it holds the next one. Whether the dose kept within its cap, rule 6 judges.
func (h *Hold) filledBy(o *Ordered) bool {
	return (h.Cause == safety.CauseHourCap || h.Cause == safety.CauseDayCap) && h.Since >= o.Intended
}

// direction: no dose is meant to carry the water past the setpoint. The estimate
// has the dose in transit already, so it may lie beyond by the dead band and what a
// smallest dose does, no more.
func (w *trail) direction() {
	for i := range w.Orders {
		o := &w.Orders[i]
		p, plant := &w.Settings.Safety.Pumps[o.Pump], w.tank(o.Tank)
		litres := float64(plant.Quick())
		smallest := p.Smallest.Millilitres() * math.Abs(p.AcidPerML) / litres
		slope := w.Curves[o.Tank].Buffer(float64(o.Estimate.PH)) * plant.BufferScale * math.Exp(o.Estimate.LnBuffer)
		slack := 0.05 + smallest/slope
		beyond := float64(o.Target.PH - o.Estimate.PH)
		switch {
		case p.Role == dosing.RoleAcid && !(beyond <= slack):
			w.violate(o.At, "acid takes pH to %.3f, setpoint %.3f", o.Estimate.PH, o.Target.PH)
		case p.Role == dosing.RoleBase && !(-beyond <= slack):
			w.violate(o.At, "base takes pH to %.3f, setpoint %.3f", o.Estimate.PH, o.Target.PH)
		case p.Role == dosing.RoleStock && !(float64(o.Estimate.EC-o.Target.EC) <= 0.05+p.Smallest.Millilitres()*p.ECPerML/litres):
			w.violate(o.At, "%s takes EC to %.3f, setpoint %.3f", p.Name, o.Estimate.EC, o.Target.EC)
		}
	}
}

// wordless: where the opposite is on its way, by a report or an entry by hand, a good
// reading itself stands on the side that the dose corrects.
func (w *trail) wordless() {
	for i := range w.doses {
		o, p, plant := w.doses[i].order, w.doses[i].pump, w.tank(w.doses[i].order.Tank)
		sum := w.onWay(o.Tank, o.At, i, i)
		w.said(o, &sum)
		opposite, side := sum.base, 1.0
		if p.Role == dosing.RoleBase {
			opposite, side = sum.acid, -1
		}
		if p.Role != dosing.RoleAcid && p.Role != dosing.RoleBase || opposite <= 0.011*o.Floor+sum.forgotten {
			continue
		}
		stands := false
		for _, in := range o.Inputs {
			// The reading as it came, within three deviations of its noise.
			stands = stands || in.Quantity == dosing.QuantityPH && in.Present && in.Quality.MayDose() &&
				side*(in.Value-float64(o.Target.PH)) > -3*max(plant.PHNoise, 0.01)
		}
		if !stands {
			w.violate(o.At, "%s against the reading, setpoint %.3f, while %.4f meq/L of its opposite is said to be on its way", p.Name, o.Target.PH, opposite)
		}
	}
}

// said adds what people said they poured in to what is on its way.
func (w *trail) said(o *Ordered, sum *onWay) {
	plant := w.tank(o.Tank)
	for _, h := range w.Hands {
		if h.At > o.At || h.Tank != plant.Name {
			continue
		}
		for i := range w.Settings.Safety.Pumps {
			if p := &w.Settings.Safety.Pumps[i]; p.Name == h.Pump {
				dose := dosing.Dose{Volume: h.Volume, Up: h.At}
				acid := h.Volume.Millilitres() * dose.Remaining(o.At, plant.DeadTime, plant.Lag) * p.AcidPerML / float64(plant.Quick())
				sum.acid, sum.base = sum.acid+max(acid, 0), sum.base+max(-acid, 0)
			}
		}
	}
}

func (w *trail) fighting() {
	for i := range w.doses {
		o, p := w.doses[i].order, w.doses[i].pump
		if p.Role != dosing.RoleAcid && p.Role != dosing.RoleBase {
			continue
		}
		sum := w.onWay(o.Tank, o.At, i, i)
		opposite := sum.acid
		if p.Role == dosing.RoleAcid {
			opposite = sum.base
		}
		// The error before this dose, with what the dose does at the buffer floor.
		away := math.Abs(float64(o.Estimate.PH-o.Target.PH)) + o.Volume.Millilitres()*math.Abs(p.AcidPerML)/float64(w.tank(o.Tank).Quick())/o.Floor
		for _, in := range o.Inputs {
			if in.Quantity == dosing.QuantityPH && in.Present {
				away = max(away, math.Abs(in.Value-float64(o.Target.PH)))
			}
		}
		if p.Role == dosing.RoleAcid {
			away += w.credit(o) / o.Floor // top-up that came in lifts pH, by the floor the most
		}
		if away > 0.15 {
			continue
		}
		if opposite-sum.forgotten > 0.10*0.30*o.Floor*(1+roundingSlack) {
			w.violate(o.At, "%s follows the other while %.4f meq/L of it is on its way", p.Role, opposite)
		}
		for k := i - 1; k >= 0 && o.At-w.doses[k].order.At < time.Hour; k-- {
			d := &w.doses[k]
			if d.order.Tank == o.Tank && d.closed && d.volume > 0 && d.pump.Role != p.Role && d.pump.Role != dosing.RoleStock && o.At-d.end < 20*time.Minute {
				w.violate(o.At, "%s follows %s after %v, %.3f pH off", p.Role, d.pump.Role, o.At-d.end, away)
				break
			}
		}
	}
	w.apart()
}

// apart: concentrates that must not meet follow one another after the plume time.
func (w *trail) apart() {
	for i := range w.Runs {
		run := &w.Runs[i]
		if run.Ended {
			continue
		}
		p := &w.Settings.Safety.Pumps[run.Pump]
		for k := i - 1; k >= 0; k-- {
			before := &w.Runs[k]
			if before.Tank != run.Tank && w.Settings.Safety.LineVolume <= 0 {
				continue // each tank has its own line
			}
			wait := w.tank(before.Tank).PlumeTime()
			if run.At-before.At > wait {
				break
			}
			if before.Ended && !p.Group.MayMeet(w.Settings.Safety.Pumps[before.Pump].Group) && run.At-before.At < wait-time.Second {
				w.violate(run.At, "%s follows %s after %v; they must be %v apart", p.Name, w.Settings.Safety.Pumps[before.Pump].Name, run.At-before.At, wait)
			}
		}
	}
}

func (w *trail) setpoint() {
	last := map[dosing.TankID]*Sample{}
	for i := range w.Samples {
		s := &w.Samples[i]
		set := &w.Settings.Tanks[s.Tank]
		if !(float64(s.Target.PH) >= set.PH.Lowest && float64(s.Target.PH) <= set.PH.Highest && float64(s.Target.EC) >= set.EC.Lowest && float64(s.Target.EC) <= set.EC.Highest) {
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
func (w *trail) envelope() {
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

// uncertain: no order goes out while another dose of its tank is open.
func (w *trail) uncertain() {
	for i := range w.doses {
		o := w.doses[i].order
		for k := i - 1; k >= 0; k-- {
			if d := &w.doses[k]; d.order.Tank == o.Tank {
				if !d.closed || d.end > o.At {
					w.violate(o.At, "order %v went out while %v was open", o.ID, d.order.ID)
				}
				break
			}
		}
	}
}

// forgiven: what the daemon counts as on its way is never less than the record and
// the mixing law say. It forgets what is mixed to a thousandth.
func (w *trail) forgiven() {
	from := 0
	for i := range w.Samples {
		s := &w.Samples[i]
		for from < len(w.doses) && w.doses[from].order.At < s.At {
			from++
		}
		if !s.Known {
			continue
		}
		sum := w.onWay(s.Tank, s.At, -1, from)
		if s.Acid < sum.acid-sum.forgotten || s.Base < sum.base-sum.forgotten {
			w.violate(s.At, "the daemon counts %.5f meq/L of acid and %.5f of base on their way; the record says %.5f and %.5f", s.Acid, s.Base, sum.acid, sum.base)
			return
		}
	}
}

func (w *trail) linked() {
	next, up := 0, false
	for i := range w.Orders {
		o := &w.Orders[i]
		for next < len(w.Links) && w.Links[next].Step <= o.Step {
			up = w.Links[next].Up
			next++
		}
		if !up {
			w.violate(o.At, "order %v went out while the link was closed", o.ID)
		}
	}
}

const (
	liveFor    = 15 * time.Minute
	liveShares = 0.9 // of the start band: the estimate is not the truth
)

// liveness: a demand that nothing holds and nothing withholds is met within a
// quarter of an hour, and every hold says why and since when.
func (w *trail) liveness() {
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

func (w *trail) unknown() {
	next := 0
	unsure := map[dosing.TankID]bool{}
	for i := range w.Orders {
		o := &w.Orders[i]
		for next < len(w.Trips) && w.Trips[next].At <= o.At {
			if x := &w.Trips[next]; x.Cause == safety.CauseSolutionUnconfirmed {
				unsure[x.Tank] = x.Active
			}
			next++
		}
		if unsure[o.Tank] {
			w.violate(o.At, "%s was dosed into water that nobody has confirmed", w.Settings.Safety.Pumps[o.Pump].Name)
		}
	}
}

// wholeBlends: whenever no stock is owed a dose that it can repeat, what was
// delivered of each stock since the start stands in the ratio of the blend within
// one smallest dose each. Nights in which a stock was held are not judged.
func (w *trail) wholeBlends() {
	if w.Faulty {
		return
	}
	for id := range w.Settings.Safety.Tanks {
		if w.Settings.Tanks[id].Ratio != nil {
			continue // its shares change by design; the daemon's own tests follow them
		}
		w.wholeBlendsOf(dosing.TankID(id))
	}
}

func (w *trail) wholeBlendsOf(id dosing.TankID) {
	name := w.tank(id).Name
	given := map[dosing.PumpID]dosing.Volume{}
	owed := map[string]dosing.Volume{}
	debt := 0
	for i := range w.doses {
		d := &w.doses[i]
		if d.order.Tank != id || d.pump.Role != dosing.RoleStock || !d.closed {
			continue
		}
		given[d.order.Pump] += d.volume
		for debt < len(w.Debts) && w.Debts[debt].At <= d.end {
			if x := &w.Debts[debt]; x.Tank == name {
				owed[x.Pump] = x.Volume
			}
			debt++
		}
		w.compareShares(id, d.end, given, owed)
	}
}

func (w *trail) compareShares(id dosing.TankID, at time.Duration, given map[dosing.PumpID]dosing.Volume, owed map[string]dosing.Volume) {
	least, most, slack := math.Inf(1), math.Inf(-1), 0.0
	for i := range w.Settings.Safety.Pumps {
		p := &w.Settings.Safety.Pumps[i]
		if p.Role != dosing.RoleStock || !p.ServesTank(id) || !(p.Share > 0) {
			continue
		}
		if owed[p.Name] >= p.Smallest {
			return // a blend is under way
		}
		blend := given[dosing.PumpID(i)].Millilitres() / p.Share
		least, most = min(least, blend), max(most, blend)
		slack = max(slack, p.Smallest.Millilitres()/p.Share)
	}
	if most-least > 2*slack+1e-6 {
		w.violate(at, "no blend is under way, yet the stocks given make between %.2f and %.2f mL of it", least, most)
	}
}

// narrow are causes that concern one stock or the EC only: they never stop acid or
// base.
var narrow = map[safety.Cause]bool{safety.CauseECMissing: true, safety.CauseECStale: true, safety.CauseECUnfit: true,
	safety.CauseTemperatureUnfit: true, safety.CauseTemperatureRange: true, safety.CauseStockEmpty: true, safety.CauseNoResponse: true}

func (w *trail) scope() {
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

// oneOutlet: one order of a station runs at a time, and into the tank it names.
func (w *trail) oneOutlet() {
	named := map[ledger.OrderID]dosing.TankID{}
	for i := range w.Orders {
		named[w.Orders[i].ID] = w.Orders[i].Tank
	}
	running := map[ledger.OrderID]bool{}
	for i := range w.Runs {
		run := &w.Runs[i]
		if run.Ended {
			delete(running, run.Order)
			continue
		}
		running[run.Order] = true
		if len(running) > 1 {
			w.violate(run.At, "%d orders of the station run at once", len(running))
		}
		if tank, ok := named[run.Order]; ok && tank != run.Tank {
			w.violate(run.At, "order %v is for tank %d and runs into tank %d", run.Order, tank, run.Tank)
		}
	}
}
