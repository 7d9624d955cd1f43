package safety

import (
	"fmt"
	"time"

	"leat/dosing"
)

// Where leat itself tops a tank up, each pulse of the valve is an order like a dose. It is judged
// here by the level alone: neither pH nor EC is needed to let water in, and nothing that is known of
// the solution speaks for it. What the water does is seen as any top-up's is, by the level's rise.
//
// Each pulse must show. A gauge that sticks would else fill the tank over its brim, and a valve that
// does not close would go unseen until then.
const (
	pulseSettles = afterClosing + 30*time.Second // after a pulse, until the level tells what came
	pulseShown   = 0.5                           // of what was let in: below that it did not show
	pulseMore    = 1.6                           // above that more came than was let in
	pulseTwice   = 2                             // so often in a row it may be one of these
	pulseApart   = 10 * time.Minute              // a longer time between pulses is the plants', too
	bandDone     = 0.1                           // of the band: missing no more, top-up ends
	benchKeeps   = 0.5                           // of a flood's water: missing that much, it is not home
	benchHome    = 0.2                           // missing no more, it is
)

// pulses follows what our own valve lets into a tank.
type pulses struct {
	open    bool
	pump    dosing.PumpID
	begun   bool    // the present sum of pulses
	from    float64 // L, before the first of them
	litres  float64 // that they let in
	ended   time.Duration
	due     time.Duration // when the level tells of them; 0 = nothing waits
	odd     [2]int        // sums in a row that did not show, and that showed too much
	low     dosing.Timer  // the level is below the band
	filling bool          // until it is at its upper end
}

// bench follows whether a flood brings its water home.
type bench struct {
	away          bool
	before, least float64
	short         float64 // L that the last one kept; 0 = it is home
}

// valve takes the begin and the end of an order to a valve of ours.
func (t *tankState) valve(s *Settings, pump dosing.PumpID, open bool, volume dosing.Volume, up time.Duration) {
	if s.Pumps[pump].Role != dosing.RoleWater {
		return
	}
	p := &t.water.pulses
	if p.open, p.pump = open, pump; open {
		if !p.begun || up-p.ended > pulseApart {
			p.begun, p.from, p.litres = true, t.water.mark, 0
		}
		return
	}
	p.litres += volume.Litres()
	p.ended, p.due = up, up+pulseSettles
}

// forget leaves behind what gauge, valve and benches showed: a person has looked.
func (s *waterState) forget() {
	s.gauge, s.bench = gauge{}, bench{}
	s.pulses = pulses{open: s.pulses.open, pump: s.pulses.pump}
}

// runs says that water is let in, by the valve's contact or by an order of ours.
func (wa *waters) runs(t *tankState, up time.Duration) bool {
	return t.water.pulses.open || wa.on(t, dosing.QuantityTopUp, up)
}

// followPulse takes a level: it judges the pulses that have settled, and whether a flood came home.
func (wa *waters) followPulse(at dosing.Instant, t *tankState, level, unsure float64, away bool) {
	p, b, up := &t.water.pulses, &t.water.bench, at.Up
	if !(t.plant.TopUpBand.High > 0) {
		return
	}
	t.water.gauge.stands(level, unsure, up)
	if away {
		if !b.away {
			*b = bench{away: true, before: t.water.mark + b.short, least: level} // what a bench keeps is still to come
		}
		b.least = min(b.least, level)
		p.begun, p.due = false, 0 // the level tells of the flood
		return
	}
	if b.away {
		b.away = false
		t.water.gauge.flooded(b.before-b.least, level, unsure)
		if out := b.before - b.least; out > unsure && b.before-level > float64(benchKeeps*out) {
			b.short = b.before - level
		}
	} else if b.short > 0 && level > b.before-float64(benchHome*(b.before-b.least)) {
		b.short = 0
	}
	if p.due == 0 || p.open || up < p.due {
		return
	}
	p.due = 0
	// Below this the gauge does not tell; the next pulse adds to it.
	if p.litres < max(gaugeShare*float64(t.plant.Volume), float64(gaugeClear*unsure)) {
		return
	}
	p.begun = false
	rise := t.water.mark - p.from
	for i, odd := range [...]bool{rise < float64(pulseShown*p.litres), rise > float64(pulseMore*p.litres)+unsure} {
		if p.odd[i]++; !odd {
			p.odd[i] = 0
		} else if p.odd[i] >= pulseTwice {
			wa.stopPulses(at, t, rise)
		}
	}
}

// stopPulses stops the valve until a person has looked.
func (wa *waters) stopPulses(at dosing.Instant, t *tankState, rise float64) {
	p := &t.water.pulses
	wa.told = true
	wa.latch(at, &wa.pumps[p.pump].cells, CauseTopUpHeld, t.id, p.pump,
		fmt.Sprintf("%.0f L were let in and the level rose by %.0f L, the second time in a row", p.litres, rise))
	p.odd = [2]int{}
}

// Lacks is how much water a valve of ours is to let into a tank now, in litres: from a level that
// stays below the band until its upper end is reached.
func (wa *waters) Lacks(now dosing.Instant, id dosing.TankID) float64 {
	if int(id) >= len(wa.tanks) {
		return 0
	}
	t := &wa.tanks[id]
	band, p, level := &t.plant.TopUpBand, &t.water.pulses, &t.group[dosing.QuantityLevel]
	if !(band.High > 0) || level.standing != standFit || t.flood.Away() {
		p.low.Run(false, now.Up)
		return 0
	}
	if wa.persists(&p.low, t, dosing.QuantityLevel, level.value < float64(band.Low), now.Up) {
		p.filling = true
	}
	if missing := float64(band.High) - level.value; p.filling && missing > float64(bandDone*float64(band.High-band.Low)) {
		return missing
	}
	p.filling = false
	return 0
}

// keepsShut is what speaks against any water now.
func (s *sight) keepsShut() Cause {
	w, level := &s.tank.water, &s.tank.group[dosing.QuantityLevel]
	switch {
	case level.standing != standFit:
		return CauseLevelUnknown
	case w.gauge.still > 0:
		return CauseLevelStuck
	case !(level.value < float64(s.tank.plant.TopUpBand.High)):
		return CauseAwayFromSetpoint
	case w.pulses.due > 0 && !s.own.is:
		s.wait = max(w.pulses.due-s.now.Up, 0)
		return CauseAnswerWait
	}
	return CauseNone
}

// pulseWords puts in figures why no water is let in.
func (s *sight) pulseWords(cause Cause) string {
	w, level := &s.tank.water, s.tank.group[dosing.QuantityLevel].value
	switch cause {
	case CauseLevelStuck:
		return w.gauge.words
	case CauseAwayFromSetpoint:
		return fmt.Sprintf("the level is %.0f L; top-up ends at %.0f L", level, float64(s.tank.plant.TopUpBand.High))
	case CauseAnswerWait:
		return "the level is left to tell what the last pulse brought; " + words(s.wait) + " to go"
	}
	return ""
}

// boundPulse computes the largest pulse that each limit allows.
func (s *sight) boundPulse(caps *Caps) {
	w, p := s.watch, s.plan.Pump
	missing := float64(s.tank.plant.TopUpBand.High) - s.tank.group[dosing.QuantityLevel].value
	for i := range s.limits {
		s.limits[i] = limit{CauseDoseCap, min(caps.PerDose, volumeIn(caps.OnTime, s.pump.PerSecond))}
	}
	s.limits[1] = limit{CauseLevelHigh, dosing.FromMillilitres(1000 * max(missing, 0))}
	s.limits[2] = limit{CauseHourlyCap, w.HourlyCap(p) - s.hour}
	s.limits[3] = limit{CauseDailyCap, w.DailyCap(p) - s.day}
	s.limits[4] = limit{CauseContainerCap, w.stockLeft(p)}
}
