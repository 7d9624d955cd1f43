package store

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"leat/controller/diary"
	"leat/safety/ledger"
)

func minutes(t *testing.T, db *DB, input string) []diary.Minute {
	t.Helper()
	found, err := db.Readings(input, time.Time{}, evening.AddDate(100, 0, 0))
	if err != nil {
		t.Fatal(err)
	}
	return found
}

func flush(t *testing.T, h *History) {
	t.Helper()
	if err := h.Flush(); err != nil {
		t.Fatal(err)
	}
}

func TestMinutesHoldLowestMeanAndHighest(t *testing.T) {
	db := newDisk(t).open(t)
	h := db.History()
	for second, value := range []float64{6.0, 5.8, 6.5} {
		h.Observe(evening.Add(time.Duration(second)*20*time.Second), "pH north", value)
	}
	h.Observe(evening, "EC north", 1.6)
	if h.Due(evening) {
		t.Error("due although the minute is under way")
	}
	h.Observe(evening.Add(time.Minute), "pH north", 7)
	if !h.Due(evening) {
		t.Error("not due although a minute is complete")
	}
	flush(t, h)
	got := minutes(t, db, "pH north")
	if len(got) != 2 || !got[0].At.Equal(evening) || got[0].Count != 3 || got[0].Low != 5.8 || got[0].Top != 6.5 || math.Abs(got[0].Mean-6.1) > 1e-12 {
		t.Errorf("minutes %+v", got)
	}
	if inputs, err := db.Inputs(); err != nil || strings.Join(inputs, ",") != "EC north,pH north" {
		t.Errorf("inputs %q, %v", inputs, err)
	}
	if h.Due(evening) {
		t.Error("due right after a flush")
	}
}

func TestMinuteWrittenTwiceIsOneMinute(t *testing.T) {
	d := newDisk(t)
	h := d.open(t).History()
	h.Observe(evening, "pH", 6)
	h.Observe(evening.Add(time.Second), "pH", 8)
	flush(t, h)
	h = d.open(t).History() // restarted within the minute
	h.Observe(evening.Add(2*time.Second), "pH", 4)
	flush(t, h)
	got := minutes(t, d.db, "pH")
	if len(got) != 1 || got[0].Count != 3 || got[0].Low != 4 || got[0].Top != 8 || math.Abs(got[0].Mean-6) > 1e-12 {
		t.Errorf("minutes %+v", got)
	}
}

func TestWhatIsNotANumberIsLeftOut(t *testing.T) {
	db := newDisk(t).open(t)
	h := db.History()
	for _, value := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		h.Observe(evening, "pH", value)
	}
	h.Observe(evening, "pH", 6)
	flush(t, h)
	if got := minutes(t, db, "pH"); len(got) != 1 || got[0].Count != 1 || got[0].Mean != 6 {
		t.Errorf("minutes %+v", got)
	}
}

func TestWallClockThatStepsKeepsEveryMinute(t *testing.T) {
	db := newDisk(t).open(t)
	h := db.History()
	for _, wall := range []time.Time{time.Unix(30, 0), evening, evening.Add(-time.Hour), evening, time.Unix(-30, 0)} {
		h.Observe(wall, "pH", 6)
	}
	flush(t, h)
	got := minutes(t, db, "pH")
	if len(got) != 4 || got[3].Count != 2 || !got[0].At.Equal(time.Unix(-60, 0)) {
		t.Errorf("minutes %+v", got)
	}
}

func TestReadingsAreThoseOfTheSpanAskedFor(t *testing.T) {
	db := newDisk(t).open(t)
	h := db.History()
	for m := range 10 {
		h.Observe(evening.Add(time.Duration(m)*time.Minute), "pH", float64(m))
	}
	flush(t, h)
	got, err := db.Readings("pH", evening.Add(2*time.Minute+time.Second), evening.Add(5*time.Minute))
	if err != nil || len(got) != 2 || got[0].Mean != 3 || got[1].Mean != 4 {
		t.Errorf("readings %+v, %v", got, err)
	}
	if got, err := db.Readings("nothing", time.Time{}, evening.AddDate(1, 0, 0)); err != nil || len(got) != 0 {
		t.Errorf("an unknown input has %v, %v", got, err)
	}
}

func TestOldMinutesArePruned(t *testing.T) {
	db := newDisk(t).open(t)
	h := db.History()
	h.KeepFor(48 * time.Hour)
	for hour := range 24 * 5 {
		h.Observe(evening.Add(time.Duration(hour)*time.Hour), "pH", 6)
		h.Observe(evening.Add(time.Duration(hour)*time.Hour), "EC", 2)
		flush(t, h)
	}
	for _, input := range []string{"pH", "EC"} {
		if got := minutes(t, db, input); len(got) < 48 || len(got) > 50 {
			t.Errorf("%d minutes of %s are kept, want 48 and at most an hour more", len(got), input)
		}
	}
}

func TestClockYearsAheadDoesNotWipeTheHistory(t *testing.T) {
	db := newDisk(t).open(t)
	h := db.History()
	for m := range 3 * 24 * 60 {
		h.Observe(evening.Add(time.Duration(m)*time.Minute), "pH", 6)
	}
	flush(t, h)
	h.Observe(evening.AddDate(40, 0, 0), "pH", 6)
	flush(t, h)
	if got := minutes(t, db, "pH"); len(got) < 2*24*60 {
		t.Fatalf("%d minutes are left of 4320", len(got))
	}
}

func TestHistoryWaitsWhileTheDiskIsFullAndIsBounded(t *testing.T) {
	db := newDisk(t).open(t)
	h := db.History()
	limit(t, db, "(SELECT page_count FROM pragma_page_count)")
	for m := range 3000 {
		h.Observe(evening.Add(time.Duration(m)*time.Minute), "pH", 6)
	}
	if err := h.Flush(); !errors.Is(err, ledger.ErrFull) {
		t.Fatalf("on a full disk: %v", err)
	}
	if got := minutes(t, db, "pH"); len(got) != 0 {
		t.Fatalf("%d minutes of a failed flush are there", len(got))
	}
	limit(t, db, "1000000")
	flush(t, h)
	if got := minutes(t, db, "pH"); len(got) != 3000 || h.Dropped() != 0 {
		t.Fatalf("%d minutes after the disk was freed, %d dropped", len(got), h.Dropped())
	}
	for m := range mostWaiting + 50 {
		h.Observe(evening.Add(time.Duration(m)*time.Minute), "EC", 2)
	}
	if len(h.done) > mostWaiting || h.Dropped() == 0 {
		t.Errorf("%d minutes wait, %d dropped", len(h.done), h.Dropped())
	}
}

func TestAuditKeepsDeedsInOrder(t *testing.T) {
	db := newDisk(t).open(t)
	for n, what := range []string{"sign-in", "setpoint refused", "sign-out"} {
		if err := db.Audit(evening.Add(time.Duration(n)*time.Second), "ada", "page", what, strings.Repeat("x", 5000)); err != nil {
			t.Fatal(err)
		}
	}
	deeds, err := db.Deeds(2)
	if err != nil || len(deeds) != 2 || deeds[0].What != "sign-out" || deeds[1].What != "setpoint refused" ||
		!deeds[0].Wall.Equal(evening.Add(2*time.Second)) || deeds[0].Who != "ada" || deeds[0].From != "page" {
		t.Fatalf("deeds %+v, %v", deeds, err)
	}
	if n := len(deeds[0].Detail); n > longestDeed+8 {
		t.Errorf("a detail of %d bytes was kept", n)
	}
}

func TestAuditIsBounded(t *testing.T) {
	db := newDisk(t).open(t)
	if err := db.Audit(evening, "ada", "page", "sign-in", ""); err != nil {
		t.Fatal(err)
	}
	if _, err := db.write.Exec(`UPDATE sqlite_sequence SET seq = ? WHERE name = 'audit'`, mostDeeds+10); err != nil {
		t.Fatal(err)
	}
	if err := db.Audit(evening, "eve", "page", "sign-in refused", ""); err != nil {
		t.Fatal(err)
	}
	if deeds, err := db.Deeds(10); err != nil || len(deeds) != 1 || deeds[0].Who != "eve" {
		t.Fatalf("deeds %+v, %v", deeds, err)
	}
}

func TestPeopleAreAddedFoundAndRemoved(t *testing.T) {
	d := newDisk(t)
	people := d.open(t).People()
	ada := Person{Name: "Ada", Role: "engineer", Hash: "$argon2id$v=19$m=19456,t=2,p=1$c2FsdA$aGFzaA", Added: evening}
	if err := people.Add(ada); err != nil {
		t.Fatal(err)
	}
	if err := people.Add(Person{Name: "ada", Role: "view", Hash: "x", Added: evening}); !errors.Is(err, ErrKnown) {
		t.Errorf("a second ada: %v", err)
	}
	if err := people.Add(Person{Name: "Ben", Role: "view", Hash: "x", Added: evening}); err != nil {
		t.Fatal(err)
	}
	people = d.open(t).People()
	if got, err := people.Find("ADA"); err != nil || got != ada {
		t.Errorf("found %+v, %v", got, err)
	}
	if err := people.Speak("ben", "de"); err != nil {
		t.Error(err)
	}
	if err := people.Speak("nobody", "de"); !errors.Is(err, ErrNobody) {
		t.Errorf("nobody's language: %v", err)
	}
	if all, err := people.List(); err != nil || len(all) != 2 || all[1].Name != "Ben" || all[1].Language != "de" {
		t.Errorf("list %+v, %v", all, err)
	}
	if err := people.Remove("ada"); err != nil {
		t.Fatal(err)
	}
	if _, err := people.Find("Ada"); !errors.Is(err, ErrNobody) {
		t.Errorf("a removed person: %v", err)
	}
	if err := people.Remove("ada"); !errors.Is(err, ErrNobody) {
		t.Errorf("removed twice: %v", err)
	}
	for _, bad := range []Person{{Name: "", Role: "view", Hash: "x"}, {Name: "a\nb", Role: "view", Hash: "x"}, {Name: " a", Role: "view", Hash: "x"},
		{Name: strings.Repeat("a", 65), Role: "view", Hash: "x"}, {Name: "a", Hash: "x"}, {Name: "a", Role: "view"}} {
		if err := people.Add(bad); err == nil {
			t.Errorf("added %+v", bad)
		}
	}
	// None of these refusals may look like a failing disk.
	if err := d.db.writable(); err != nil {
		t.Errorf("the disk is blamed: %v", err)
	}
}
