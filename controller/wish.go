package controller

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"leat/dosing"
	"leat/safety"
	"leat/safety/ledger"
)

// A request becomes a row of the ledger. One that lets less happen is in force at
// once; one that lets more happen takes effect when its row is durable. Until then it
// stands in its tank as a wish, under the ticket of its row. Whoever asks for less, or
// a stop that latches, takes such wishes away: a row that comes back from the disk
// without its wish changes nothing any more.
//
// The ledger is replayed in the order of its rows, and the row of a wish that was
// taken away stands in it. So the rows that follow say again what it would have
// changed: live and replayed state are the same once all rows are written.

// wish is a request on its way to the disk, or waiting for its turn to go there.
type wish struct {
	ticket  uint64 // of its row; 0 = none is on its way
	request Request
	at      time.Duration // uptime at which it was asked
	inForce bool          // it lets less happen, and does
	told    bool          // an answer was given already
	old     float64       // of a setpoint: what was wanted before
	until   time.Time     // of a setpoint
	sure    bool          // of a setpoint: it was confirmed
	text    string        // what to answer when it is durable
}

// Wishes are kept by kind, those for EC's setpoint apart from those for pH's.
const (
	wishEC    = int(RequestCount)
	wishCount = wishEC + 1
)

func wishOf(r *Request) int {
	if r.Kind == RequestSetpoint && r.Quantity == dosing.QuantityEC {
		return wishEC
	}
	return int(r.Kind)
}

// lettingMore are the requests that let more happen.
var lettingMore = [...]RequestKind{RequestArm, RequestResume, RequestClear, RequestConfirmWater}

// answerWithin is how long an answer waits for the disk. Whoever asked is told then
// that the disk is slow, and nothing more.
const answerWithin = 2 * time.Second

// await sends the row of a request to the disk. Its answer is given when the row is
// durable, from the state of then.
func (c *Core) await(now dosing.Instant, w wish, row ledger.Change) {
	r := &w.request
	slot := &c.tanks[r.Tank].wishes[wishOf(r)]
	if slot.ticket != 0 && !slot.told { // it lets less happen, or it would have been refused
		c.reply(slot, true, c.inForceWords(slot)+"; a newer request came after it")
	}
	c.ticket++
	row.Ticket, row.At, row.Tank, row.Note, row.By, row.From = c.ticket, now, c.tankName(r.Tank), r.Note, r.By, r.From
	w.ticket, w.at = c.ticket, now.Up
	*slot = w
	c.change(row)
	if c.ledger != safety.LedgerReady {
		c.tellUnwritten(slot)
	}
}

// awaitMore is await for what lets more happen. It is refused where the disk cannot
// follow, and while the same is on its way.
func (c *Core) awaitMore(now dosing.Instant, r *Request, row ledger.Change, text string) {
	if !c.mayWish(r) {
		return
	}
	c.await(now, wish{request: *r, text: text}, row)
}

func (c *Core) mayWish(r *Request) bool {
	switch {
	case c.ledger != safety.LedgerReady:
		c.refuse(r, fmt.Sprintf("the ledger is %s, so this cannot be written down: nothing was changed; ask again when the ledger is ready", c.ledger))
	case c.tanks[r.Tank].wishes[wishOf(r)].ticket != 0:
		c.refuse(r, "the same is on its way to the ledger already")
	default:
		return true
	}
	return false
}

// awaitLess is await for what is in force already.
func (c *Core) awaitLess(now dosing.Instant, r *Request, row ledger.Change, text string) {
	c.await(now, wish{request: *r, text: text, inForce: true}, row)
}

// written looks up the wish whose row has become durable and takes it out of its
// place; nil if it was taken away meanwhile, or if the row is nobody's wish.
func (c *Core) written(id dosing.TankID, ticket uint64) *wish {
	if ticket == 0 {
		return nil
	}
	for i := range c.tanks[id].wishes {
		if w := &c.tanks[id].wishes[i]; w.ticket == ticket {
			found := *w
			*w = wish{}
			return &found
		}
	}
	return nil
}

// reply answers a wish.
func (c *Core) reply(w *wish, accepted bool, text string) {
	r := &w.request
	w.told = true
	a := Answer{Request: r.ID, Kind: r.Kind, Tank: r.Tank, Quantity: r.Quantity, Old: w.old, New: r.Value, Accepted: accepted, Text: text, From: r.From, By: r.By}
	if r.Kind == RequestSetpoint {
		s := c.tanks[r.Tank].setpointOf(r.Quantity)
		a.Min, a.Max = s.limits.Min, s.limits.Max
	}
	c.out.Answers = append(c.out.Answers, a)
	kind := NoticeChange
	if !accepted {
		kind = NoticeRefused
	}
	c.notice(Notice{Kind: kind, Tank: r.Tank, Text: r.Kind.String() + ": " + text})
}

// inForceWords says what a wish does before its row is durable.
func (c *Core) inForceWords(w *wish) string {
	if w.inForce {
		return w.text + c.standing(&w.request)
	}
	return "accepted; it takes effect when it is written to the ledger"
}

// tellUnwritten answers a wish whose row is not durable yet.
func (c *Core) tellUnwritten(w *wish) {
	text := c.inForceWords(w)
	if w.inForce {
		text += fmt.Sprintf("; not yet written, since the ledger is %s: a restart before that would forget it", c.slowness())
	} else {
		text += fmt.Sprintf(", which is %s", c.slowness())
	}
	c.reply(w, true, text)
}

func (c *Core) slowness() string {
	if c.ledger == safety.LedgerReady {
		return "slow"
	}
	return c.ledger.String()
}

// tellWaiting answers whoever has waited long enough for the disk, or waits for one that
// cannot be written.
func (c *Core) tellWaiting(now dosing.Instant) {
	for i := range c.tanks {
		for k := range c.tanks[i].wishes {
			if w := &c.tanks[i].wishes[k]; w.ticket != 0 && !w.told && (now.Up-w.at >= answerWithin || c.ledger != safety.LedgerReady) {
				c.tellUnwritten(w)
			}
		}
	}
}

// giveUp answers all wishes when nothing will be written any more in this run.
func (c *Core) giveUp() {
	for i := range c.tanks {
		t := &c.tanks[i]
		for k := range t.wishes {
			w := &t.wishes[k]
			if w.ticket == 0 {
				continue
			}
			if w.inForce {
				c.reply(w, true, c.inForceWords(w)+"; but the ledger is "+c.ledger.String()+": a restart forgets it")
			} else {
				c.reply(w, false, "the ledger is "+c.ledger.String()+" and this was not written down: it does not take effect")
			}
			*w = wish{}
		}
		for q := range t.next {
			if w := &t.next[q]; w.request.Kind != RequestNone {
				c.reply(w, false, "the ledger is "+c.ledger.String()+" and this was not written down: it does not take effect")
				*w = wish{}
			}
		}
	}
}

// lessen takes away every wish of a tank that lets more happen, since less came after it.
func (c *Core) lessen(now dosing.Instant, id dosing.TankID, why, by, from string) {
	for _, kind := range lettingMore {
		c.takeAway(now, id, kind, why+" after it was asked for", by, from)
	}
}

// takeAway ends a wish that is on its way, and says again what its row would change in
// a replay.
func (c *Core) takeAway(now dosing.Instant, id dosing.TankID, kind RequestKind, why, by, from string) {
	w := &c.tanks[id].wishes[kind]
	if w.ticket == 0 {
		return
	}
	c.reply(w, false, "cancelled: "+why)
	*w = wish{}
	c.restate(now, id, kind, ledger.Change{At: now, Tank: c.tankName(id), By: by, From: from, Note: kind.String() + " was cancelled: " + why})
}

// restate writes down again what the row of a wish of this kind changes in a replay.
func (c *Core) restate(now dosing.Instant, id dosing.TankID, kind RequestKind, row ledger.Change) {
	t := &c.tanks[id]
	write := func(kind ledger.ChangeKind, text string, until time.Time) {
		row := row
		row.Kind, row.Text, row.Until = kind, text, until
		c.change(row)
	}
	switch kind {
	case RequestArm:
		c.restateMode(id, row)
	case RequestResume:
		if t.operator.Paused {
			until := time.Time{}
			if t.pauseEnd != 0 {
				until = now.Wall.Add(t.pauseEnd - now.Up)
			}
			write(ledger.ChangePause, RequestPause.String(), until)
		}
		if t.operator.Maintenance {
			write(ledger.ChangePause, RequestMaintenance.String(), time.Time{})
		}
	case RequestClear:
		c.restateMode(id, row)
		for _, trip := range c.watch.Trips(id) {
			if trip.Latched && trip.Cause != safety.CauseSolutionUnconfirmed {
				c.recordTrip(row, trip)
			}
		}
	case RequestConfirmWater:
		if c.unconfirmed(id) {
			write(ledger.ChangeUnconfirmed, t.operator.Why, time.Time{})
		}
		if t.operator.Cleaning {
			write(ledger.ChangePause, ledger.PauseCleaning, time.Time{})
		}
		c.recordLearnedOf(now, id)
	}
}

func (c *Core) restateMode(id dosing.TankID, row ledger.Change) {
	t := &c.tanks[id]
	row.Kind, row.Text = ledger.ChangeMode, t.mode.String()
	if t.disarmed != "" {
		c.recordDisarmed(row.At, id)
		return
	}
	c.change(row)
}

// unconfirmed says that only a person's word on the water lets the tank be dosed.
func (c *Core) unconfirmed(id dosing.TankID) bool {
	if c.tanks[id].operator.Unconfirmed {
		return true
	}
	for _, trip := range c.watch.Trips(id) {
		if trip.Cause == safety.CauseSolutionUnconfirmed && trip.Latched {
			return true
		}
	}
	return false
}

// staying names all that goes on stopping the tank, and what ends each.
func (c *Core) staying(id dosing.TankID) string {
	var all []string
	for _, trip := range c.watch.Trips(id) {
		if trip.Action <= safety.Stop && trip.Scope <= safety.ScopeTank {
			row := safety.Of(trip.Cause)
			all = append(all, fmt.Sprintf("%s stays: %s It ends %s", trip.Cause, row.Text, row.Clears))
		}
	}
	return strings.Join(slices.Compact(all), "; ")
}

// standing says what the tank does now, to be read after what was done: all of it where
// a person lets more happen, and a stop that goes on in any case.
func (c *Core) standing(r *Request) string {
	mode, cause := c.modeAndCause(r.Tank)
	row := safety.Of(cause)
	switch {
	case r.Kind == RequestStop || r.Kind == RequestCleaning || r.Kind == RequestSetpoint || r.Kind == RequestAnalysis:
		return ""
	case mode == safety.ModeStopped && r.Kind == RequestClear:
		return ", but " + c.staying(r.Tank)
	case mode == safety.ModeStopped && row.Action == safety.Stop && cause != safety.CauseSolutionUnconfirmed:
		return "; the tank is stopped, and a stop is lifted by clear alone: " + row.Text
	case mode == safety.ModeStopped:
		return "; the tank is stopped: " + row.Text + " It ends " + row.Clears
	case !slices.Contains(lettingMore[:], r.Kind):
		return ""
	case mode == safety.ModeHolding:
		return "; armed, but held now: " + row.Text
	case mode == safety.ModeArmed:
		return "; armed: it doses when a dose is needed"
	}
	return "; observing: it doses nothing until it is armed"
}
