package ratio

import (
	"fmt"
	"math"
	"time"

	"leat/dosing/blend"
)

// What analyses are for: every macronutrient within Within of its target, as a share of it. One is
// wanted when Quantile standard uncertainties of an ion reach that far; nine in ten estimates lie
// nearer the truth.
const (
	Within   = 0.15
	Quantile = 1.6
)

// Due is when an analysis is wanted, since an ion will no longer be known well enough.
type Due struct {
	Ion blend.Substance
	In  time.Duration // from now; 0 = already, FarOff = not to be foreseen
	Off float64       // how far the ion may be off now, as a share of its target
}

// FarOff is how far the want of an analysis is foreseen.
const FarOff = 60 * 24 * time.Hour

// usualPace is how fast a crop takes before anything was measured, mS/cm an hour; paceOver is
// the time over which its pace is averaged.
const (
	usualPace = UsualWeek * UsualUptake / (7 * 24)
	paceOver  = 72 * time.Hour
)

// pace is how fast plants take, mS/cm an hour.
type pace float64

// note learns it.
func (p *pace) note(uptake, hours float64) {
	weight := min(hours/paceOver.Hours(), 0.5)
	if weight > 0 {
		*p += pace(weight * (uptake/hours - float64(*p)))
	}
}

// AnalysisDue foresees when an analysis is wanted: the macronutrient that is the first to be known
// too badly, at the pace at which plants take. Of those that are already, it is the worst known.
// What acid and water bring more of than plants take is not asked for: no stock steers it.
func (t *Tank) AnalysisDue() Due {
	first, brought := Due{In: FarOff}, t.brought()
	for s := blend.NO3; s <= blend.S; s++ {
		if !(t.target[s] > 0) || t.appetite[s] <= brought[s] || s == blend.NH4 { // it is taken first and soon turned into nitrate
			continue
		}
		d := Due{Ion: s, In: t.sureFor(s, max(float64(t.pace), usualPace/4)), Off: Quantile * t.Off(s) / t.target[s]}
		if d.In < first.In || d.In == 0 && d.Off > first.Off {
			first = d
		}
	}
	return first
}

// sureFor is how long an ion stays known well enough at a pace of the plants.
func (a *account) sureFor(s blend.Substance, pace float64) time.Duration {
	limit := Within / Quantile * a.target[s]
	low, high := 0.0, FarOff.Hours()*pace
	switch {
	case a.Off(s) >= limit:
		return 0
	case a.offAfter(s, high) < limit:
		return FarOff
	}
	for range 30 {
		if q := (low + high) / 2; a.offAfter(s, q) < limit {
			low = q
		} else {
			high = q
		}
	}
	return time.Duration(low / pace * float64(time.Hour))
}

// offAfter is the standard uncertainty of an ion after an uptake worth q, when water has brought
// its part of what plants took and stocks the rest. The variance of an appetite grows meanwhile,
// which by the end has counted for a third.
func (a *account) offAfter(s blend.Substance, q float64) float64 {
	appetite := a.aa[s] + float64(square(wander*a.appetite[s])*q/a.plan.EC)/3
	variance := a.cc[s] - float64(2*q*a.ca[s]) + float64(q*q*appetite)
	water := float64(a.plan.Water[s] * q / UsualUptake)
	stocks := max(float64(a.appetite[s]*q)-water, 0)
	return math.Sqrt(max(variance, 0) + square(a.off[s]+float64(waterOff*water)+float64(doseOff*stocks)))
}

// Words tell when, now being the clock on the wall; empty where it is not to be foreseen.
func (d Due) Words(now time.Time) string {
	name := d.Ion.Symbol()
	switch {
	case d.In >= FarOff:
		return ""
	case d.In == 0:
		return fmt.Sprintf("an analysis is wanted now: %s may be %.0f %% off", name, 100*d.Off)
	}
	return fmt.Sprintf("an analysis is wanted by %s: after that %s may be %.0f %% off", now.Add(d.In).Format("2 January"), name, 100*Within)
}
