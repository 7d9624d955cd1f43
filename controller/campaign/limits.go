package campaign

import (
	"math"
	"time"

	"leat/dosing"
)

// Slack of the sums: the gate reckons with the least plausible volume, which is at
// most a hundredth or so below the one that is configured while the tank is full.
const roundingSlack = 1e-6

// smallestExempt says that one smallest dose is let through whatever the floor: it
// is worth little as commissioned and nothing is on its way.
func (w *trail) smallestExempt(i int, sum onWay) bool {
	o, p, plant := w.doses[i].order, w.doses[i].pump, w.tank(w.doses[i].order.Tank)
	if o.Volume > p.MinDose {
		return false
	}
	commissioned := w.Curves[o.Tank].Buffer(float64(o.Target.PH)) * plant.BufferScale
	for _, in := range o.Inputs {
		if in.Quantity == dosing.QuantityPH && in.Present {
			commissioned = max(commissioned, w.Curves[o.Tank].Buffer(in.Value)*plant.BufferScale)
		}
	}
	worth := p.MinDose.Millilitres() * math.Abs(p.AcidPerML) / float64(plant.Quick())
	return worth <= 0.0525*commissioned && sum.acid <= 0.011*o.Floor && sum.base <= 0.011*o.Floor
}

func doseCap(w *trail) {
	for i := range w.doses {
		d := &w.doses[i]
		o, p, plant := d.order, d.pump, w.tank(d.order.Tank)
		caps := w.Settings.Safety.Caps[o.Pump]
		if o.Volume > caps.PerDose || o.Run > caps.OnTime+time.Millisecond {
			w.violate(o.At, "%s of %s at once; the cap is %s in %v", o.Volume, p.Name, caps.PerDose, caps.OnTime)
		}
		litres := float64(plant.Quick())
		acid, ec := o.Volume.Millilitres()*math.Abs(p.AcidPerML)/litres, o.Volume.Millilitres()*p.ECPerML/litres
		if ec > 0.10*(1+roundingSlack) {
			w.violate(o.At, "a dose of %s worth %.3f mS/cm; at most 0.10", p.Name, ec)
		}
		room := 0.10 * o.Floor
		if p.AcidPerML > 0 {
			room += w.credit(o)
		}
		if acid > room*(1+roundingSlack) && !w.smallestExempt(i, w.onWay(o.Tank, o.At, i, i)) {
			w.violate(o.At, "a dose of %s worth %.4f meq/L; at most %.4f at the buffer floor", p.Name, acid, room)
		}
	}
}

func transitCap(w *trail) {
	for i := range w.doses {
		d := &w.doses[i]
		o, p, plant := d.order, d.pump, w.tank(d.order.Tank)
		sum := w.onWay(o.Tank, o.At, i, i)
		litres := float64(plant.Quick())
		acid, ec := o.Volume.Millilitres()*p.AcidPerML/litres, o.Volume.Millilitres()*p.ECPerML/litres
		if p.Role == dosing.RoleStock && sum.ec+ec-sum.forgottenEC > 0.20*(1+roundingSlack) {
			w.violate(o.At, "%.5f mS/cm on its way; at most 0.20", sum.ec+ec)
		}
		room := 0.30 * o.Floor
		var net float64
		switch {
		case acid > 0:
			room += w.credit(o)
			net = sum.acid + acid - (sum.base - sum.doubtBase)
		case acid < 0:
			net = sum.base - acid - (sum.acid - sum.doubtAcid)
		default:
			continue // a neutral stock adds to neither side, whatever is on its way
		}
		if net-sum.forgotten > room*(1+roundingSlack) && !w.smallestExempt(i, sum) {
			w.violate(o.At, "%.4f meq/L net of %s on its way; at most %.4f at the buffer floor", net, p.Role, room)
		}
	}
}

func rollingCaps(w *trail) {
	for i := range w.doses {
		o := w.doses[i].order
		plant := w.tank(o.Tank)
		caps := w.Settings.Safety.Caps[o.Pump]
		hour, day := dosing.Volume(0), dosing.Volume(0)
		for k := i; k >= 0; k-- {
			d := &w.doses[k]
			if d.order.Pump != o.Pump {
				continue
			}
			volume, _, open := d.counted(o.At, plant)
			if open || o.At-d.mixing < time.Hour {
				hour += volume
			}
			if open || o.At-d.mixing < 24*time.Hour {
				day += volume
			}
		}
		if hour > caps.PerHour || day > caps.PerDay {
			w.violate(o.At, "%s of %s in an hour, %s in a day; the caps are %s and %s", hour, w.doses[i].pump.Name, day, caps.PerHour, caps.PerDay)
		}
	}
}
