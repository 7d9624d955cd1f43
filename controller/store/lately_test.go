package store

import (
	"reflect"
	"testing"
	"time"

	"leat/dosing"
	"leat/safety/ledger"
)

// The page's hours are those of the verified record, though they are read from its end.
func TestTheLastHoursAreThoseOfTheWholeRecord(t *testing.T) {
	db := newDisk(t).open(t)
	l := book(t, db)
	for n := range 300 {
		at := evening.Add(time.Duration(n) * 10 * time.Minute)
		if n == 200 {
			at = at.Add(-time.Hour) // the wall clock was put back for a moment
		}
		if err := l.Append(ledger.Change{Kind: ledger.ChangeMark, Tank: "pond", Note: "mark", By: "ada", At: dosing.Instant{Wall: at, Up: time.Duration(n) * 10 * time.Minute}}); err != nil {
			t.Fatal(err)
		}
	}
	for _, hours := range []time.Duration{1, 12, 49} {
		to := evening.Add(3000 * time.Minute)
		whole, err := db.Past(to.Add(-hours*time.Hour), to)
		if err != nil {
			t.Fatal(err)
		}
		last, err := db.Lately(to.Add(-hours*time.Hour), to)
		if err != nil || len(last.Entries) < 5 || !reflect.DeepEqual(whole.Entries, last.Entries) {
			t.Errorf("%d h: %d rows lately, %d of the whole record, %v", hours, len(last.Entries), len(whole.Entries), err)
		}
	}
	if read, err := db.entriesIn(evening.Add(2900*time.Minute), evening.Add(3000*time.Minute)); err != nil || len(read) > 40 {
		t.Errorf("for 100 minutes %d rows are read, %v", len(read), err)
	}
}
