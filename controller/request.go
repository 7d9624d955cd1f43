package controller

import (
	"fmt"
	"time"

	"leat/dosing"
	"leat/safety"
	"leat/safety/ledger"
)

// request answers a person. A change that lets less happen takes effect at once; a
// change that lets more happen takes effect when its record is durable.
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
	case RequestArm, RequestClear, RequestConfirmWater:
		c.askMore(now, r)
	case RequestObserve:
		if c.tanks[r.Tank].mode == safety.ModeStopped {
			c.refuse(r, "stopped: clear it first, saying what was checked")
			return
		}
		c.setMode(now, r.Tank, safety.ModeObserving, r.By, r.From, r.Note)
		c.accept(r, "observing: reads and decides aloud, doses nothing")
	case RequestStop:
		c.setMode(now, r.Tank, safety.ModeStopped, r.By, r.From, r.Note)
		c.out.Stops = append(c.out.Stops, StopOrder{Tank: r.Tank, All: true})
		c.accept(r, "stopped; only a person clears it. This is not an emergency stop: use the hard-wired one")
	case RequestPause, RequestResume, RequestMaintenance, RequestCleaning:
		c.askOperator(now, r)
	case RequestServiced:
		c.tanks[r.Tank].loops.ResetLearning()
		c.watch.Serviced(now, r.Tank)
		c.record(now, r, ledger.ChangeServiced, "")
		c.accept(r, "noted; what was learned of this tank starts anew")
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
	case safety.AlarmNormal:
		c.refuse(r, fmt.Sprintf("no alarm %s stands", r.Cause))
	case safety.AlarmUnacknowledged:
		c.accept(r, fmt.Sprintf("%s acknowledged; its interlock is not lifted by that", r.Cause))
	case safety.AlarmReturnedUnacknowledged:
		c.accept(r, fmt.Sprintf("%s acknowledged; it is over", r.Cause))
	default:
		text := fmt.Sprintf("%s is %s already; nothing to acknowledge", r.Cause, was)
		if was == safety.AlarmLatched {
			text = fmt.Sprintf("%s is acknowledged already; it stays until a person clears it", r.Cause)
		}
		c.out.Answers = append(c.out.Answers, Answer{Request: r.ID, Kind: r.Kind, Tank: r.Tank, Accepted: true, Text: text, From: r.From, By: r.By})
	}
}

func (c *Core) record(now dosing.Instant, r *Request, kind ledger.ChangeKind, text string) {
	c.change(ledger.Change{Kind: kind, At: now, Tank: c.tankName(r.Tank), Text: text, Note: r.Note, By: r.By, From: r.From})
}

// askSetpoint judges a wish for a setpoint. The answer tells old, new and bounds
// whether or not it was taken.
func (c *Core) askSetpoint(now dosing.Instant, r *Request) {
	t := &c.tanks[r.Tank]
	s := &t.ph
	switch r.Quantity {
	case dosing.QuantityPH:
	case dosing.QuantityEC:
		s = &t.ec
	default:
		c.refuse(r, "only ph and ec have a setpoint")
		return
	}
	until, err := endOf(r.Until, now.Wall)
	name := map[dosing.Quantity]string{dosing.QuantityPH: "pH", dosing.QuantityEC: "EC"}[r.Quantity]
	refused, token, why := s.judge(now, name, r.Value, r.Confirm)
	answer := Answer{Request: r.ID, Kind: r.Kind, Tank: r.Tank, Quantity: r.Quantity, Old: s.target, New: r.Value,
		Lowest: s.limits.Lowest, Highest: s.limits.Highest, From: r.From, By: r.By}
	switch {
	case refused != "":
		answer.Text = refused
	case err != nil:
		answer.Text = err.Error()
	case token != "":
		answer.Text, answer.Confirm = why+"; to take it all the same, confirm within 2 minutes", token
	default:
		answer.Accepted = true
		answer.Text = fmt.Sprintf("%s %s → %s%s", name, number(s.target), number(r.Value), s.rampWords(r.Value))
		c.change(ledger.Change{Kind: ledger.ChangeSetpoint, At: now, Tank: t.plant.Name, Quantity: r.Quantity, Old: s.target,
			Value: r.Value, FileValue: s.limits.Value, Until: until, Note: r.Note, By: r.By, From: r.From})
	}
	kind := NoticeRefused
	if answer.Accepted {
		kind = NoticeChange
	}
	c.out.Answers = append(c.out.Answers, answer)
	c.notice(Notice{Kind: kind, Tank: r.Tank, Text: "setpoint: " + answer.Text})
}

func (s *setpoint) rampWords(value float64) string {
	gap := value - s.present
	if gap < 0 && !s.limits.RampDownward || s.limits.RampPerHour <= 0 {
		return ", at once"
	}
	minutes := max(gap, -gap) / s.limits.RampPerHour * 60
	return fmt.Sprintf(", along a ramp of %s per hour, there in %.0f min", number(s.limits.RampPerHour), minutes)
}

// askMore handles what lets more happen: the record goes first.
func (c *Core) askMore(now dosing.Instant, r *Request) {
	switch r.Kind {
	case RequestArm:
		if c.watch.Mode(r.Tank) == safety.ModeStopped {
			c.refuse(r, "stopped: clear it first, saying what was checked")
			return
		}
		c.change(ledger.Change{Kind: ledger.ChangeMode, At: now, Tank: c.tankName(r.Tank), Text: safety.ModeArmed.String(), Note: r.Note, By: r.By, From: r.From})
		c.accept(r, "armed; it doses as soon as no interlock holds it")
	case RequestClear:
		if r.Note == "" {
			c.refuse(r, "say in the note what was checked")
			return
		}
		c.record(now, r, ledger.ChangeClear, "")
		c.accept(r, "cleared; now observing, arm it to dose")
	case RequestConfirmWater:
		if r.Note == "" {
			c.refuse(r, `say in the note: water or nutrient solution, no disinfectant, rinsed`)
			return
		}
		c.record(now, r, ledger.ChangeConfirmed, "")
		c.accept(r, "confirmed: water or nutrient solution, no disinfectant, rinsed")
	}
}

// askOperator begins or ends a pause, work on probes or pumps, or a cleaning.
func (c *Core) askOperator(now dosing.Instant, r *Request) {
	t := &c.tanks[r.Tank]
	state, text := t.operator, ""
	var until time.Time
	switch r.Kind {
	case RequestPause:
		state.Paused, text = true, "paused"
		var err error
		if until, err = endOf(r.Until, now.Wall); err != nil {
			c.refuse(r, err.Error())
			return
		}
		t.pauseEnd = 0
		if !until.IsZero() {
			t.pauseEnd = now.Up + until.Sub(now.Wall)
			text += " until " + until.Format("15:04")
		}
	case RequestMaintenance:
		state.Maintenance, text = true, "work on probes or pumps: no dose until it is resumed"
	case RequestCleaning:
		state.Cleaning, text = true, "cleaning: no dose until a person confirms the water"
		c.change(ledger.Change{Kind: ledger.ChangeUnconfirmed, At: now, Tank: t.plant.Name, Text: "cleaning", Note: r.Note, By: r.By, From: r.From})
		state.Unconfirmed, state.Why = true, "a cleaning was entered"
	case RequestResume:
		if state.Cleaning {
			c.refuse(r, "a cleaning is under way: confirm the water instead")
			return
		}
		c.record(now, r, ledger.ChangePause, "")
		c.accept(r, "resumed")
		return
	}
	c.setOperator(now, r.Tank, state)
	c.change(ledger.Change{Kind: ledger.ChangePause, At: now, Tank: c.tankName(r.Tank), Text: r.Kind.String(), Until: until, Note: r.Note, By: r.By, From: r.From})
	c.accept(r, text)
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

// recorded makes a change take effect once it is durable.
func (c *Core) recorded(now dosing.Instant, change ledger.Change) {
	id, ok := c.tankNamed(change.Tank)
	if !ok {
		return
	}
	t := &c.tanks[id]
	switch change.Kind {
	case ledger.ChangeMode:
		if change.Text == safety.ModeArmed.String() && t.mode == safety.ModeObserving {
			t.mode = safety.ModeArmed
			c.watch.SetMode(now, id, t.mode)
		}
	case ledger.ChangeSetpoint:
		s := &t.ph
		if change.Quantity == dosing.QuantityEC {
			s = &t.ec
		}
		s.accept(change.Value, change.From, change.By, change.At.Wall, change.Until)
	case ledger.ChangeEpoch:
		c.epochRaised(now, change)
	case ledger.ChangeHandVoid:
		c.voided(change.Text)
	case ledger.ChangeAnalysis:
		c.analysed(now, id, change)
	case ledger.ChangeClear:
		if change.Pump != "" {
			break // one pump's, and in effect already
		}
		c.watch.Clear(now, id)
		t.mode = safety.ModeObserving
		c.watch.SetMode(now, id, t.mode)
	case ledger.ChangeConfirmed:
		t.operator.Unconfirmed, t.operator.Cleaning, t.operator.Why = false, false, ""
		c.watch.Confirm(now, id)
		c.watch.SetState(now, id, t.operator)
		// Other water, other buffer.
		t.loops.ResetLearning()
		c.watch.Serviced(now, id)
	case ledger.ChangePause:
		if change.Text == "" {
			t.operator.Paused, t.operator.Maintenance, t.pauseEnd = false, false, 0
			c.watch.SetState(now, id, t.operator)
		}
	}
	c.evaluate(now)
	c.out.Changed = true
}

// setMode changes to a mode that doses nothing, at once, and records it.
func (c *Core) setMode(now dosing.Instant, id dosing.TankID, mode safety.Mode, by, from, note string) {
	if mode == safety.ModeArmed || c.tanks[id].mode == mode {
		return
	}
	c.tanks[id].mode = mode
	c.watch.SetMode(now, id, mode)
	c.change(ledger.Change{Kind: ledger.ChangeMode, At: now, Tank: c.tankName(id), Text: mode.String(), Note: note, By: by, From: from})
	c.evaluate(now)
}
