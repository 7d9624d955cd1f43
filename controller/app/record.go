package app

import (
	"fmt"
	"time"

	"go.uber.org/zap"

	"leat/controller"
	"leat/dosing"
	"leat/safety"
	"leat/safety/ledger"
)

// A record that is so many drafts behind, or whose disk has finished none for so
// long, holds all doses until it has caught up. The time is that in which a dose must
// begin after its decision: an intent that takes longer is withdrawn anyway.
const (
	draftsBehind = 64
	caughtUp     = draftsBehind / 4
	stallAfter   = 10 * time.Second
)

// record is what the loop knows of the ledger: how far behind it is, and what the
// core was told of it.
type record struct {
	word    safety.LedgerState // the writer's last word on the disk
	text    string             // its reason
	behind  bool
	apart   bool // the term of a shared ledger is in doubt
	overrun bool // a draft found no room: the record ends before it
	told    safety.LedgerState
	pending int            // drafts given to the writer and not yet answered
	moved   dosing.Instant // when the writer last finished one, or began to have any
}

// enter hands a draft to the writer, which has room for it. A draft that finds none
// is lost, and with it every later one: a record with a gap would be believed. The
// core then observes until a restart, as after a disk that failed.
func (o *outbox) enter(now dosing.Instant, draft ledger.Draft) {
	r := &o.record
	if r.overrun || r.pending == draftsMost {
		r.overrun = true
		return
	}
	if r.pending == 0 {
		r.moved = now
	}
	r.pending++
	o.writer.drafts <- draft // never waits: no more are pending than have room
}

// written takes what the writer says.
func (dr *driver) written(now dosing.Instant, done result) {
	if done.done {
		dr.record.pending--
		dr.record.moved = now
	}
	switch {
	case done.event == nil:
		dr.tellRecord(now)
	case done.event.Kind == controller.EventLedger:
		dr.record.word, dr.record.text = done.event.Ledger, done.event.Text
		dr.tellRecord(now)
	default:
		dr.step(now, *done.event)
	}
}

// tellRecord tells the core when the state of the record has changed.
func (dr *driver) tellRecord(now dosing.Instant) {
	r := &dr.record
	r.behind = r.pending > 0 && now.Since(r.moved) >= stallAfter || r.pending >= draftsBehind || r.behind && r.pending > caughtUp
	state, text := r.word, r.text
	switch {
	case r.overrun:
		state, text = safety.LedgerFailed, fmt.Sprintf("%d rows wait for the disk and no more have room", draftsMost)
	case state != safety.LedgerFailed && r.apart:
		state, text = safety.LedgerUnreachable, "no majority of the ledger servers answers: another daemon may own the station"
	case state == safety.LedgerReady && r.behind:
		state, text = safety.LedgerBehind, fmt.Sprintf("%d rows wait for the disk, which finished the last one %s ago", r.pending, now.Since(r.moved).Round(time.Second))
	}
	if state == r.told || r.told == safety.LedgerFailed {
		return
	}
	r.told = state
	dr.log.Warn("ledger", zap.Stringer("state", state), zap.String("error", text))
	dr.step(now, controller.Event{Kind: controller.EventLedger, Ledger: state, Text: text})
}

// lessens says whether a request only lets less happen or counts what was given.
// Such a request is taken whatever the disk does.
func lessens(kind controller.RequestKind) bool {
	switch kind {
	case controller.RequestObserve, controller.RequestStop, controller.RequestPause, controller.RequestMaintenance, controller.RequestCleaning,
		controller.RequestHandDose, controller.RequestAcknowledge, controller.RequestShelve:
		return true
	}
	return false
}

// deferred refuses what lets more happen while the record cannot be written in time:
// it would wait for the disk, and take effect when nobody thinks of it any more.
func (as *asks) deferred(r *controller.Request) (controller.Answer, bool) {
	if as.record.told == safety.LedgerReady || lessens(r.Kind) {
		return controller.Answer{}, false
	}
	text := "not taken: the record is " + as.record.told.String() + ", so this cannot be written down in time; ask again when the record is ready"
	if as.record.told == safety.LedgerFailed {
		text = "not taken: the record has failed; look at the disk, restart leat, and ask again"
	}
	return controller.Answer{Request: r.ID, Kind: r.Kind, Tank: r.Tank, Quantity: r.Quantity, New: r.Value, Text: text, From: r.From, By: r.By}, true
}
