package ratio

import (
	"math"

	"leat/dosing/blend"
)

// What a crop in recirculated water usually takes with its water, for words before
// anything was measured: published figures lie between 0.8 and 2.5 mS/cm of nutrients
// with each litre, and a tank's own water lasts some three weeks.
const (
	UsualUptake = 1.25 // mS/cm
	UsualWeek   = 0.35 // of the tank's litres, used in a week
)

// A dump is due where an ion stands DumpAt above its target; it is to bring it to
// DumpTo above. Both are shares.
const (
	DumpAt = 0.10
	DumpTo = 0.05
)

// Gathering is an ion of which the source water brings more than the crop takes.
type Gathering struct {
	Ion     blend.Substance
	Water   float64 // mmol/L that the source brings
	Takes   float64 // mmol that the crop takes with each litre
	PerWeek float64 // share of the tank to replace with source water in a week, to stay at DumpAt; infinite where that water holds more itself
}

// Gathers are the macronutrients that gather in a tank of this water under a usual
// crop, though no stock gives any; target is at an EC.
func Gathers(water, target blend.Content, ec float64) (all []Gathering) {
	for s := blend.NO3; s <= blend.S; s++ {
		if !(target[s] > 0) || s == blend.NH4 {
			continue
		}
		g := Gathering{Ion: s, Water: water[s], Takes: target[s] * UsualUptake / ec}
		if g.Water <= g.Takes {
			continue
		}
		g.PerWeek = math.Inf(1)
		if room := (1+DumpAt)*target[s] - water[s]; room > 0 {
			g.PerWeek = UsualWeek * (g.Water - g.Takes) / room
		}
		all = append(all, g)
	}
	return all
}
