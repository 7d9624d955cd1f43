package campaign

import (
	"math"
	"time"

	"leat/dosing"
)

// wordless: where the opposite is on its way, by a report or an entry by hand, a good
// reading itself stands on the side that the dose corrects.
func wordless(w *trail) {
	for i := range w.doses {
		o, p, plant := w.doses[i].order, w.doses[i].pump, w.tank(w.doses[i].order.Tank)
		sum := w.onWay(o.Tank, o.At, i, i)
		addHands(w, o, &sum)
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

// addHands adds what people said they poured in to what is on its way.
func addHands(w *trail, o *Ordered, sum *onWay) {
	plant := w.tank(o.Tank)
	for _, h := range w.Hands {
		if h.At > o.At || h.Tank != plant.Name {
			continue
		}
		for i := range w.Settings.Safety.Pumps {
			if p := &w.Settings.Safety.Pumps[i]; p.Name == h.Pump {
				dose := dosing.Dose{Volume: h.Volume, Up: h.At}
				acid := h.Volume.Millilitres() * dose.Remaining(o.At, plant.DeadTime, plant.TimeConstant) * p.AcidPerML / float64(plant.Quick())
				sum.acid, sum.base = sum.acid+max(acid, 0), sum.base+max(-acid, 0)
			}
		}
	}
}

func fighting(w *trail) {
	for i := range w.doses {
		o, p := w.doses[i].order, w.doses[i].pump
		other, fights := p.Role.Opposite()
		if !fights {
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
				// Where the reading will settle. What is on its way and gives a reason for its opposite counts for
				// least: by the commissioned buffer where that is more than the least credible one.
				curve := w.Curves[o.Tank]
				buffer := max(o.Floor, min(curve.Buffer(in.Value), curve.Buffer(float64(o.Target.PH)))*w.tank(o.Tank).BufferScale)
				settles := in.Value - (sum.acid-sum.base)/buffer
				// One reading lies within three deviations of the mean that the gate judges by.
				away = max(away, math.Abs(in.Value-float64(o.Target.PH)), math.Abs(settles-float64(o.Target.PH))+3*max(w.tank(o.Tank).PHNoise, 0.01))
			}
		}
		// Stocks that are acid or alkaline move pH as well, and no reagent has fought them yet;
		// by the floor that is the most.
		if p.Role == dosing.RoleAcid {
			away += (w.credit(o) + max(-sum.ofStocks, 0)) / o.Floor // top-up that came in lifts pH, too
		} else {
			away += max(sum.ofStocks, 0) / o.Floor
		}
		if away > 0.15 {
			continue
		}
		if opposite-sum.forgotten > 0.10*0.30*o.Floor*(1+roundingSlack) {
			w.violate(o.At, "%s follows the other while %.4f meq/L of it is on its way", p.Role, opposite)
		}
		for k := i - 1; k >= 0 && o.At-w.doses[k].order.At < time.Hour; k-- {
			d := &w.doses[k]
			if d.order.Tank == o.Tank && d.closed && d.volume > 0 && d.pump.Role == other && o.At-d.end < 20*time.Minute {
				w.violate(o.At, "%s follows %s after %v, %.3f pH off", p.Role, d.pump.Role, o.At-d.end, away)
				break
			}
		}
	}
	apart(w)
}

// apart: concentrates that must not meet follow one another after the plume time.
func apart(w *trail) {
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
