package safety

import (
	"math"
	"time"

	"leat/dosing"
)

// people takes what persons, the link, the record and the loops say beside readings.
type people struct {
	*state
	senses     *senses
	linkUp     bool
	linkAt     time.Duration // when it last came up
	ledger     LedgerState
	other      bool
	otherWords string
}

// Rejected notes that a payload of an input was refused: it did not even parse, or
// cannot be. A few in a row make the input invalid before its last reading is stale.
func (sn *senses) Rejected(now dosing.Instant, in dosing.InputID, text string) {
	if int(in) >= len(sn.inputs) {
		return
	}
	sn.told = true
	sn.heard = max(sn.heard, now.Up)
	i := &sn.inputs[in]
	i.rejects, i.rejectAt = min(i.rejects+1, rejectsFail), now.Up
	i.rejectText = "last message refused: " + text
}

// Link says whether the link to the broker is up.
func (pe *people) Link(now dosing.Instant, up bool) {
	if up && !pe.linkUp {
		// What came before the outage proves nothing about the time in it.
		for i := range pe.inputs {
			pe.inputs[i].fits = 0
		}
		for i := range pe.tanks {
			pe.tanks[i].linked = false
		}
		pe.linkAt = now.Up
		for i := range pe.nodes {
			pe.nodes[i].expect(now.Up + pe.longestRun(NodeID(i)))
		}
	}
	pe.linkUp, pe.told = up, true
}

// SetLedger says whether the record can be written.
func (pe *people) SetLedger(_ dosing.Instant, state LedgerState) { pe.ledger, pe.told = state, true }

// OtherController says whether another controller owns the station or was seen to give
// orders here, and in words which.
func (pe *people) OtherController(_ dosing.Instant, present bool, which string) {
	pe.other, pe.otherWords, pe.told = present, which, true
}

// FloodAhead tells of a zone that leat runs why no dose may go in for the sake of a flood,
// empty = none is near, and whether its node says that water is out on a bench.
func (pe *people) FloodAhead(id dosing.TankID, words string, out bool) {
	if int(id) >= len(pe.tanks) {
		return
	}
	if t := &pe.tanks[id]; t.ahead.words != words || t.ahead.out != out {
		t.ahead, pe.told = ahead{words, out, t.ahead.told + 1}, true
	}
}

// Jumped tells that the wall clock stepped. It changes nothing here: no age and no
// wait depends on the wall clock, and a dose must not either. The step is recorded
// by the caller.
func (pe *people) Jumped(dosing.Instant, time.Duration) { pe.told = true }

// SetMode sets what the tank may do. Anything but armed, observing and stopped
// is observing.
func (pe *people) SetMode(_ dosing.Instant, id dosing.TankID, m Mode) {
	if int(id) >= len(pe.tanks) {
		return
	}
	if m != ModeArmed && m != ModeStopped {
		m = ModeObserving
	}
	pe.tanks[id].mode, pe.told = m, true
}

// Mode is what the tank does: as set, but stopped while a trip that only a person
// clears reaches the whole tank, and holding while an armed tank is wholly held. A
// hold of the nutrients alone leaves it armed: pH goes on.
func (st *state) Mode(id dosing.TankID) Mode {
	if int(id) >= len(st.tanks) {
		return ModeObserving
	}
	t := &st.tanks[id]
	mode := t.mode
	for i := range t.trips {
		trip := &t.trips[i]
		if trip.Scope > ScopeTank || trip.Cause == CauseObserving || trip.Action >= Run {
			continue
		}
		if trip.Latched || trip.Action == Stop {
			return ModeStopped
		}
		if mode == ModeArmed {
			mode = ModeHolding
		}
	}
	return mode
}

// SetState sets what people have entered for the tank. Entering a cleaning, or
// that the solution is unconfirmed, outlives everything but Confirm.
func (pe *people) SetState(now dosing.Instant, id dosing.TankID, state OperatorState) {
	if int(id) >= len(pe.tanks) {
		return
	}
	t := &pe.tanks[id]
	before := t.operator
	t.operator, pe.told = state, true
	if before.Maintenance && !state.Maintenance {
		pe.senses.believe(id)
	}
	if state.Unconfirmed || state.Cleaning {
		why := state.Why
		if why == "" {
			why = "a cleaning was entered"
		}
		t.unconfirm(now, why)
	} else if before.Unconfirmed {
		pe.Confirm(now, id)
	}
}

// Confirm says that a person has looked: water or nutrient solution, no
// disinfectant, rinsed. A pH that was strange then is believed until it has been
// ordinary again.
func (pe *people) Confirm(now dosing.Instant, id dosing.TankID) {
	if int(id) >= len(pe.tanks) {
		return
	}
	pe.told = true
	t := &pe.tanks[id]
	t.operator.Unconfirmed, t.operator.Cleaning = false, false
	t.latched.Remove(CauseSolutionUnconfirmed)
	t.active.Remove(CauseSolutionUnconfirmed)
	t.doubt.confirm()
	t.unexplained = unexplained{}
	t.water.forget()
	t.warmth, t.silence = warmth{}, silence{}
	pe.senses.believe(id)
	t.water.unexplained = 0
	if t.responses != nil {
		t.responses.Disturbed()
	}
	t.mix(now, t.plant.MixingTime(), "the water was confirmed")
}

// Aim tells what the tank is steered to now. Without it nothing is dosed.
func (pe *people) Aim(id dosing.TankID, target dosing.Target) {
	if int(id) >= len(pe.tanks) {
		return
	}
	if pe.tanks[id].target == target {
		return // it is told every second
	}
	pe.told = true
	pH, ec := float64(target.PH), float64(target.EC)
	pe.tanks[id].target = target
	pe.tanks[id].aimed = pH >= plausible[dosing.QuantityPH][0] && pH <= plausible[dosing.QuantityPH][1] && ec > 0 && ec <= plausible[dosing.QuantityEC][1]
}

// Learned tells mean and sd of ln(buffer scale) and how many pools of doses have
// been answered. What is not a number is refused: the gate then supposes that
// nothing was learned.
func (pe *people) Learned(id dosing.TankID, mean, spread float64, answered int) {
	if int(id) >= len(pe.tanks) {
		return
	}
	t := &pe.tanks[id]
	if math.IsNaN(mean) || math.IsInf(mean, 0) || !(spread > 0) || math.IsInf(spread, 0) {
		mean, spread, answered = 0, dosing.UnmeasuredSpread, 0
	}
	t.lnBuffer, t.spread, t.answered = mean, spread, max(answered, 0)
}

// Measured tells the sd of ln(buffer capacity) that a titration has left; 0 = none was made.
func (pe *people) Measured(id dosing.TankID, spread float64) {
	if int(id) < len(pe.tanks) && !math.IsNaN(spread) {
		pe.tanks[id].titrated = spread
	}
}

// Serviced says that a pump or probe was serviced, a stock refilled or a filling
// changed: what was learned before says nothing any more.
func (pe *people) Serviced(_ dosing.Instant, id dosing.TankID) {
	if int(id) >= len(pe.tanks) {
		return
	}
	pe.told = true
	t := &pe.tanks[id]
	t.lnBuffer, t.spread, t.answered, t.titrated = 0, dosing.UnmeasuredSpread, 0, 0
	t.unexplained = unexplained{}
	for class := range t.accounts {
		t.accounts[class].untrust()
	}
	t.water.forget()
	t.warmth, t.silence = warmth{}, silence{}
	pe.senses.believe(id)
	if t.responses != nil {
		t.responses.Reset()
	}
}

// Calibrated tells how healthy a calibration found a probe.
func (sn *senses) Calibrated(id dosing.InputID, health dosing.Quality) {
	if int(id) < len(sn.inputs) {
		sn.inputs[id].health, sn.told = health, true
	}
}

// believe takes the next reading of each probe of a tank as it is, however far it
// lies from the last: a person says that the probe or the water was changed. What was
// given to the water before says nothing of how it answers now.
func (sn *senses) believe(id dosing.TankID) {
	sn.tanks[id].progressPH, sn.tanks[id].progressEC = progress{}, progress{}
	for i := range sn.inputs {
		if in := &sn.inputs[i]; in.probe && in.tank == id {
			in.based, in.jump, in.load, in.steps = false, jumpState{}, load{}, steps{lag: in.steps.lag}
		}
	}
}
