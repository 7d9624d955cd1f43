package safety

import (
	"math"
	"time"

	"leat/dosing"
	"leat/safety/response"
)

// The limits of one dose. The smallest of them is the largest dose, and Gate.Allowance
// says which that is now; leat check says it for the commissioned values.
//
//	cause           one dose, with what counts beside it, is worth at most
//	dose-cap        dose_cap of the pump, and what it delivers in its on_time_limit
//	effect-cap      0.10 pH at the buffer floor (for acid: and alkalinity that top-up brought
//	                and nothing has answered), and 0.10 mS/cm; of acid and base half of the way
//	                to the setpoint, where that is less, 0.05 pH at least
//	in-transit-cap  0.30 pH at the buffer floor with what is on its way, net of its opposite
//	                (for acid: and that alkalinity); for a stock 0.20 mS/cm with what is on its way
//	unconfirmed-cap what its account leaves of 0.30 pH at the weakest credible buffer, or of
//	                0.20 mS/cm; the first dose of acid and base a sixth of that
//	hourly-cap        hourly_cap with the last hour, halved where leak or stop is waived,
//	                narrowed by recent use
//	daily-cap         daily_cap with the last 24 hours, likewise
//	container-cap       what the container holds, where its level is known
//	level-high      of source water what is missing to the level at which top-up ends; of these
//	                limits only dose-cap, hourly-cap and daily-cap are of it as well
//
// Both effects are counted in the water that mixes quickly, at the least plausible volume.
// One smallest dose passes effect-cap and in-transit-cap while nothing is on its way and it
// is worth at most 0.05 pH as commissioned. A dose below the smallest is refused.

// bound computes the largest volume that each rule allows. Rounding is always
// down: to nearest could pass a cap by half a microlitre.
func (s *sight) bound() {
	w, p := s.watch, s.plan.Pump
	caps := &w.pumps[p].caps
	s.hour, s.day = w.totals.Hour(p, s.now.Up), w.totals.Day(p, s.now.Up)
	if s.own.is {
		s.hour -= s.plan.Volume
		s.day -= s.plan.Volume
	}
	if s.pump.Role == dosing.RoleWater {
		s.boundPulse(caps)
		return
	}
	effect, transit := s.effects()
	s.limits = [...]limit{
		{CauseDoseCap, min(caps.PerDose, volumeIn(caps.OnTime, s.pump.PerSecond))},
		{CauseEffectCap, effect},
		{CauseInTransitCap, transit},
		{CauseUnconfirmed, s.unseen()},
		{CauseHourlyCap, w.HourlyCap(p) - s.hour},
		{CauseDailyCap, w.DailyCap(p) - s.day},
		{CauseContainerCap, w.stockLeft(p)},
	}
}

// volumeIn is what a pump delivers in a time, so that its run never exceeds it.
func volumeIn(run time.Duration, perSecond dosing.Volume) dosing.Volume {
	milliseconds := int64(run / time.Millisecond)
	if milliseconds > 24*3_600_000 {
		milliseconds = 24 * 3_600_000
	}
	return dosing.Volume(milliseconds * int64(perSecond) / 1000)
}

// mostPH is what one dose may move pH by.
func (s *sight) mostPH() float64 {
	if s.pump.Role == dosing.RoleStock {
		return effectPH
	}
	return min(effectPH, max(effectIn, s.tank.off()/2))
}

// effects are the volumes that the caps on the effect of one dose and on what is
// on its way allow, pH and EC together.
func (s *sight) effects() (effect, transit dosing.Volume) {
	acid := s.pump.AcidPerML / s.volume // meq/L per mL, negative for a base
	ec := s.pump.ECPerML / s.volume     // mS/cm per mL
	pHEffect, pHTransit, met := float64(s.mostPH()*s.floor), float64(transitPH*s.floor), 0.0
	switch {
	case acid > 0:
		pHTransit += s.credit - (s.transit.acid - (s.transit.base - s.transit.doubtBase))
		met = max(0, s.credit-max(0, s.transit.acid-s.transit.base))
	case acid < 0:
		pHTransit -= s.transit.base - (s.transit.acid - s.transit.doubtAcid)
	}
	effect, transit = volumeOf(pHEffect+met, math.Abs(acid)), volumeOf(pHTransit, math.Abs(acid))
	// Near the setpoint a coarse pump still gives its smallest dose: without it the tank
	// would stand off by twice what that dose does.
	effect = max(effect, min(s.pump.MinDose, volumeOf(float64(effectPH*s.floor)+met, math.Abs(acid))))
	if s.smallestPasses(math.Abs(acid)) {
		effect, transit = max(effect, s.pump.MinDose), max(transit, s.pump.MinDose)
	}
	effect = min(effect, volumeOf(effectEC, ec))
	if s.pump.Role == dosing.RoleStock {
		// The EC that acid or base brings is small, and an EC hold must not stop pH.
		transit = min(transit, volumeOf(transitEC-s.transit.ec, ec))
	}
	return effect, transit
}

// smallestPasses says that one smallest dose is within the effect caps whatever
// the floor says: nothing is on its way, and at the commissioned buffer it is worth
// little. Without this a tank that once learned a low buffer could never correct
// it. Where no buffer is known both capacities are zero, and no dose is that small.
func (s *sight) smallestPasses(acidPerML float64) bool {
	quiet := s.transit.acid <= quietPH*s.floor && s.transit.base <= quietPH*s.floor
	commissioned := s.commissioned
	if commissioned > 0 {
		// At the setpoint, where the size of the pump was checked and where the dose
		// leads: by the present pH alone, water whose buffer an acid has used up could
		// never be brought back.
		commissioned = max(commissioned, s.tank.curve.Buffer(float64(s.tank.target.PH))*s.tank.plant.BufferScale)
	}
	return quiet && float64(s.pump.MinDose.Millilitres()*acidPerML) <= smallestPH*commissioned
}

// volumeOf is the volume whose effect stays within room, perML its effect; nothing
// when either is no number.
func volumeOf(room, perML float64) dosing.Volume {
	if perML == 0 && room >= 0 {
		return math.MaxInt64
	}
	if !(perML > 0) || !(room > 0) {
		return 0
	}
	return dosing.FromMillilitres(room / perML)
}

// stockLeft is what the container still holds, where its level is known.
func (bu *budgets) stockLeft(p dosing.PumpID) dosing.Volume {
	left := dosing.Volume(math.MaxInt64)
	for _, id := range bu.pumps[p].stocks {
		// An invalid level has tripped CauseContainerEmpty already.
		left = min(left, dosing.FromMillilitres(bu.inputs[id].last.Value()*1000))
	}
	return left
}

// unseen is the volume of the dose's liquid that its account leaves.
func (s *sight) unseen() dosing.Volume {
	class, perML, ok := s.watch.amount(s.tank, s.pump, dosing.Millilitre)
	if !ok {
		return 0
	}
	a := &s.tank.accounts[class]
	limit := a.limit(s.tank, s.commissioned)
	room := a.room(s.tank, limit, s.now.Up, s.own.is)
	others := a.given
	if s.own.is {
		others -= a.open + rounds*limit
	}
	most := volumeOf(room, perML)
	switch {
	case class == response.Stock:
	case others <= 0, room > 0 && a.rests(limit) && s.smallestPasses(float64(perML)):
		// Else a weak buffer could never be corrected. Whether one dose is too coarse for
		// the water is for the cap on its effect to say.
		most = max(most, s.pump.MinDose)
	}
	return most
}
