package safety

import (
	"math/bits"
	"slices"
	"time"

	"leat/dosing"
)

// A round fills the status table. Most of what the rows read stays as it is from one
// second to the next, and a row that does not stand keeps its judgement until
// something it reads may have changed. What stands, what is not listed here and, at
// least every wholeEvery, everything is judged anew. The gate relies on none of this:
// before a dose it judges every row.

// wholeEvery is how often every row is judged whatever has changed.
const wholeEvery = time.Minute

// facts is a set of what rows read, one bit each: that the inputs of a quantity do not
// plainly stand well, that they may have another value, or one of those below.
type facts uint64

const (
	// factTold is all that the watch is told beside readings and heartbeats: by people,
	// of doses, of link and record, of settings. Every row is judged after it.
	factTold facts = 1 << (iota + dosing.QuantityCount)
	// factWait is that a wait to mix, or a flood's coming home, was not over in the last
	// round.
	factWait
	factNode // the node is not plainly well and idle
	factUse  // a multiple of recent use may limit the pump
	anything = ^facts(0)

	// values is the place of the values beyond that of the quantities.
	values = int(dosing.QuantityCount) + 4
)

var _ [64 - values - int(dosing.QuantityCount)]struct{} // a set holds every fact

// unwell and valueOf are the two facts of a quantity.
func unwell(q dosing.Quantity) facts  { return 1 << q }
func valueOf(q dosing.Quantity) facts { return 1 << (values + int(q)) }

// tankReads and pumpReads say of a row all that can make it stand. A row without an
// entry is judged in every round.
var tankReads = [CauseCount]facts{
	CauseObserving:           factTold,
	CauseOperatorStop:        factTold,
	CauseOperatorPause:       factTold,
	CauseMaintenance:         factTold,
	CauseECDoubted:           factTold,
	CauseCleaning:            factTold,
	CauseLedgerUnavailable:   factTold,
	CauseClockUntrusted:      factTold,
	CauseOtherController:     factTold,
	CauseConfigurationUnsafe: factTold,
	CauseLedgerBehindNode:    factTold,
	CauseStarting:            factTold,
	CauseDoseUncertain:       factTold,
	CauseTooStrong:           factTold,
	CauseBrokerDisconnected:  factTold | valueOf(dosing.QuantityPH),
	CauseSolutionUnconfirmed: factTold | valueOf(dosing.QuantityPH) | valueOf(dosing.QuantityLevel) | valueOf(dosing.QuantityRedox),
	CauseStopInput:           unwell(dosing.QuantityStop),
	CausePHMissing:           unwell(dosing.QuantityPH),
	CausePHStale:             unwell(dosing.QuantityPH),
	CausePHInvalid:           unwell(dosing.QuantityPH),
	CauseECMissing:           unwell(dosing.QuantityEC),
	CauseECStale:             unwell(dosing.QuantityEC),
	CauseECInvalid:           unwell(dosing.QuantityEC),
	CauseTemperatureInvalid:  unwell(dosing.QuantityTemperature),
	CauseTemperatureRange:    valueOf(dosing.QuantityTemperature),
	CauseProbesDisagree:      unwell(dosing.QuantityPH) | unwell(dosing.QuantityEC) | unwell(dosing.QuantityTemperature),
	CauseSampleFlowOff:       unwell(dosing.QuantitySampleFlow),
	CauseCirculationOff:      unwell(dosing.QuantityCirculation) | factWait,
	CauseLevelUnknown:        unwell(dosing.QuantityLevel),
	CauseLevelLow:            valueOf(dosing.QuantityLevel) | unwell(dosing.QuantityFlood) | factWait,
	CauseLevelHigh:           valueOf(dosing.QuantityLevel),
	CauseLeak:                unwell(dosing.QuantityLeak),
	CauseFlood:               unwell(dosing.QuantityFlood) | factWait,
	CauseOutletUnproved:      factTold | unwell(dosing.QuantityOutlet),
}

var pumpReads = [CauseCount]facts{
	CauseConfigurationUnsafe: factTold,
	CauseNoResponse:          factTold,
	CauseReagentStrong:       factTold,
	CauseReportContradicts:   factTold,
	CauseNodeRefuses:         factTold,
	CauseNodeOffline:         factNode,
	CauseNodeRebooted:        factNode,
	CauseNodeClock:           factNode,
	CauseNodeBusy:            factNode,
	CauseContainerEmpty:      valueOf(dosing.QuantityStockLevel),
	CauseContainerBalance:    factTold | valueOf(dosing.QuantityStockLevel),
	CauseHourlyCap:           factTold | factUse,
	CauseDailyCap:            factTold | factUse,
}

// schedule says which rows are judged by what has changed.
type schedule struct {
	all, always CauseSet
	by          [64]CauseSet // of each fact
}

var (
	tankSchedule = scheduleOf(&tankReads, func(c Cause) bool { return tankChecks[c] != nil })
	pumpSchedule = scheduleOf(&pumpReads, func(c Cause) bool { return pumpChecks[c] != nil })
)

func scheduleOf(reads *[CauseCount]facts, checked func(Cause) bool) (s schedule) {
	for c := CauseNone; c < CauseCount; c++ {
		if !checked(c) {
			continue
		}
		s.all.Add(c)
		if reads[c] == 0 {
			s.always.Add(c)
		}
		for f := range s.by {
			if reads[c]&(1<<f) != 0 {
				s.by[f].Add(c)
			}
		}
	}
	return s
}

// due are the rows to be judged when these facts have changed and those stand.
func (s *schedule) due(changed facts, standing CauseSet) CauseSet {
	if changed == anything {
		return s.all
	}
	due := s.always.Or(standing)
	for rest := uint64(changed); rest != 0; rest &= rest - 1 {
		due = due.Or(s.by[bits.TrailingZeros64(rest)])
	}
	return due.and(s.all)
}

// Evaluate fills the status table of every tank and pump. It is called about once
// a second and on every switch; in a plant where nothing changes it allocates
// nothing.
func (w *Watch) Evaluate(now dosing.Instant) {
	if !w.seeded {
		w.seed(now)
	}
	w.evaluate(now)
}

func (w *Watch) evaluate(now dosing.Instant) {
	w.evaluated = now.Up
	var changed facts
	if w.told || now.Up-w.whole >= wholeEvery || now.Up < w.last {
		changed, w.whole = anything, now.Up
	}
	w.told = false
	for p := range w.pumps {
		w.evaluatePump(now, dosing.PumpID(p), changed)
	}
	for i := range w.tanks {
		t := &w.tanks[i]
		w.evaluateTank(now, t, changed)
		w.publish(t)
	}
}

// evaluateTank judges the rows of a tank that read what has changed, and those that
// stand.
func (w *Watch) evaluateTank(now dosing.Instant, t *tankState, changed facts) {
	if now.Up < w.last {
		// No age computed from here on could be trusted.
		w.backward = true
	}
	if t.wait.until > t.round || t.flood.Within(t.plant.PlumeTime(), t.round) {
		changed |= factWait
	}
	t.round = now.Up
	w.last = max(w.last, now.Up)
	changed = w.stand(t, w.last, changed)
	due := tankSchedule.due(changed, t.active)
	t.begin(due)
	for rest := due; !rest.Empty(); {
		var c Cause
		c, rest = rest.First()
		if check := w.tankChecks[c]; check != nil {
			check(w, now, t)
		}
	}
	t.finish(now, byTank)
}

// evaluatePump is evaluateTank for a pump of the row.
func (w *Watch) evaluatePump(now dosing.Instant, id dosing.PumpID, changed facts) {
	p := &w.pumps[id]
	p.use.pass(now.Up)
	if !w.nodeOf(p).well(now.Up) {
		changed |= factNode
	}
	if p.use.span >= useLeast {
		changed |= factUse
	}
	if len(p.stocks) > 0 {
		changed |= valueOf(dosing.QuantityStockLevel)
	}
	due := pumpSchedule.due(changed, p.active)
	p.begin(due)
	for rest := due; !rest.Empty(); {
		var c Cause
		c, rest = rest.First()
		if check := w.pumpChecks[c]; check != nil {
			check(w, now, id, p)
		}
	}
	p.finish(now, byPump)
}

// publish makes the list of a tank's trips, most severe first.
func (st *state) publish(t *tankState) {
	t.trips = t.trips[:0]
	t.list(&t.cells, 0)
	for p := range st.pumps {
		if c := &st.pumps[p].cells; !c.active.Or(c.latched).Empty() && st.settings.Pumps[p].ServesTank(t.id) {
			t.list(c, dosing.PumpID(p))
		}
	}
	if len(t.trips) < 2 {
		return
	}
	slices.SortStableFunc(t.trips, func(a, b Trip) int {
		switch {
		case a.before(&b):
			return -1
		case b.before(&a):
			return 1
		}
		return 0
	})
}

func (t *tankState) list(c *cells, pump dosing.PumpID) {
	for rest := c.active.Or(c.latched); !rest.Empty(); {
		var cause Cause
		cause, rest = rest.First()
		trip, _ := c.trip(cause, t.id, pump)
		t.trips = append(t.trips, trip)
	}
}

// seed looks through the doses of earlier runs that the totals were given at the
// start, so that waits and shares hold across a restart.
func (w *Watch) seed(now dosing.Instant) {
	w.seeded = true
	for i := range w.tanks {
		w.totals.EachInTransit(w.tanks[i].id, now.Up, 25*time.Hour, 0, func(d *dosing.Dose, _ float64) {
			if int(d.Pump) < len(w.pumps) {
				w.given(*d, d.Up)
			}
		})
	}
}
