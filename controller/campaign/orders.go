package campaign

import (
	"math"
	"time"

	"leat/dosing"
	"leat/safety"
	"leat/safety/ledger"
)

func intentFirst(w *trail) {
	written := map[ledger.OrderID]uint64{}
	for _, x := range w.Written {
		written[x.ID] = x.Step
	}
	ordered := map[ledger.OrderID]time.Duration{}
	for i := range w.Orders {
		o := &w.Orders[i]
		ordered[o.ID] = o.At
		if step, ok := written[o.ID]; !ok || step > o.Step {
			w.violate(o.At, "order %v went out without an intent that was durable before", o.ID)
		}
	}
	for _, run := range w.Runs {
		if run.Ended {
			continue
		}
		if at, ok := ordered[run.Order]; !ok || at > run.At {
			w.violate(run.At, "a pump started for order %v, which never went out", run.Order)
		}
	}
}

// freshLimit is the age at which a reading of a tank is too old to dose by.
func freshLimit(period time.Duration, plant *safety.Tank) time.Duration {
	return min(max(15*time.Second, 3*period), (plant.DeadTime+plant.TimeConstant)/2, 120*time.Second)
}

func fresh(w *trail) {
	for i := range w.Orders {
		o := &w.Orders[i]
		role := w.Settings.Safety.Pumps[o.Pump].Role
		usable, wanted := 0, dosing.QuantityPH
		switch role {
		case dosing.RoleStock:
			wanted = dosing.QuantityEC
		case dosing.RoleWater:
			wanted = dosing.QuantityLevel
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

func inhibited(w *trail) {
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
	return (h.Cause == safety.CauseHourlyCap || h.Cause == safety.CauseDailyCap) && h.Since >= o.Intended
}

// direction: no dose is meant to carry the water past the setpoint. The estimate
// has the dose in transit already, so it may lie beyond by the dead band and what a
// smallest dose does, no more.
func direction(w *trail) {
	for i := range w.Orders {
		o := &w.Orders[i]
		p, plant := &w.Settings.Safety.Pumps[o.Pump], w.tank(o.Tank)
		litres := float64(plant.Quick())
		smallest := p.MinDose.Millilitres() * math.Abs(p.AcidPerML) / litres
		slope := w.Curves[o.Tank].Buffer(float64(o.Estimate.PH)) * plant.BufferScale * math.Exp(o.Estimate.LnBuffer)
		slack := 0.05 + smallest/slope
		beyond := float64(o.Target.PH - o.Estimate.PH)
		switch {
		case p.Role == dosing.RoleAcid && !(beyond <= slack):
			w.violate(o.At, "acid takes pH to %.3f, setpoint %.3f", o.Estimate.PH, o.Target.PH)
		case p.Role == dosing.RoleBase && !(-beyond <= slack):
			w.violate(o.At, "base takes pH to %.3f, setpoint %.3f", o.Estimate.PH, o.Target.PH)
		case p.Role == dosing.RoleStock && !(float64(o.Estimate.EC-o.Target.EC) <= 0.05+p.MinDose.Millilitres()*p.ECPerML/litres):
			w.violate(o.At, "%s takes EC to %.3f, setpoint %.3f", p.Name, o.Estimate.EC, o.Target.EC)
		}
	}
}

func linked(w *trail) {
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

func unknown(w *trail) {
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

// oneOutlet: one order of a station runs at a time, and into the tank it names.
func oneOutlet(w *trail) {
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
