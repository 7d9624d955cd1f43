package safety

import (
	"fmt"
	"math"
	"time"

	"leat/dosing"
	"leat/safety/response"
)

var tankChecks = [CauseCount]tankCheck{
	CauseObserving: func(_ *Watch, now dosing.Instant, t *tankState) {
		t.put(now, CauseObserving, t.mode != ModeArmed && t.mode != ModeStopped, "")
	},
	CauseOperatorStop: func(_ *Watch, now dosing.Instant, t *tankState) {
		t.put(now, CauseOperatorStop, t.mode == ModeStopped, "")
	},
	CauseOperatorPause: func(_ *Watch, now dosing.Instant, t *tankState) {
		t.put(now, CauseOperatorPause, t.operator.Paused, t.operator.Why)
	},
	CauseECDoubted: func(_ *Watch, now dosing.Instant, t *tankState) {
		t.put(now, CauseECDoubted, t.operator.ECDoubted, "")
	},
	CauseMaintenance: func(_ *Watch, now dosing.Instant, t *tankState) {
		t.put(now, CauseMaintenance, t.operator.Maintenance, t.operator.Why)
	},
	CauseCleaning: func(_ *Watch, now dosing.Instant, t *tankState) {
		t.put(now, CauseCleaning, t.operator.Cleaning, t.operator.Why)
	},
	CauseLedgerBehindNode: func(_ *Watch, _ dosing.Instant, t *tankState) {
		t.lower(CauseLedgerBehindNode) // only ever latched, by BehindNode
	},
	CauseStopInput:           checkStop,
	CauseSolutionUnconfirmed: checkSolution,
	CausePHMissing:           readingCheck(CausePHMissing, dosing.QuantityPH, standMissing),
	CausePHStale:             readingCheck(CausePHStale, dosing.QuantityPH, standStale),
	CausePHInvalid:           readingCheck(CausePHInvalid, dosing.QuantityPH, standInvalid),
	CauseECMissing:           readingCheck(CauseECMissing, dosing.QuantityEC, standMissing),
	CauseECStale:             readingCheck(CauseECStale, dosing.QuantityEC, standStale),
	CauseECInvalid:           readingCheck(CauseECInvalid, dosing.QuantityEC, standInvalid),
	CauseTemperatureInvalid:  notFitCheck(CauseTemperatureInvalid, dosing.QuantityTemperature),
	CauseTemperatureRange:    checkTemperature,
	CauseProbesDisagree:      checkProbes,
	CauseProbeSilent:         checkSilent,
	CauseSampleFlowOff: func(_ *Watch, now dosing.Instant, t *tankState) {
		switchCheck(now, t, CauseSampleFlowOff, dosing.QuantitySampleFlow)
	},
	CauseCirculationOff:     checkCirculation,
	CauseLevelUnknown:       notFitCheck(CauseLevelUnknown, dosing.QuantityLevel),
	CauseLevelLow:           checkLevelLow,
	CauseLevelHigh:          checkLevelHigh,
	CauseLeak:               checkLeak,
	CauseFlood:              checkFlood,
	CauseOutletUnproved:     checkOutlet,
	CauseUncommandedRun:     checkUncommanded,
	CauseUnexplainedChange:  checkUnexplained,
	CauseBrokerDisconnected: checkBroker,
	CauseFarmSilent:         checkFarm,
	CauseLedgerUnavailable: func(w *Watch, now dosing.Instant, t *tankState) {
		if w.ledger == LedgerReady {
			t.lower(CauseLedgerUnavailable)
			return
		}
		if s := t.raise(now, CauseLedgerUnavailable, int64(w.ledger)); s != nil {
			s.detail = "the record is " + w.ledger.String()
		}
		if w.ledger == LedgerFull || w.ledger == LedgerBehind || w.ledger == LedgerUnreachable {
			t.as(CauseLedgerUnavailable, Hold, ScopeStation)
		}
	},
	CauseClockUntrusted: func(w *Watch, now dosing.Instant, t *tankState) {
		t.put(now, CauseClockUntrusted, w.backward, "uptime ran backwards")
	},
	CauseOtherController: func(w *Watch, now dosing.Instant, t *tankState) {
		t.put(now, CauseOtherController, w.other, w.otherWords)
	},
	CauseConfigurationUnsafe: func(_ *Watch, now dosing.Instant, t *tankState) {
		t.put(now, CauseConfigurationUnsafe, t.unsafe != "", t.unsafe)
	},
	CauseStarting: func(w *Watch, now dosing.Instant, t *tankState) {
		left := w.started + w.settle - now.Up
		if left <= 0 {
			t.lower(CauseStarting)
		} else if s := t.raise(now, CauseStarting, int64(left/time.Minute)); s != nil {
			s.detail = "dosing may begin in " + words(left)
		}
	},
	CauseDoseUncertain:  checkUncertain,
	CauseWrongDirection: checkResponses,
	CauseTooStrong: func(_ *Watch, _ dosing.Instant, t *tankState) {
		t.lower(CauseTooStrong) // only ever latched, by checkResponses and checkUnexplained
	},
	CauseMixingWait: func(_ *Watch, now dosing.Instant, t *tankState) {
		left := t.wait.until - now.Up
		if left <= 0 {
			t.lower(CauseMixingWait)
		} else if s := t.raise(now, CauseMixingWait, int64(left/time.Minute)); s != nil {
			s.detail = fmt.Sprintf("%s; %s to go", t.wait.why, words(left))
		}
	},
}

func checkStop(w *Watch, now dosing.Instant, t *tankState) {
	latchingSwitch(w, now, t, CauseStopInput, dosing.QuantityStop)
}

func checkLeak(w *Watch, now dosing.Instant, t *tankState) {
	latchingSwitch(w, now, t, CauseLeak, dosing.QuantityLeak)
}

// checkSolution holds at the first strange reading and latches when it stays: acid
// into a chlorine cleaner gives a poisonous gas, so the first dose is one too many.
func checkSolution(w *Watch, now dosing.Instant, t *tankState) {
	strange := w.look(t, now.Up)
	redox := &t.group[dosing.QuantityRedox]
	silent := redox.given && redox.standing != standFit
	switch {
	case t.doubt.why != "":
		t.put(now, CauseSolutionUnconfirmed, true, t.doubt.why)
		w.latch(now, &t.cells, CauseSolutionUnconfirmed, t.id, 0, t.doubt.why)
	case strange || silent:
		detail := "a reading that no nutrient solution has"
		if !strange {
			detail = "the redox probe does not answer"
		}
		t.put(now, CauseSolutionUnconfirmed, true, detail)
		t.as(CauseSolutionUnconfirmed, Hold, ScopeTank)
	default:
		t.lower(CauseSolutionUnconfirmed)
	}
}

func checkTemperature(_ *Watch, now dosing.Instant, t *tankState) {
	const inside = 0.5 // °C of hysteresis
	g := &t.group[dosing.QuantityTemperature]
	if g.standing != standFit {
		t.lower(CauseTemperatureRange) // CauseTemperatureInvalid stands instead
		return
	}
	low, high := float64(t.plant.MinTemperature), float64(t.plant.MaxTemperature)
	if t.active.has(CauseTemperatureRange) {
		low, high = low+inside, high-inside
	}
	if g.value >= low && g.value <= high {
		t.lower(CauseTemperatureRange)
	} else if s := t.raise(now, CauseTemperatureRange, int64(math.Round(g.value))); s != nil {
		s.detail = fmt.Sprintf("%.1f °C; allowed %s to %s", g.value, t.plant.MinTemperature, t.plant.MaxTemperature)
	}
}

// checkProbes trips when two probes of pH, EC or temperature disagree; for EC and
// temperature it stops the nutrients alone.
func checkProbes(w *Watch, now dosing.Instant, t *tankState) {
	for _, q := range [...]dosing.Quantity{dosing.QuantityPH, dosing.QuantityEC, dosing.QuantityTemperature} {
		g := &t.group[q]
		if g.standing != standDisagree {
			continue
		}
		if s := t.raise(now, CauseProbesDisagree, int64(q)); s != nil {
			s.detail = fmt.Sprintf("%s: %s; more than %g %s apart for %s", q, w.settings.Inputs[t.inputs[q][0]].Name,
				disagreement[q], q.Unit(), words(disagreeFor))
		}
		if q != dosing.QuantityPH {
			t.as(CauseProbesDisagree, Hold, ScopeNutrients)
		}
		return
	}
	t.lower(CauseProbesDisagree)
}

// checkCirculation holds at once. Water that stood is given one mixing time of
// flow; a sensor that was silent as long as it was silent, at most that.
func checkCirculation(w *Watch, now dosing.Instant, t *tankState) {
	g := &t.group[dosing.QuantityCirculation]
	switchCheck(now, t, CauseCirculationOff, dosing.QuantityCirculation)
	silent := t.silent.Since
	wasSilent := t.silent.Running
	t.silent.Run(g.given && g.standing != standFit, now.Up)
	switch {
	case g.adverse && g.lasting:
		if t.circulation.begin(now.Up) {
			w.latch(now, &t.cells, CauseCirculationOff, t.id, 0, "off for the third time in 24 h")
		}
		t.mix(now, t.plant.MixingTime(), "the circulation stood")
	case g.adverse:
		// Half a minute leaves nothing unmixed.
	case wasSilent && !t.silent.Running:
		t.mix(now, min(now.Up-silent, t.plant.MixingTime()), "the circulation's sensor was silent")
	case now.Up >= t.wait.until:
		t.circulation.on = false
	}
}

// checkLevelLow holds at once, except while a flood has taken the water: that is
// held by itself and no fault.
func checkLevelLow(w *Watch, now dosing.Instant, t *tankState) {
	g := &t.group[dosing.QuantityLevel]
	least := float64(t.plant.MinVolume)
	if t.low.on || t.active.has(CauseLevelLow) {
		least += float64(0.01 * float64(t.plant.Volume)) // hysteresis against waves
	}
	flooding := t.group[dosing.QuantityFlood].adverse || t.flood.Within(t.plant.PlumeTime(), now.Up)
	if g.standing != standFit || flooding || g.value >= least {
		t.lower(CauseLevelLow)
		t.lowSince.Run(false, now.Up)
		if now.Up >= t.wait.until {
			t.low.on = false
		}
		return
	}
	if s := t.raise(now, CauseLevelLow, int64(g.value/max(1, float64(t.plant.Volume)/50))); s != nil {
		s.detail = fmt.Sprintf("%.0f L; at least %.0f L", g.value, float64(t.plant.MinVolume))
	}
	if !w.persists(&t.lowSince, t, dosing.QuantityLevel, true, now.Up) {
		return
	}
	if t.low.begin(now.Up) {
		w.latch(now, &t.cells, CauseLevelLow, t.id, 0, "low for the third time in 24 h")
	}
	t.mix(now, t.plant.MixingTime(), "the level was low")
}

func checkLevelHigh(_ *Watch, now dosing.Instant, t *tankState) {
	g := &t.group[dosing.QuantityLevel]
	greatest := float64(t.plant.MaxVolume)
	if t.active.has(CauseLevelHigh) {
		greatest -= float64(0.01 * float64(t.plant.Volume))
	}
	if g.standing != standFit || g.value <= greatest {
		t.lower(CauseLevelHigh)
	} else if s := t.raise(now, CauseLevelHigh, int64(g.value/max(1, float64(t.plant.Volume)/50))); s != nil {
		s.detail = fmt.Sprintf("%.0f L; at most %.0f L", g.value, float64(t.plant.MaxVolume))
	}
}

func checkFlood(_ *Watch, now dosing.Instant, t *tankState) {
	switchCheck(now, t, CauseFlood, dosing.QuantityFlood)
	adverse := t.group[dosing.QuantityFlood].adverse
	if t.ahead.words != "" && !adverse {
		if s := t.raise(now, CauseFlood, 3+t.ahead.told); s != nil {
			s.detail = t.ahead.words
		}
	}
	if adverse || t.ahead.out {
		t.flood.Out(now.Up)
	}
	if t.flood.Away() {
		t.mix(now, t.plant.FloodWait(), "after a flood the level must come to rest and the water mix")
	}
}

// checkUncommanded latches when a node runs although no order of ours can be running.
// Work on a pump is done by hand, so maintenance excuses it.
func checkUncommanded(w *Watch, now dosing.Instant, t *tankState) {
	for i := range w.nodes {
		if t.operator.Maintenance || w.openOn(NodeID(i)) || !w.nodes[i].uncommanded(now.Up) {
			continue
		}
		if s := t.raise(now, CauseUncommandedRun, int64(i)); s != nil {
			s.detail = w.settings.Nodes[i].Name + " is busy without an order"
		}
		w.latch(now, &t.cells, CauseUncommandedRun, t.id, 0, "")
		return
	}
	t.lower(CauseUncommandedRun)
}

// linkedWithin is how long after the link came up its readings may take.
const linkedWithin = time.Minute

// checkBroker wants two good pH readings after the link came up: what the broker
// had kept for us says nothing of now.
func checkBroker(w *Watch, now dosing.Instant, t *tankState) {
	if !w.linkUp {
		t.linked = false
		if s := t.raise(now, CauseBrokerDisconnected, 0); s != nil {
			s.detail = "no link"
		}
		return
	}
	for _, id := range t.inputs[dosing.QuantityPH] {
		t.linked = t.linked || w.inputs[id].fits >= 2
	}
	if t.linked || now.Up-w.linkAt > linkedWithin && t.group[dosing.QuantityPH].standing != standFit {
		// A probe that stays away after the link came up has a cause of its own.
		t.lower(CauseBrokerDisconnected)
		return
	}
	if s := t.raise(now, CauseBrokerDisconnected, 1); s != nil {
		s.detail = "the link is up; waiting for two good pH readings"
	}
}

// checkFarm trips when the link is up and nothing at all arrives over it, for as long as
// the quickest sender may be silent: the network, and not each of its ends, is in trouble.
func checkFarm(w *Watch, now dosing.Instant, t *tankState) {
	since := max(w.heard, w.linkAt, w.started)
	if age := now.Up - since; w.linkUp && age > w.quiet {
		if s := t.raise(now, CauseFarmSilent, int64(age/time.Minute)); s != nil {
			s.detail = "for " + words(age)
		}
		return
	}
	t.lower(CauseFarmSilent)
}

func checkUncertain(_ *Watch, now dosing.Instant, t *tankState) {
	t.resolve(now.Up)
	if len(t.uncertain) == 0 {
		t.lower(CauseDoseUncertain)
		return
	}
	u := &t.uncertain[0]
	left := max(0, u.since+t.plant.MixingTime()-now.Up)
	if s := t.raise(now, CauseDoseUncertain, int64(left/time.Minute)); s != nil && !t.latched.has(CauseDoseUncertain) {
		s.detail = fmt.Sprintf("%s counted in full; %s to go", u.volume, words(left))
	}
}

// checkResponses asks what the doses of the tank have shown.
func checkResponses(w *Watch, now dosing.Instant, t *tankState) {
	t.lower(CauseWrongDirection) // only ever latched
	if t.responses == nil {
		return
	}
	if shown, found := t.responses.Judge(now, t.lnBuffer, t.spread); found {
		w.found(now, t, Finding{Cause: faultCauses[shown.Fault], Scope: reachScopes[shown.Reach], Pump: shown.Pump, Detail: shown.Detail})
	}
	w.checkProgress(now, t)
	w.checkAccounts(now, t)
}

// checkAccounts looks for evidence once in each bin of readings.
func (w *Watch) checkAccounts(now dosing.Instant, t *tankState) {
	commissioned, _ := t.buffers()
	index := t.responses.Track(response.Acid).Bin(now.Up)
	if index == t.accounted || !(commissioned > 0) {
		return
	}
	t.accounted, t.swings = index, t.turns.swings(now.Up)
	s := sight{watch: w, now: now, tank: t}
	s.gather()
	acid := &t.accounts[response.Acid]
	if idle := -s.credit - acid.given; idle > 0 { // alkalinity that no acid met in a mixing time
		acid.given += idle
		acid.met = max(acid.met-idle, 0)
	}
	for class, onWay := range [...]float64{s.transit.acid, s.transit.base, s.transit.ec} {
		a := &t.accounts[class]
		limit := a.limit(t, commissioned)
		if a.restored {
			// The record holds amounts and not the buffer: full is full.
			a.restored, a.given = false, min(a.given, limit)
		}
		a.tasted(t, now.Up)
		if a.confirm(t, now.Up, onWay, commissioned) && a.class != response.Stock {
			acid.met = 0 // base that is answered shows the same probe alive
		}
		a.fill(limit)
		a.silent = a.tests >= maxTests && (a.silent || now.Up-a.last >= t.patience())
	}
}
