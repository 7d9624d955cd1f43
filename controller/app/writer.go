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
// no stop and no reading. Neither it nor the loop ever waits for the other: the
// loop gives it no more drafts than have room, and there is room for all that these
// can bring back.
type writer struct {
	ledger  *ledger.Ledger
	drafts  chan ledger.Draft
	results chan result
	flush   chan struct{} // a minute of history is complete
	history func() error
	log     *zap.Logger
	observe func(time.Duration)
	retry   time.Duration
}

// result is what became of a draft, or a word on the disk before that.
type result struct {
	event *controller.Event // nil = nothing that the core must hear
	done  bool              // a draft is off the writer's hands
}

// draftsMost bounds what may wait for the disk. People can ask for little while it
// is behind, so that only the core's own rows (some forty an hour of a station of six
// tanks) add up: a full disk is borne for days.
const draftsMost = 4096

// resultsOfDraft is the most that one draft brings back: the disk is full, the disk
// is ready again or has failed, and what became of the draft. History brings back one
// word in a run, that the disk has failed.
const resultsOfDraft = 3

func newWriter(l *ledger.Ledger, history func() error, observe func(time.Duration), log *zap.Logger) *writer {
	return &writer{ledger: l, drafts: make(chan ledger.Draft, draftsMost), results: make(chan result, resultsOfDraft*draftsMost+1),
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
				if !failed {
					w.writeHistory()
				}
				return
			}
			if failed {
				w.results <- result{done: true} // lost, as the loop was told
				continue
			}
			failed = !w.insist(draft, quit)
		case <-w.flush:
			if !failed {
				failed = !w.writeHistory()
			}
		}
	}
}

// insist appends one draft, waiting while the disk is full, and reports false when
// no further append may be tried in this run.
func (w *writer) insist(draft ledger.Draft, quit <-chan struct{}) bool {
	event, err := w.append(draft)
	full := errors.Is(err, ledger.ErrFull)
	if full {
		w.tell(safety.LedgerFull, err.Error())
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
		w.tell(safety.LedgerFailed, err.Error())
		w.results <- result{done: true}
		return false
	}
	if full {
		w.tell(safety.LedgerReady, "")
	}
	w.results <- result{event: event, done: true}
	return true
}

func (w *writer) tell(state safety.LedgerState, text string) {
	w.results <- result{event: &controller.Event{Kind: controller.EventLedger, Ledger: state, Text: text}}
}

// writeHistory writes the complete minutes. What finds the disk full waits for the
// next time: history is for people, no dose rests on it. But where it shows first that
// the disk failed, it reports false, and the ledger has failed too.
func (w *writer) writeHistory() bool {
	err := w.history()
	if err == nil {
		return true
	}
	w.log.Warn("history not written", zap.Error(err))
	if errors.Is(err, ledger.ErrFailed) {
		w.tell(safety.LedgerFailed, err.Error())
		return false
	}
	return true
}

// append writes one draft and returns the event that tells the core so; a
// settlement needs none.
func (w *writer) append(draft ledger.Draft) (*controller.Event, error) {
	began := time.Now()
	defer func() { w.observe(time.Since(began)) }()
	switch d := draft.(type) {
	case ledger.Intent:
		pass("intent made")
		receipt, err := w.ledger.AppendIntent(d)
		pass("intent durable")
		return &controller.Event{Kind: controller.EventDurable, Receipt: receipt}, err
	case ledger.Change:
		return &controller.Event{Kind: controller.EventRecorded, Change: &d}, w.ledger.Append(d)
	default:
		pass("settlement made")
		err := w.ledger.Append(d)
		pass("settlement durable")
		return nil, err
	}
}
