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

// wishes sends requests to the disk and answers them.
type wishes struct {
	*station
	ticket uint64            // of the newest row that a request waits for
	onWay  [][wishCount]wish // to the disk, by tank
	next   [][2]wish         // by tank, a setpoint, pH's and EC's, that waits for its row's turn
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
var lettingMore = [...]RequestKind{RequestArm, RequestResume, RequestClear, RequestConfirmWater, RequestTitrate, RequestFill}

// answerWithin is how long an answer waits for the disk. Whoever asked is told then
// that the disk is slow, and nothing more.
const answerWithin = 2 * time.Second

// await sends the row of a request to the disk. Its answer is given when the row is
// durable, from the state of then.
func (ws *wishes) await(now dosing.Instant, w wish, row ledger.Change) {
	r := &w.request
	slot := &ws.onWay[r.Tank][wishOf(r)]
	if slot.ticket != 0 && !slot.told { // it lets less happen, or it would have been refused
		ws.reply(slot, true, ws.inForceWords(slot)+"; a newer request came after it")
	}
	ws.ticket++
	row.Ticket, row.At, row.Tank, row.Note, row.By, row.From = ws.ticket, now, ws.tankName(r.Tank), r.Note, r.By, r.From
	w.ticket, w.at = ws.ticket, now.Up
	*slot = w
	ws.change(row)
	if ws.ledger != safety.LedgerReady {
		ws.tellUnwritten(slot)
	}
}

// awaitMore is await for what lets more happen. It is refused where the disk cannot
// follow, and while the same is on its way.
func (ws *wishes) awaitMore(now dosing.Instant, r *Request, row ledger.Change, text string) {
	if !ws.mayWish(r) {
		return
	}
	ws.await(now, wish{request: *r, text: text}, row)
}

func (ws *wishes) mayWish(r *Request) bool {
	switch {
	case ws.ledger != safety.LedgerReady:
		ws.refuse(r, fmt.Sprintf("the ledger is %s, so this cannot be written down: nothing was changed; ask again when the ledger is ready", ws.ledger))
	case ws.onWay[r.Tank][wishOf(r)].ticket != 0:
		ws.refuse(r, "the same is on its way to the ledger already")
	default:
		return true
	}
	return false
}

// awaitLess is await for what is in force already.
func (ws *wishes) awaitLess(now dosing.Instant, r *Request, row ledger.Change, text string) {
	ws.await(now, wish{request: *r, text: text, inForce: true}, row)
}

// written looks up the wish whose row has become durable and takes it out of its
// place; nil if it was taken away meanwhile, or if the row is nobody's wish.
func (ws *wishes) written(id dosing.TankID, ticket uint64) *wish {
	if ticket == 0 {
		return nil
	}
	for i := range ws.onWay[id] {
		if w := &ws.onWay[id][i]; w.ticket == ticket {
			found := *w
			*w = wish{}
			return &found
		}
	}
	return nil
}

// reply answers a wish.
func (ws *wishes) reply(w *wish, accepted bool, text string) {
	r := &w.request
	w.told = true
	a := Answer{Request: r.ID, Kind: r.Kind, Tank: r.Tank, Quantity: r.Quantity, Old: w.old, New: r.Value, Accepted: accepted, Text: text, From: r.From, By: r.By}
	if r.Kind == RequestSetpoint {
		s := ws.tanks[r.Tank].setpointOf(r.Quantity)
		a.Min, a.Max = s.limits.Min, s.limits.Max
	}
	ws.out.Answers = append(ws.out.Answers, a)
	kind := NoticeChange
	if !accepted {
		kind = NoticeRefused
	}
	ws.notice(Notice{Kind: kind, Tank: r.Tank, Text: r.Kind.String() + ": " + text})
}

// inForceWords says what a wish does before its row is durable.
func (ws *wishes) inForceWords(w *wish) string {
	if w.inForce {
		return w.text + ws.standing(&w.request)
	}
	return "accepted; it takes effect when it is written to the ledger"
}

// tellUnwritten answers a wish whose row is not durable yet.
func (ws *wishes) tellUnwritten(w *wish) {
	text := ws.inForceWords(w)
	if w.inForce {
		text += fmt.Sprintf("; not yet written, since the ledger is %s: a restart before that would forget it", ws.slowness())
	} else {
		text += fmt.Sprintf(", which is %s", ws.slowness())
	}
	ws.reply(w, true, text)
}

func (ws *wishes) slowness() string {
	if ws.ledger == safety.LedgerReady {
		return "slow"
	}
	return ws.ledger.String()
}

// tellWaiting answers whoever has waited long enough for the disk, or waits for one that
// cannot be written.
func (ws *wishes) tellWaiting(now dosing.Instant) {
	for i := range ws.tanks {
		for k := range ws.onWay[i] {
			if w := &ws.onWay[i][k]; w.ticket != 0 && !w.told && (now.Up-w.at >= answerWithin || ws.ledger != safety.LedgerReady) {
				ws.tellUnwritten(w)
			}
		}
	}
}

// giveUp answers all wishes when nothing will be written any more in this run.
func (ws *wishes) giveUp() {
	for i := range ws.tanks {
		for k := range ws.onWay[i] {
			w := &ws.onWay[i][k]
			if w.ticket == 0 {
				continue
			}
			if w.inForce {
				ws.reply(w, true, ws.inForceWords(w)+"; but the ledger is "+ws.ledger.String()+": a restart forgets it")
			} else {
				ws.reply(w, false, "the ledger is "+ws.ledger.String()+" and this was not written down: it does not take effect")
			}
			*w = wish{}
		}
		for q := range ws.next[i] {
			if w := &ws.next[i][q]; w.request.Kind != RequestNone {
				ws.reply(w, false, "the ledger is "+ws.ledger.String()+" and this was not written down: it does not take effect")
				*w = wish{}
			}
		}
	}
}

// lessen takes away every wish of a tank that lets more happen, since less came after it.
func (ws *wishes) lessen(now dosing.Instant, id dosing.TankID, why, by, from string) {
	for _, kind := range lettingMore {
		ws.takeAway(now, id, kind, why+" after it was asked for", by, from)
	}
}

// takeAway ends a wish that is on its way, and says again what its row would change in
// a replay.
func (ws *wishes) takeAway(now dosing.Instant, id dosing.TankID, kind RequestKind, why, by, from string) {
	w := &ws.onWay[id][kind]
	if w.ticket == 0 || w.inForce {
		return
	}
	ws.reply(w, false, "cancelled: "+why)
	*w = wish{}
	ws.restate(now, id, kind, ledger.Change{At: now, Tank: ws.tankName(id), By: by, From: from, Note: kind.String() + " was cancelled: " + why})
}

// restate writes down again what the row of a wish of this kind changes in a replay.
func (ws *wishes) restate(now dosing.Instant, id dosing.TankID, kind RequestKind, row ledger.Change) {
	t := &ws.tanks[id]
	write := func(kind ledger.ChangeKind, text string, until time.Time) {
		row := row
		row.Kind, row.Text, row.Until = kind, text, until
		ws.change(row)
	}
	switch kind {
	case RequestArm:
		ws.restateMode(id, row)
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
		if t.operator.ECDoubted {
			write(ledger.ChangePause, ledger.PauseECDoubted, time.Time{})
		}
	case RequestClear:
		ws.restateMode(id, row)
		for _, trip := range ws.watch.Trips(id) {
			if trip.Latched && trip.Cause != safety.CauseSolutionUnconfirmed {
				ws.recordTrip(row, trip)
			}
		}
	case RequestTitrate:
		write(ledger.ChangeTitration, "ended: "+row.Note, time.Time{})
	case RequestFill:
		write(ledger.ChangeFill, "ended before it was done: "+row.Note, time.Time{})
	case RequestConfirmWater:
		if ws.unconfirmed(id) {
			write(ledger.ChangeUnconfirmed, t.operator.Why, time.Time{})
		}
		if t.operator.Cleaning {
			write(ledger.ChangePause, ledger.PauseCleaning, time.Time{})
		}
		ws.recordLearnedOf(now, id)
	}
}

func (ws *wishes) restateMode(id dosing.TankID, row ledger.Change) {
	t := &ws.tanks[id]
	row.Kind, row.Text = ledger.ChangeMode, t.mode.String()
	if t.disarmed != "" {
		ws.recordDisarmed(row.At, id)
		return
	}
	ws.change(row)
}

// staying names all that goes on stopping the tank, and what ends each.
func (ws *wishes) staying(id dosing.TankID) string {
	var all []string
	for _, trip := range ws.watch.Trips(id) {
		if trip.Action <= safety.Stop && trip.Scope <= safety.ScopeTank {
			row := safety.Of(trip.Cause)
			all = append(all, fmt.Sprintf("%s stays: %s It ends %s", trip.Cause, row.Text, row.Clears))
		}
	}
	return strings.Join(slices.Compact(all), "; ")
}

// standing says what the tank does now, to be read after what was done: all of it where
// a person lets more happen, and a stop that goes on in any case.
func (ws *wishes) standing(r *Request) string {
	mode, cause := ws.modeAndCause(r.Tank)
	row := safety.Of(cause)
	switch {
	case r.Kind == RequestStop || r.Kind == RequestCleaning || r.Kind == RequestSetpoint || r.Kind == RequestAnalysis || r.Kind == RequestTitrate || r.Kind == RequestFill:
		return ""
	case mode == safety.ModeStopped && r.Kind == RequestClear:
		return ", but " + ws.staying(r.Tank)
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
