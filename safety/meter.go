package safety

import (
	"math"
	"time"

	"leat/dosing"
	"leat/safety/response"
)

// A hand meter beside a probe. What a person read lets nothing be dosed by itself: it frees
// unseen reagent only where the probe says the same at that moment, so that two witnesses
// do, and seldom, so that a figure copied from the page frees little.
const (
	meterReleases = 2              // times in a day that a tank's accounts of a quantity are freed
	meterApart    = 4 * time.Hour  // between two of them
	meterDay      = 24 * time.Hour // in which they are counted
	// Reagents that are on their way must have had this share of the limit or less to go.
	meterOnWay = 0.3
)

// How near meter and probe must be for the one to bear the other out, and how far apart they
// are for somebody to find out first which is right: of EC this or a share of it, the larger.
const (
	meterAgreesPH, meterStopsPH           = 0.10, 0.30
	meterAgreesEC, meterStopsEC           = 0.06, 0.30 // mS/cm
	meterAgreesECShare, meterStopsECShare = 0.05, 0.20
)

func meterBounds(q dosing.Quantity, v float64) (agrees, stops float64) {
	if q == dosing.QuantityPH {
		return meterAgreesPH, meterStopsPH
	}
	return max(meterAgreesEC, float64(meterAgreesECShare*v)), max(meterStopsEC, float64(meterStopsECShare*v))
}

// Metered is what a hand meter's reading means beside the probe's.
type Metered struct {
	Probe  float64 // what the tank's probes read
	Known  bool    // and that is valid for dosing
	Agrees bool
	Stops  bool   // they are so far apart that nothing should be dosed until one is right
	Freed  bool   // unseen reagent was taken out of its account
	Kept   string // why none was, although they agree; empty where there was none
}

// freed is when an account was freed by a hand meter.
type freed struct{ last, before when }

// BesideMeter judges a hand meter's reading of pH or EC in a tank; nothing follows by itself.
func BesideMeter(w *Watch, now dosing.Instant, id dosing.TankID, q dosing.Quantity, meter float64) (m Metered) {
	if int(id) >= len(w.tanks) || q != dosing.QuantityPH && q != dosing.QuantityEC || math.IsNaN(meter) || math.IsInf(meter, 0) {
		return m
	}
	g := &w.tanks[id].group[q]
	if g.standing != standFit {
		return m
	}
	m.Probe, m.Known = g.smooth, true
	apart := math.Abs(meter - m.Probe)
	agrees, stops := meterBounds(q, m.Probe)
	m.Agrees, m.Stops = apart <= agrees, apart > stops
	return m
}

// Free takes what has arrived out of the accounts of a quantity of which a person's meter and
// the probe read the same: both live in this water. What is on its way stays. It is no answer of
// a dose, so nothing is learned of the buffer, and the next doses are first ones again.
func (m *Metered) Free(w *Watch, now dosing.Instant, id dosing.TankID, q dosing.Quantity) {
	if !m.Agrees || !m.Known {
		return
	}
	t := &w.tanks[id]
	s := sight{watch: w, now: now, tank: t}
	s.gather()
	commissioned, _ := t.buffers()
	onWay := [response.Classes]float64{s.transit.acid, s.transit.base, s.transit.ec}
	classes := []response.Class{response.Acid, response.Base}
	if q == dosing.QuantityEC {
		classes = []response.Class{response.Stock}
	}
	frees := &t.freed[q]
	for _, class := range classes {
		a := &t.accounts[class]
		limit := a.limit(t, commissioned)
		switch {
		case !(limit > 0) || a.given <= max(onWay[class], 0):
			continue
		case onWay[class] > meterOnWay*limit:
			m.Kept = "more is still on its way: measure again when it has mixed in"
			continue
		case frees.last.within(meterApart, now.Up) || frees.before.within(meterDay, now.Up):
			m.Kept = "it was freed so lately that the probe must show something itself"
			continue
		}
		a.given, a.tests, a.tastes, a.tasting, a.silent = min(a.given, onWay[class]), 0, 0, 0, false
		a.fill(limit)
		if class != response.Stock {
			t.accounts[response.Acid].met = 0
		}
		m.Freed, w.told = true, true
	}
	if m.Freed {
		frees.before, m.Kept = frees.last, ""
		frees.last.set(now.Up)
	}
}
