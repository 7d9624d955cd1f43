package controller

import (
	"fmt"

	"leat/dosing"
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
		c.setpoints.ask(now, r)
	case RequestArm, RequestResume, RequestClear, RequestConfirmWater:
		c.modes.askMore(now, r)
	case RequestObserve, RequestStop:
		c.modes.askLess(now, r)
	case RequestPause, RequestMaintenance, RequestCleaning:
		c.modes.askOperator(now, r)
	case RequestServiced:
		c.tanks[r.Tank].unlearn()
		c.watch.Serviced(now, r.Tank)
		c.wishes.awaitLess(now, r, ledger.Change{Kind: ledger.ChangeServiced}, "noted; what was learned of this tank starts anew")
	case RequestRefill:
		c.stocks.askRefill(now, r)
	case RequestMark:
		c.askMark(now, r)
	case RequestCalibrate:
		c.calibrations.ask(now, r)
	case RequestMeter:
		c.calibrations.askMeter(now, r)
	case RequestEndHoliday:
		c.setpoints.askEnd(now, r)
	case RequestPumpRate:
		c.stocks.askRate(now, r)
	case RequestTitrate, RequestFill:
		c.askRun(now, r)
	case RequestNewTube:
		c.stocks.askNewTube(now, r)
	case RequestHandDose:
		c.hands.ask(now, r)
	case RequestVoid:
		c.hands.askVoid(now, r)
	case RequestRaiseEpoch:
		c.epochs.ask(now, r)
	case RequestAnalysis:
		c.accounts.ask(now, r)
	case RequestAcknowledge:
		c.interlocks.acknowledge(r)
	case RequestShelve:
		c.interlocks.shelve(now, r)
	default:
		c.refuse(r, "not a request")
	}
	c.out.Changed = true
}

// recorded is told that a row is durable: the wish that it is of takes effect now, if
// it has not been taken away, and is answered from the state after it.
func (c *Core) recorded(now dosing.Instant, change ledger.Change) {
	id, ok := c.tankNamed(change.Tank)
	if !ok {
		return
	}
	if change.Kind == ledger.ChangeHandVoid {
		c.hands.voided(change.Text)
		c.interlocks.evaluate(now)
		c.out.Changed = true
		return
	}
	w := c.wishes.written(id, change.Ticket)
	if w == nil {
		return
	}
	accepted := true
	switch w.request.Kind {
	case RequestSetpoint:
		accepted = c.setpoints.written(now, w, change)
	case RequestAnalysis:
		c.accounts.analysed(now, id, change)
	case RequestRaiseEpoch:
		c.epochs.raised(now, change)
	case RequestTitrate:
		accepted = c.titrations.written(now, w, change)
	case RequestFill:
		accepted = c.fills.written(now, w, change)
	case RequestEndHoliday:
		c.setpoints.holidayEnded(id, change.Text, change.At.Wall)
	case RequestMeter:
		if change.Kind == ledger.ChangeMeter {
			w.text = c.calibrations.metered(now, &w.request)
		}
	case RequestCalibrate:
		if change.Kind == ledger.ChangeCalibration {
			c.calibrations.calibrated(now, id, change)
		}
	case RequestArm, RequestResume, RequestClear, RequestConfirmWater:
		c.modes.takeEffect(now, id, w.request.Kind)
		switch w.request.Kind {
		case RequestConfirmWater:
			c.accounts.filled(now, id, change)
		case RequestResume:
			c.calibrations.end(id)
		}
	}
	c.interlocks.evaluate(now)
	w.text += c.wishes.standing(&w.request)
	if !w.inForce || !w.told {
		c.wishes.reply(w, accepted, w.text)
	}
	c.out.Changed = true
}

// askRun asks for what doses by a plan of its own.
func (c *Core) askRun(now dosing.Instant, r *Request) {
	if r.Kind == RequestFill {
		c.fills.ask(now, r)
		return
	}
	c.titrations.ask(now, r)
}
