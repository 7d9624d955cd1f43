package app

import (
	"errors"
	"time"

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
	observe func(time.Duration)
	retry   time.Duration
}

// draftsWaiting bounds the queue. The core has one intent open at a time, so only
// a stalled disk fills it; then the loop itself waits and the lease lapses.
const draftsWaiting = 256

func newWriter(l *ledger.Ledger, observe func(time.Duration)) *writer {
	return &writer{ledger: l, drafts: make(chan ledger.Draft, draftsWaiting), results: make(chan controller.Event, 2*draftsWaiting),
		observe: observe, retry: 5 * time.Second}
}

// run appends until drafts is closed. quit cuts a wait for a full disk short.
func (w *writer) run(quit <-chan struct{}) {
	defer close(w.results)
	failed := false
	for draft := range w.drafts {
		if failed {
			continue
		}
		event, err := w.append(draft)
		full := false
		for errors.Is(err, ledger.ErrFull) {
			if !full {
				full = true
				w.results <- controller.Event{Kind: controller.EventLedger, Ledger: safety.LedgerFull, Text: err.Error()}
			}
			select {
			case <-quit:
				return
			case <-time.After(w.retry):
			}
			event, err = w.append(draft)
		}
		if err != nil {
			// After a failed write or fsync nobody knows what is on the disk: no
			// further append is tried in this run.
			failed = true
			w.results <- controller.Event{Kind: controller.EventLedger, Ledger: safety.LedgerFailed, Text: err.Error()}
			continue
		}
		if full {
			w.results <- controller.Event{Kind: controller.EventLedger, Ledger: safety.LedgerReady}
		}
		w.results <- event
	}
}

// append writes one draft and returns the event that tells the core so; a
// settlement needs none, but is answered so that what is pending can be counted.
func (w *writer) append(draft ledger.Draft) (controller.Event, error) {
	began := time.Now()
	defer func() { w.observe(time.Since(began)) }()
	switch d := draft.(type) {
	case ledger.Intent:
		receipt, err := w.ledger.AppendIntent(d)
		return controller.Event{Kind: controller.EventDurable, Receipt: receipt}, err
	case ledger.Change:
		return controller.Event{Kind: controller.EventRecorded, Change: d}, w.ledger.Append(d)
	default:
		return controller.Event{}, w.ledger.Append(d)
	}
}
