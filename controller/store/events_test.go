package store

import (
	"testing"
	"time"

	"leat/controller/diary"
	"leat/safety/ledger"
)

func TestEventsAreKeptInOrderAndPrunedByAge(t *testing.T) {
	db := newDisk(t).open(t)
	h := db.History()
	h.KeepFor(24 * time.Hour)
	if h.Due(evening) {
		t.Error("due although nothing happened")
	}
	note := func(at time.Time, name string) {
		h.Note(diary.Event{At: at, Tank: "pond", Kind: diary.KindInterlock, Name: name, Pump: "acid", Value: 1, Text: "why"})
	}
	note(evening.Add(1500*time.Millisecond), "flood")
	note(evening.Add(2*time.Second), "leak")
	if h.Due(evening.Add(50 * time.Second)) {
		t.Error("due although the minute is under way")
	}
	if !h.Due(evening.Add(time.Minute)) {
		t.Error("not due although no reading comes any more")
	}
	flush(t, h)
	got, err := db.Events(evening, evening.Add(time.Hour))
	want := diary.Event{At: evening.Add(1500 * time.Millisecond), Tank: "pond", Kind: diary.KindInterlock, Name: "flood", Pump: "acid", Value: 1, Text: "why"}
	if err != nil || len(got) != 2 || got[0] != want || got[1].Name != "leak" {
		t.Fatalf("%+v, %v", got, err)
	}
	later := evening.Add(30 * time.Hour)
	h.Observe(later, "pH", 6)
	note(later, "flood")
	flush(t, h)
	if got, err := db.Events(evening, later.Add(time.Hour)); err != nil || len(got) != 1 || !got[0].At.Equal(later) {
		t.Errorf("after pruning: %+v, %v", got, err)
	}
}

func TestEventsThatFoundNoDiskWaitForTheNextFlush(t *testing.T) {
	db := newDisk(t).open(t)
	h := db.History()
	h.Note(diary.Event{At: evening, Kind: diary.KindRun, Name: diary.RunBegins})
	failed := func(err error) {
		db.mu.Lock()
		defer db.mu.Unlock()
		db.failed = err
	}
	failed(ledger.ErrFailed)
	if err := h.Flush(); err == nil {
		t.Fatal("flushed into a file that failed")
	}
	failed(nil)
	h.Note(diary.Event{At: evening.Add(time.Second), Kind: diary.KindRun, Name: diary.RunEnds})
	flush(t, h)
	if got, err := db.Events(evening, evening.Add(time.Hour)); err != nil || len(got) != 2 || got[0].Name != diary.RunBegins {
		t.Errorf("%+v, %v", got, err)
	}
}

func TestTheSpanOfARecordIsThatOfAllThatItHolds(t *testing.T) {
	db := newDisk(t).open(t)
	if first, last, station, err := db.Span(); err != nil || !first.IsZero() || !last.IsZero() || station != nil {
		t.Errorf("an empty record: %s to %s, %v, %v", first, last, station, err)
	}
	h := db.History()
	h.Observe(evening.Add(time.Hour), "pond/ph", 6)
	h.Observe(evening, "pond/ec", 1)
	for hour, name := range []string{"old", "new"} {
		h.Note(diary.Event{At: evening.Add(time.Duration(10*hour) * time.Minute), Kind: diary.KindStation, Text: (&diary.Station{Name: name}).Text()})
	}
	flush(t, h)
	first, last, station, err := db.Span()
	if err != nil || !first.Equal(evening) || !last.Equal(evening.Add(61*time.Minute)) || station == nil || station.Name != "new" {
		t.Errorf("%s to %s, %+v, %v", first, last, station, err)
	}
	for minute, who := range []string{"ada", "bo"} {
		if err := db.Audit(evening.Add(time.Duration(10*minute)*time.Minute), who, "page", "setpoint refused", "58"); err != nil {
			t.Fatal(err)
		}
	}
	past, err := db.Past(evening, evening.Add(5*time.Minute))
	if len(past.Deeds) != 1 || past.Deeds[0].Who != "ada" {
		t.Errorf("deeds %+v", past.Deeds)
	}
	if err != nil || past.Station.Name != "old" || len(past.Events) != 1 {
		t.Errorf("%+v, %v", past, err)
	}
}
