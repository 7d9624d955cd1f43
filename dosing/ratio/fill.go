package ratio

import (
	"math"

	"leat/dosing/blend"
)

// Water is which water a person says is in a tank.
type Water uint8

// The waters. The zero water is not stated.
const (
	WaterNone     Water = iota
	WaterSame           // nothing was filled in: the account goes on
	WaterSource         // fresh, as the source is analysed
	WaterRecipe         // made by the recipe from the source water
	WaterAnalysed       // a solution that an analysis describes
	WaterTank           // another tank's solution, as its account describes it
	WaterUnknown        // nobody knows
	WaterCount
)

var waterNames = [WaterCount]string{"", "same", "source", "recipe", "analysis", "tank", "unknown"}

func (w Water) String() string { return waterNames[min(w, WaterCount-1)] }

// ParseWater finds a water by name.
func ParseWater(name string) (Water, bool) {
	for w, n := range waterNames {
		if n == name && w > 0 {
			return Water(w), true
		}
	}
	return WaterNone, false
}

// Described says that an analysis comes with the water.
func (w Water) Described() bool { return w == WaterAnalysed }

// OfTank says that the water comes with the name of another tank.
func (w Water) OfTank() bool { return w == WaterTank }

// How far the composition of a filling may be off, as standard uncertainties of what
// it brought beside the source water.
const (
	recipeOff  = 0.10 // of a solution that a person made by the recipe
	unknownOff = 0.50 // of water of which nobody says what it is

	unknownLeast = 1.0 // mmol/L of any ion that such water may well hold
)

// Fill begins the account anew with other water; what plants take stays as it was
// learned. How much of it is source water and how much is recipe, the next EC tells.
// A solution with an analysis, or of another tank, is unknown until Analyse says what
// it is.
func (t *Tank) Fill(w Water) {
	if w == WaterNone || w == WaterSame {
		return
	}
	t.close()
	t.before, t.off, t.ca = t.usual, blend.Content{}, blend.Content{}
	t.scale, t.started = 1, false
	switch w {
	case WaterSource, WaterUnknown:
		t.madeOff = unknownOff
	default:
		t.madeOff = recipeOff
	}
	t.strange = w == WaterUnknown || w == WaterAnalysed || w == WaterTank
	t.mix(0, t.plan.PH)
	if w == WaterRecipe {
		t.mix(1, t.plan.PH)
	}
	t.marks, t.solved, t.swap = t.marks[:0], solvedAt{}, swap{}
}

// replacedOff is how far a person's word on the share that was replaced may be off.
const replacedOff = 0.10

// Replace counts a dump: a share of the tank was replaced with source water. How large
// it was, the next EC tells better than the person: some of the water stands on a bench
// meanwhile, or in the pipes.
func (t *Tank) Replace(share float64) {
	share = min(max(share, 0), 1)
	stays := 1 - share
	t.swap = swap{share: share, change: t.plan.Water.Plus(t.content, -1)}
	t.swap.change[blend.Rest] = t.plan.Water[blend.Rest] - t.rest
	t.exchange(&t.swap.change, share)
	t.owed = float64(stays*t.owed) + float64(share*max(t.plan.Water.StrongCharge(), 0))
	for s := blend.NO3; s < blend.Carbon; s++ {
		t.cc[s] = float64(stays*stays*t.cc[s]) + square(float64(replacedOff*share)*t.swap.change[s])
		t.ca[s] *= stays
		t.off[s] = float64(stays*t.off[s]) + float64(waterOff*share*t.plan.Water[s]) // one dump's water is as far off as the next one's
	}
	if ec, ok := t.conductivity(t.content, t.plan.PH); ok && t.seen {
		t.ec = ec
	}
	t.marks, t.solved.known = t.marks[:0], false
}

// exchange puts so much more of a tank of source water in the place of what was there.
func (a *account) exchange(change *blend.Content, share float64) {
	for s := blend.NO3; s <= blend.Carbon; s++ {
		a.content[s] = max(a.content[s]+float64(share*change[s]), 0)
	}
	a.rest += float64(share * change[blend.Rest])
}

// swapECOff is how far EC may lie from the account for other reasons than the share of
// a dump, mS/cm.
const swapECOff = 0.02

// settleSwap corrects the share of a dump by the EC that is found after it: a Kalman
// update of that one figure.
func (t *Tank) settleSwap(ec, pH float64) {
	const step = 0.05
	share := t.swap.share
	if !(share > 0) {
		return
	}
	present, ok := t.conductivity(t.content, pH)
	more := t.content.Plus(t.swap.change, step)
	more[blend.Rest] = 0
	other, okToo := t.conductivity(more, pH)
	if ok && okToo {
		slope, variance := (other-present)/step, square(replacedOff*share)
		gain := variance * slope / (float64(slope*slope*variance) + square(swapECOff))
		t.exchange(&t.swap.change, min(max(gain*(ec-present), -share), 1-share))
		for s := blend.NO3; s < blend.Carbon; s++ {
			t.cc[s] = max(t.cc[s]-float64(gain*slope*variance*square(t.swap.change[s])), 0)
		}
	}
	t.swap = swap{}
}

// Begun says that a measured EC has told how strong the filling is.
func (s *state) Begun() bool { return s.started }

// SourceEC is what the source water's analysis makes of its EC at a pH.
func (t *Tank) SourceEC(pH float64) float64 {
	other := *t
	other.scale = 1
	other.mix(0, pH)
	ec, _ := other.conductivity(other.content, pH)
	return ec
}

// mix lets the tank hold the source water and a share of what the recipe adds to it;
// a share below zero is so much of plain water in the source's place. Sodium and
// chloride come with the source: no strength of the solution adds to them.
func (a *account) mix(share, pH float64) {
	source, added := 1+min(share, 0), max(share, 0)
	part := func(s blend.Substance) (water, made float64) {
		return float64(source * a.plan.Water[s]), float64(added * (a.made[s] - a.plan.Water[s]))
	}
	for s := blend.NO3; s < blend.Carbon; s++ {
		water, made := part(s)
		a.content[s] = max(water+made, 0)
		a.cc[s] = square(waterOff*water) + square(a.madeOff*made)
		if a.strange {
			least := unknownLeast
			if s.Micro() {
				least = 0
			}
			a.cc[s] += square(unknownOff * max(a.target[s], water, least))
		}
	}
	water, made := part(blend.Rest)
	a.rest = water + made
	a.keepCarbonate(pH)
	a.closeCharge(pH)
}

// keepCarbonate lays what cations leave open to bicarbonate, as far as the source
// water holds any.
func (a *account) keepCarbonate(pH float64) {
	a.content[blend.Carbon] = 0
	open := a.charge(pH) / bicarbonate(pH)
	a.content[blend.Carbon] = min(max(open, 0), max(a.plan.Water[blend.Carbon], a.made[blend.Carbon]))
}

// bicarbonate is its share of inorganic carbon below pH 9 (pK1 of carbonic acid at
// 25 °C, USGS (dosing/chem/data)).
func bicarbonate(pH float64) float64 { return 1 / (1 + math.Pow(10, 6.352-pH)) }

const (
	carbonateKept = 0.02 // mmol/L of dissolved CO2, by the air of a room
	carbonateLost = 0.4  // share an hour by which the rest of it leaves a tank
)

// breathe lets carbonate pass into the air.
func (a *account) breathe(hours, pH float64) {
	rests := carbonateKept / (1 - bicarbonate(min(pH, 8.5)))
	if over := a.content[blend.Carbon] - rests; over > 0 && hours > 0 {
		a.content[blend.Carbon] = rests + float64(over*math.Exp(-carbonateLost*hours))
	}
}

// strongest is beyond any solution that a tank is filled with, as a multiple of the
// recipe's strength.
const strongest = 4

// begin finds the share between source water and recipe at which the ions make the
// EC that is measured.
func (t *Tank) begin(ec, pH float64) {
	low, high := -1.0, float64(strongest)
	for range 40 {
		share := (low + high) / 2
		t.mix(share, pH)
		if has, ok := t.conductivity(t.content, pH); ok && has < ec {
			low = share
		} else {
			high = share
		}
	}
	t.started = true
}
