package controller

import (
	"leat/dosing"
	"leat/safety"
	"leat/safety/ledger"
)

// modes keeps the mode of each tank and what people said that withholds doses: pauses,
// work on probes, cleanings, water that nobody confirmed.
type modes struct {
	*station
	wishes     *wishes
	interlocks *interlocks
	accounts   *accounts
	other      bool // another controller owns the station or gives orders
	otherWords string
}

// askMore handles what lets more happen: the record goes first.
func (m *modes) askMore(now dosing.Instant, r *Request) {
	t := &m.tanks[r.Tank]
	switch r.Kind {
	case RequestArm:
		if m.other && m.otherWords != "" {
			m.refuse(r, m.otherWords)
			return
		}
		if m.watch.Mode(r.Tank) == safety.ModeStopped {
			m.refuse(r, "stopped: clear it first, saying what was checked")
			return
		}
		m.wishes.awaitMore(now, r, ledger.Change{Kind: ledger.ChangeMode, Text: safety.ModeArmed.String()}, "accepted")
	case RequestResume:
		switch {
		case t.operator.Cleaning:
			m.refuse(r, "a cleaning is under way: confirm the water instead")
		case !t.operator.Paused && !t.operator.Maintenance && !t.operator.ECDoubted:
			m.refuse(r, "nothing is paused"+m.wishes.standing(r))
		default:
			m.wishes.awaitMore(now, r, ledger.Change{Kind: ledger.ChangePause}, "resumed")
		}
	case RequestClear:
		if r.Note == "" {
			m.refuse(r, "say in the note what was checked")
			return
		}
		if m.wishes.mayWish(r) {
			m.clearPumps(now, r)
			m.wishes.await(now, wish{request: *r, text: "cleared"}, ledger.Change{Kind: ledger.ChangeClear})
		}
	case RequestConfirmWater:
		if r.Note == "" {
			m.refuse(r, `say in the note: water or nutrient solution, no disinfectant, rinsed`)
			return
		}
		filling, refusal := m.accounts.fillingOf(now, r)
		if refusal != "" {
			m.refuse(r, refusal)
			return
		}
		m.wishes.awaitMore(now, r, ledger.Change{Kind: ledger.ChangeConfirmed, Text: filling}, "confirmed: water or nutrient solution, no disinfectant, rinsed")
	}
}

// clearPumps writes that the stops of the tank's pumps are cleared. They may have been
// recorded under another tank that the pump serves.
func (m *modes) clearPumps(now dosing.Instant, r *Request) {
	for _, trip := range m.watch.Trips(r.Tank) {
		if trip.Latched && trip.Scope == safety.ScopePump {
			m.change(ledger.Change{Kind: ledger.ChangeClear, At: now, Tank: m.tankName(r.Tank), Pump: m.settings.Safety.Pumps[trip.Pump].Name,
				Text: trip.Cause.String(), Note: r.Note, By: r.By, From: r.From})
		}
	}
}

// askLess ends dosing until a person arms the tank again.
func (m *modes) askLess(now dosing.Instant, r *Request) {
	t := &m.tanks[r.Tank]
	mode, text := safety.ModeObserving, "observing: reads and decides aloud, doses nothing"
	if r.Kind == RequestStop {
		mode, text = safety.ModeStopped, "stopped; only a person clears it. This is not an emergency stop: use the hard-wired one"
		m.out.Stops = append(m.out.Stops, StopOrder{Tank: r.Tank, All: true})
	} else if t.mode == safety.ModeStopped {
		m.refuse(r, "stopped: clear it first, saying what was checked")
		return
	}
	m.wishes.lessen(now, r.Tank, "a person asked for "+r.Kind.String(), r.By, r.From)
	if t.mode == mode && t.disarmed == "" {
		m.accept(r, text)
		return
	}
	m.set(now, r.Tank, mode)
	m.wishes.awaitLess(now, r, ledger.Change{Kind: ledger.ChangeMode, Text: mode.String()}, text)
}

// askOperator begins a pause, work on probes or pumps, or a cleaning.
func (m *modes) askOperator(now dosing.Instant, r *Request) {
	t := &m.tanks[r.Tank]
	until, err := Until(r.Until, now.Wall)
	if r.Kind == RequestPause && err != nil {
		m.refuse(r, err.Error())
		return
	}
	m.wishes.lessen(now, r.Tank, "a person asked for "+r.Kind.String(), r.By, r.From)
	state, row, text := t.operator, ledger.Change{Kind: ledger.ChangePause, Text: r.Kind.String()}, ""
	switch r.Kind {
	case RequestPause:
		state.Paused, text, t.pauseEnd, row.Until = true, "paused", 0, until
		if !until.IsZero() {
			t.pauseEnd = now.Up + until.Sub(now.Wall)
			text += " " + endWords(until, now.Wall)
		}
	case RequestMaintenance:
		state.Maintenance, text = true, "work on probes or pumps: no dose until it is resumed"
	case RequestCleaning:
		state.Cleaning, text = true, "cleaning: no dose until a person confirms the water"
		m.change(ledger.Change{Kind: ledger.ChangeUnconfirmed, At: now, Tank: t.plant.Name, Text: "cleaning", Note: r.Note, By: r.By, From: r.From})
		state.Unconfirmed, state.Why = true, "a cleaning was entered"
	}
	m.setOperator(now, r.Tank, state)
	m.wishes.awaitLess(now, r, row, text)
}

func (m *modes) setOperator(now dosing.Instant, id dosing.TankID, state safety.OperatorState) {
	m.tanks[id].operator = state
	m.watch.SetState(now, id, state)
	m.interlocks.evaluate(now)
}

// endPauses ends pauses whose time has come. The record has known their end since
// they began, and work on probes or a cleaning entered meanwhile goes on.
func (m *modes) endPauses(now dosing.Instant) {
	for i := range m.tanks {
		t := &m.tanks[i]
		if t.pauseEnd == 0 || now.Up < t.pauseEnd {
			continue
		}
		t.pauseEnd = 0
		t.operator.Paused = false
		m.watch.SetState(now, dosing.TankID(i), t.operator)
		m.change(ledger.Change{Kind: ledger.ChangePause, At: now, Tank: t.plant.Name, Text: RequestPause.String(), Until: now.Wall, By: "leat",
			Note: "the pause's time was over"})
		m.notice(Notice{Kind: NoticeChange, Tank: dosing.TankID(i), Text: "pause: its time is over"})
	}
}

// takeEffect lets more happen, as a person asked.
func (m *modes) takeEffect(now dosing.Instant, id dosing.TankID, kind RequestKind) {
	t := &m.tanks[id]
	switch kind {
	case RequestArm:
		if t.mode == safety.ModeObserving {
			m.set(now, id, safety.ModeArmed)
		}
	case RequestClear:
		m.watch.Clear(now, id)
		m.set(now, id, safety.ModeObserving)
	case RequestConfirmWater:
		t.operator.Unconfirmed, t.operator.Cleaning, t.operator.Why = false, false, ""
		m.watch.Confirm(now, id)
		m.watch.SetState(now, id, t.operator)
		// Other water, other buffer.
		t.unlearn()
		m.watch.Serviced(now, id)
	case RequestResume:
		t.operator.Paused, t.operator.Maintenance, t.operator.ECDoubted, t.pauseEnd = false, false, false, 0
		m.watch.SetState(now, id, t.operator)
	}
}

// set changes the mode. Who does it records it.
func (m *modes) set(now dosing.Instant, id dosing.TankID, mode safety.Mode) {
	m.tanks[id].mode, m.tanks[id].disarmed = mode, ""
	m.watch.SetMode(now, id, mode)
	m.interlocks.evaluate(now)
}

// disarm lets an armed tank only observe, without a person's word: a person is told,
// until one has spoken.
func (m *modes) disarm(now dosing.Instant, id dosing.TankID, why string) {
	m.set(now, id, safety.ModeObserving)
	m.tanks[id].disarmed = why
	m.recordDisarmed(now, id)
}
