package app

import (
	"fmt"
	"testing"
	"time"

	"go.uber.org/zap"

	"leat/dosing"
	"leat/safety/ledger"
)

// The loop may be busy for as long as it likes: what it gave the writer is on the disk
// all the same, and no answer is lost.
func TestTheWriterOfTheLedgerWaitsForNobody(t *testing.T) {
	store := &ledger.Memory{}
	l, err := ledger.Open(store)
	if err != nil {
		t.Fatal(err)
	}
	w := newWriter(l, func() error { return nil }, func(time.Duration) {}, zap.NewNop())
	now := dosing.Instant{Wall: time.Date(2031, 3, 4, 19, 0, 0, 0, time.UTC)}
	const more = draftsMost // nobody reads an answer meanwhile
	go func() {
		w.drafts <- ledger.Start(1, "c41d", now, true)
		for n := range more {
			now = now.Add(time.Second)
			w.drafts <- ledger.Change{Kind: ledger.ChangeMode, At: now, Tank: "north", Text: "observing", Note: fmt.Sprint(n), By: "ada"}
		}
		close(w.drafts)
	}()
	ended := make(chan struct{})
	go func() { w.run(nil); close(ended) }()
	select {
	case <-ended:
	case <-time.After(time.Minute):
		t.Fatal("after a minute it is not at its end: it waits until its answers are read")
	}
	answers := 0
	for r := range w.results {
		if r.done {
			answers++
		}
	}
	if sequence, _ := l.Head(); sequence != more+1 || answers != more+1 {
		t.Errorf("%d rows and %d answers of %d drafts", sequence, answers, more+1)
	}
}
