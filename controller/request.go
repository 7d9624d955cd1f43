package controller

import (
	"fmt"
	"time"

	"leat/dosing"
	"leat/safety"
	"leat/safety/alarm"
	"leat/safety/ledger"
)

// request answers a person. What lets less happen takes effect at once and takes away
// what was asked before and lets more happen; that takes effect when its row is
// durable.
func (c *Core) request(now dosing.Instant, r *Request) {
	if int(r.Tank) >= len(c.tanks) {
		c.refuse(r, "there is no such tank")
		return
	}
	if why := notPlain(r); why != "" {
		r.By = "?"
		c.refuse(r, why)
		return
	}
	if r.Role < r.Kind.Needs() {
		c.refuse(r, fmt.Sprintf("%s needs the role %s; you have %s", r.Kind, r.Kind.Needs(), r.Role))
		return
	}
	switch r.Kind {
	case RequestSetpoint:
		c.askSetpoint(now, r)
	case RequestArm, RequestResume, RequestClear, RequestConfirmWater:
		c.askMore(now, r)
	case RequestObserve, RequestStop:
		c.askLess(now, r)
	case RequestPause, RequestMaintenance, RequestCleaning:
		c.askOperator(now, r)
	case RequestServiced:
		c.tanks[r.Tank].loops.ResetLearning()
		c.watch.Serviced(now, r.Tank)
		c.awaitLess(now, r, ledger.Change{Kind: ledger.ChangeServiced}, "noted; what was learned of this tank starts anew")
	case RequestRefill:
		c.askRefill(now, r)
	case RequestMark:
		c.askMark(now, r)
	case RequestCalibrate:
		c.askCalibrate(now, r)
	case RequestEndHoliday:
		c.askEndHoliday(now, r)
	case RequestPumpRate:
		c.askPumpRate(now, r)
	case RequestNewTube:
		c.askNewTube(now, r)
	case RequestHandDose:
		c.askHandDose(now, r)
	case RequestVoid:
		c.askVoid(now, r)
	case RequestRaiseEpoch:
		c.askRaiseEpoch(now, r)
	case RequestAnalysis:
		c.askAnalysis(now, r)
	case RequestAcknowledge:
		c.acknowledge(r)
	case RequestShelve:
		if r.For <= 0 || r.For > 24*time.Hour {
			c.refuse(r, "shelve for more than nothing and at most 24 h")
			return
		}
		if !c.alarms.Shelve(now, r.Tank, r.Cause, r.For) {
			c.refuse(r, fmt.Sprintf("no alarm %s stands", r.Cause))
			return
		}
		c.accept(r, fmt.Sprintf("%s shelved for %s; its interlock is not lifted by that", r.Cause, r.For))
	default:
		c.refuse(r, "not a request")
	}
	c.out.Changed = true
}

func (c *Core) refuse(r *Request, text string) {
	c.out.Answers = append(c.out.Answers, Answer{Request: r.ID, Kind: r.Kind, Tank: r.Tank, Quantity: r.Quantity, New: r.Value, Text: text, From: r.From, By: r.By})
	c.notice(Notice{Kind: NoticeRefused, Tank: r.Tank, Text: r.Kind.String() + ": " + text})
}

func (c *Core) accept(r *Request, text string) {
	c.out.Answers = append(c.out.Answers, Answer{Request: r.ID, Kind: r.Kind, Tank: r.Tank, Quantity: r.Quantity, New: r.Value, Accepted: true, Text: text, From: r.From, By: r.By})
	c.notice(Notice{Kind: NoticeChange, Tank: r.Tank, Text: r.Kind.String() + ": " + text})
}

// acknowledge notes that a person knows of an alarm; of one that is known already
// nothing is written a second time.
func (c *Core) acknowledge(r *Request) {
	switch was := c.alarms.Acknowledge(r.Tank, r.Cause); was {
	case alarm.Normal:
		c.refuse(r, fmt.Sprintf("no alarm %s stands", r.Cause))
	case alarm.Unacknowledged:
		c.accept(r, fmt.Sprintf("%s acknowledged; its interlock is not lifted by that", r.Cause))
	case alarm.ReturnedUnacknowledged:
		c.accept(r, fmt.Sprintf("%s acknowledged; it is over", r.Cause))
	default:
		text := fmt.Sprintf("%s is %s already; nothing to acknowledge", r.Cause, was)
		if was == alarm.Latched {
			text = fmt.Sprintf("%s is acknowledged already; it stays until a person clears it", r.Cause)
		}
		c.out.Answers = append(c.out.Answers, Answer{Request: r.ID, Kind: r.Kind, Tank: r.Tank, Accepted: true, Text: text, From: r.From, By: r.By})
	}
}

// askMore handles what lets more happen: the record goes first.
func (c *Core) askMore(now dosing.Instant, r *Request) {
	t := &c.tanks[r.Tank]
	switch r.Kind {
	case RequestArm:
		if c.other && c.otherWords != "" {
			c.refuse(r, c.otherWords)
			return
		}
		if c.watch.Mode(r.Tank) == safety.ModeStopped {
			c.refuse(r, "stopped: clear it first, saying what was checked")
			return
		}
		c.awaitMore(now, r, ledger.Change{Kind: ledger.ChangeMode, Text: safety.ModeArmed.String()}, "accepted")
	case RequestResume:
		switch {
		case t.operator.Cleaning:
			c.refuse(r, "a cleaning is under way: confirm the water instead")
		case !t.operator.Paused && !t.operator.Maintenance:
			c.refuse(r, "nothing is paused"+c.standing(r))
		default:
			c.awaitMore(now, r, ledger.Change{Kind: ledger.ChangePause}, "resumed")
		}
	case RequestClear:
		if r.Note == "" {
			c.refuse(r, "say in the note what was checked")
			return
		}
		if c.mayWish(r) {
			c.clearPumps(now, r)
			c.await(now, wish{request: *r, text: "cleared"}, ledger.Change{Kind: ledger.ChangeClear})
		}
	case RequestConfirmWater:
		if r.Note == "" {
			c.refuse(r, `say in the note: water or nutrient solution, no disinfectant, rinsed`)
			return
		}
		filling, refusal := c.fillingOf(now, r)
		if refusal != "" {
			c.refuse(r, refusal)
			return
		}
		c.awaitMore(now, r, ledger.Change{Kind: ledger.ChangeConfirmed, Text: filling}, "confirmed: water or nutrient solution, no disinfectant, rinsed")
	}
}

// clearPumps writes that the stops of the tank's pumps are cleared. They may have been
// recorded under another tank that the pump serves.
func (c *Core) clearPumps(now dosing.Instant, r *Request) {
	for _, trip := range c.watch.Trips(r.Tank) {
		if trip.Latched && trip.Scope == safety.ScopePump {
			c.change(ledger.Change{Kind: ledger.ChangeClear, At: now, Tank: c.tankName(r.Tank), Pump: c.settings.Safety.Pumps[trip.Pump].Name,
				Text: trip.Cause.String(), Note: r.Note, By: r.By, From: r.From})
		}
	}
}

// askLess ends dosing until a person arms the tank again.
func (c *Core) askLess(now dosing.Instant, r *Request) {
	t := &c.tanks[r.Tank]
	mode, text := safety.ModeObserving, "observing: reads and decides aloud, doses nothing"
	if r.Kind == RequestStop {
		mode, text = safety.ModeStopped, "stopped; only a person clears it. This is not an emergency stop: use the hard-wired one"
		c.out.Stops = append(c.out.Stops, StopOrder{Tank: r.Tank, All: true})
	} else if t.mode == safety.ModeStopped {
		c.refuse(r, "stopped: clear it first, saying what was checked")
		return
	}
	c.lessen(now, r.Tank, "a person asked for "+r.Kind.String(), r.By, r.From)
	if t.mode == mode && t.disarmed == "" {
		c.accept(r, text)
		return
	}
	c.setMode(now, r.Tank, mode)
	c.awaitLess(now, r, ledger.Change{Kind: ledger.ChangeMode, Text: mode.String()}, text)
}

// askOperator begins a pause, work on probes or pumps, or a cleaning.
func (c *Core) askOperator(now dosing.Instant, r *Request) {
	t := &c.tanks[r.Tank]
	until, err := Until(r.Until, now.Wall)
	if r.Kind == RequestPause && err != nil {
		c.refuse(r, err.Error())
		return
	}
	c.lessen(now, r.Tank, "a person asked for "+r.Kind.String(), r.By, r.From)
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
		c.change(ledger.Change{Kind: ledger.ChangeUnconfirmed, At: now, Tank: t.plant.Name, Text: "cleaning", Note: r.Note, By: r.By, From: r.From})
		state.Unconfirmed, state.Why = true, "a cleaning was entered"
	}
	c.setOperator(now, r.Tank, state)
	c.awaitLess(now, r, row, text)
}

func (c *Core) setOperator(now dosing.Instant, id dosing.TankID, state safety.OperatorState) {
	c.tanks[id].operator = state
	c.watch.SetState(now, id, state)
	c.evaluate(now)
}

// endPauses ends pauses whose time has come. The record has known their end since
// they began, and work on probes or a cleaning entered meanwhile goes on.
func (c *Core) endPauses(now dosing.Instant) {
	for i := range c.tanks {
		t := &c.tanks[i]
		if t.pauseEnd == 0 || now.Up < t.pauseEnd {
			continue
		}
		t.pauseEnd = 0
		t.operator.Paused = false
		c.watch.SetState(now, dosing.TankID(i), t.operator)
		c.change(ledger.Change{Kind: ledger.ChangePause, At: now, Tank: t.plant.Name, Text: RequestPause.String(), Until: now.Wall, By: "leat",
			Note: "the pause's time was over"})
		c.notice(Notice{Kind: NoticeChange, Tank: dosing.TankID(i), Text: "pause: its time is over"})
	}
}

// recorded is told that a row is durable: the wish that it is of takes effect now, if
// it has not been taken away, and is answered from the state after it.
func (c *Core) recorded(now dosing.Instant, change ledger.Change) {
	id, ok := c.tankNamed(change.Tank)
	if !ok {
		return
	}
	if change.Kind == ledger.ChangeHandVoid {
		c.voided(change.Text)
		c.evaluate(now)
		c.out.Changed = true
		return
	}
	w := c.written(id, change.Ticket)
	if w == nil {
		return
	}
	accepted := true
	switch w.request.Kind {
	case RequestSetpoint:
		accepted = c.setpointWritten(now, w, change)
	case RequestAnalysis:
		c.analysed(now, id, change)
	case RequestRaiseEpoch:
		c.epochRaised(now, change)
	case RequestEndHoliday:
		c.holidayEnded(id, change.Text, change.At.Wall)
	case RequestCalibrate:
		if change.Kind == ledger.ChangeCalibration {
			c.calibrated(now, id, change)
		}
	case RequestArm, RequestResume, RequestClear, RequestConfirmWater:
		c.takeEffect(now, id, w.request.Kind)
		if w.request.Kind == RequestConfirmWater {
			c.filled(now, id, change)
		}
	}
	c.evaluate(now)
	w.text += c.standing(&w.request)
	if !w.inForce || !w.told {
		c.reply(w, accepted, w.text)
	}
	c.out.Changed = true
}

// takeEffect lets more happen, as a person asked.
func (c *Core) takeEffect(now dosing.Instant, id dosing.TankID, kind RequestKind) {
	t := &c.tanks[id]
	switch kind {
	case RequestArm:
		if t.mode == safety.ModeObserving {
			c.setMode(now, id, safety.ModeArmed)
		}
	case RequestClear:
		c.watch.Clear(now, id)
		c.setMode(now, id, safety.ModeObserving)
	case RequestConfirmWater:
		t.operator.Unconfirmed, t.operator.Cleaning, t.operator.Why = false, false, ""
		c.watch.Confirm(now, id)
		c.watch.SetState(now, id, t.operator)
		// Other water, other buffer.
		t.loops.ResetLearning()
		c.watch.Serviced(now, id)
	case RequestResume:
		t.operator.Paused, t.operator.Maintenance, t.pauseEnd = false, false, 0
		t.calibrating = atWork{rows: t.calibrating.rows}
		c.watch.SetState(now, id, t.operator)
	}
}

// setMode changes the mode. Who does it records it.
func (c *Core) setMode(now dosing.Instant, id dosing.TankID, mode safety.Mode) {
	c.tanks[id].mode, c.tanks[id].disarmed = mode, ""
	c.watch.SetMode(now, id, mode)
	c.evaluate(now)
}

// disarm lets an armed tank only observe, without a person's word: a person is told,
// until one has spoken.
func (c *Core) disarm(now dosing.Instant, id dosing.TankID, why string) {
	c.setMode(now, id, safety.ModeObserving)
	c.tanks[id].disarmed = why
	c.recordDisarmed(now, id)
}

func (c *Core) recordDisarmed(now dosing.Instant, id dosing.TankID) {
	c.change(ledger.Change{Kind: ledger.ChangeDisarmed, At: now, Tank: c.tankName(id), Text: c.tanks[id].disarmed, By: "leat"})
}
