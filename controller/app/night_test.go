package app

import (
	"fmt"
	"math"
	"testing"
	"time"

	"leat/controller/diary"
	"leat/controller/store"
	"leat/dosing"
	"leat/safety/ledger"
)

// A month is told of what each of its days held, which is kept, and of sums; a night of
// its minutes. The record is one of forty days with a dose every six hours.
func TestAMonthIsToldByItsDaysAndANightByItsMinutes(t *testing.T) {
	db, err := store.Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = db.Close() })
	const days = 40
	from := time.Date(2031, 5, 1, 0, 0, 0, 0, time.UTC)
	to := from.AddDate(0, 0, days)
	book, err := ledger.Open(db)
	if err != nil {
		t.Fatal(err)
	}
	h := db.History()
	station := `{"name":"row","zone":"UTC","tanks":[{"name":"pond","litres":500,"ph_inputs":["pond/ph"],"ec_inputs":["pond/ec"]}],"pumps":[{"name":"acid","liquid":"nitric acid","role":"acid","tanks":["pond"]}]}`
	for day := range days {
		at := from.AddDate(0, 0, day)
		h.Note(diary.Event{At: at, Kind: diary.KindStation, Text: station})
		h.Note(diary.Event{At: at, Tank: "pond", Kind: diary.KindSetpoint, Name: diary.PH, Value: 5.8 + float64(day)/100})
		h.Note(diary.Event{At: at.Add(time.Hour), Tank: "pond", Kind: diary.KindInterlock, Name: "flood", Value: 1})
		h.Note(diary.Event{At: at.Add(2 * time.Hour), Tank: "pond", Kind: diary.KindInterlock, Name: "flood"})
		for minute := 0; minute < 24*60; minute += 10 {
			h.Observe(at.Add(time.Duration(minute)*time.Minute), "pond/ph", 5.8)
		}
		if err := h.Flush(); err != nil {
			t.Fatal(err)
		}
		for dose := range 4 {
			change := ledger.Change{Kind: ledger.ChangeHandDose, Tank: "pond", Pump: "acid", Volume: 10 * dosing.Millilitre, Text: fmt.Sprintf("H%d-%d", day, dose), By: "ada",
				At: dosing.Instant{Wall: at.Add(time.Duration(dose) * 6 * time.Hour)}}
			if err := book.Append(change); err != nil {
				t.Fatal(err)
			}
		}
	}
	for range 2 { // made, then kept
		all, err := nights{db}.of(to.AddDate(0, 0, -30), to)
		if err != nil || all["pond"] == nil {
			t.Fatalf("%v, %v", all, err)
		}
		n := all["pond"]
		if want := "In band pH 3 % on 30 days; 1.20 L acid."; n.Sentence != want {
			t.Errorf("%q, want %q", n.Sentence, want)
		}
		if len(n.Lanes) != 1 || len(n.Lanes[0].Doses) != 30 || n.Lanes[0].Doses[29].ML != 40 || n.Lanes[0].Doses[29].Count != 4 || n.Lanes[0].ML != 1200 {
			t.Errorf("lanes %+v", n.Lanes)
		}
		if len(n.Held) != 30 || n.Held[0].Cause != "flood" || n.Held[0].To.Sub(n.Held[0].From) != time.Hour {
			t.Errorf("interlocks %+v", n.Held)
		}
		if len(n.PH.Set) != 30 || math.Abs(n.PH.Set[29].Value-6.19) > 1e-9 || len(n.PH.Line) < 200 || len(n.PH.Line) > 300 {
			t.Errorf("%d setpoints, %d points", len(n.PH.Set), len(n.PH.Line))
		}
	}
	if told, err := store.DaysOf(db).Find("2031-06-09"); err != nil || told["pond"] == "" {
		t.Errorf("the last whole day is not kept: %v, %v", told, err)
	}
	all, err := nights{db}.of(to.Add(-12*time.Hour), to)
	if err != nil || all["pond"] == nil || len(all["pond"].PH.Line) != 72 || len(all["pond"].Lanes[0].Doses) != 2 {
		t.Errorf("a night: %+v, %v", all["pond"], err)
	}
}
