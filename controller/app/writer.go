package app

import (
	"errors"
	"time"

	"go.uber.org/zap"

	"leat/controller"
	"leat/safety"
	"leat/safety/ledger"
)

// writer appends drafts to the ledger, one after the other, and answers each with
// an event. It is the only goroutine that writes the ledger, so a slow disk delays
// no stop and no reading.
type writer struct {
	ledger  *ledger.Ledger
	drafts  chan ledger.Draft
	results chan controller.Event
	flush   chan struct{} // a minute of history is complete
	history func() error
	log     *zap.Logger
	observe func(time.Duration)
	retry   time.Duration
}

// draftsWaiting bounds the queue. The core has one intent open at a time, so only
// a stalled disk fills it; then the loop itself waits and the lease lapses.
const draftsWaiting = 256

func newWriter(l *ledger.Ledger, history func() error, observe func(time.Duration), log *zap.Logger) *writer {
	return &writer{ledger: l, drafts: make(chan ledger.Draft, draftsWaiting), results: make(chan controller.Event, 2*draftsWaiting),
		flush: make(chan struct{}, 1), history: history, log: log, observe: observe, retry: 5 * time.Second}
}

// run appends until drafts is closed. quit cuts a wait for a full disk short.
func (w *writer) run(quit <-chan struct{}) {
	defer close(w.results)
	failed := false
	for {
		select {
		case draft, more := <-w.drafts:
			if !more {
				w.writeHistory()
				return
			}
			if !failed {
				failed = !w.insist(draft, quit)
			}
		case <-w.flush:
			w.writeHistory()
		}
	}
}

// insist appends one draft, waiting while the disk is full, and reports false when
// no further append may be tried in this run.
func (w *writer) insist(draft ledger.Draft, quit <-chan struct{}) bool {
	event, err := w.append(draft)
	full := errors.Is(err, ledger.ErrFull)
	if full {
		w.results <- controller.Event{Kind: controller.EventLedger, Ledger: safety.LedgerFull, Text: err.Error()}
	}
	for errors.Is(err, ledger.ErrFull) {
		select {
		case <-quit:
			return false
		case <-time.After(w.retry):
		}
		event, err = w.append(draft)
	}
	if err != nil {
		// After a failed write or sync nobody knows what is on the disk.
		w.results <- controller.Event{Kind: controller.EventLedger, Ledger: safety.LedgerFailed, Text: err.Error()}
		return false
	}
	if full {
		w.results <- controller.Event{Kind: controller.EventLedger, Ledger: safety.LedgerReady}
	}
	w.results <- event
	return true
}

// writeHistory writes the complete minutes. What fails waits for the next time:
// history is for people, no dose rests on it.
func (w *writer) writeHistory() {
	if err := w.history(); err != nil {
		w.log.Warn("history not written", zap.Error(err))
	}
}

// append writes one draft and returns the event that tells the core so; a
// settlement needs none, but is answered so that what is pending can be counted.
func (w *writer) append(draft ledger.Draft) (controller.Event, error) {
	began := time.Now()
	defer func() { w.observe(time.Since(began)) }()
	switch d := draft.(type) {
	case ledger.Intent:
		pass("intent made")
		receipt, err := w.ledger.AppendIntent(d)
		pass("intent durable")
		return controller.Event{Kind: controller.EventDurable, Receipt: receipt}, err
	case ledger.Change:
		return controller.Event{Kind: controller.EventRecorded, Change: &d}, w.ledger.Append(d)
	default:
		pass("settlement made")
		err := w.ledger.Append(d)
		pass("settlement durable")
		return controller.Event{}, err
	}
}
