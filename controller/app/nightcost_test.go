package app

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"leat/controller/diary"
	"leat/controller/store"
)

const recordedTanks = 10

// aYear is a record of ten tanks over a year that ends at to.
func aYear(b *testing.B) (db *store.DB, to time.Time) {
	b.Helper()
	db, err := store.Open(b.TempDir())
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { _ = db.Close() })
	const days, tanks = 366, recordedTanks
	from := time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC)
	to = from.AddDate(0, 0, days).Add(-time.Hour)
	var rows []string
	for i := range tanks {
		rows = append(rows, fmt.Sprintf(`{"name":"t%d","litres":500,"ph_inputs":["t%d/ph"],"ec_inputs":["t%d/ec"]}`, i, i, i))
	}
	station := `{"name":"row","zone":"UTC","tanks":[` + strings.Join(rows, ",") + `],"pumps":[]}`
	h := db.History()
	for day := range days {
		at := from.AddDate(0, 0, day)
		h.Note(diary.Event{At: at, Kind: diary.KindStation, Text: station})
		every := 60
		if day == days-1 {
			every = 1
		}
		for i := range tanks {
			h.Note(diary.Event{At: at, Tank: fmt.Sprintf("t%d", i), Kind: diary.KindSetpoint, Name: diary.PH, Value: 5.8})
			for minute := 0; minute < 24*60; minute += every {
				moment := at.Add(time.Duration(minute) * time.Minute)
				wave := math.Sin(float64(minute) / 200)
				h.Observe(moment, fmt.Sprintf("t%d/ph", i), 5.8+float64(wave/10))
				h.Observe(moment, fmt.Sprintf("t%d/ec", i), 1.8+float64(wave/20))
			}
		}
		if err := h.Flush(); err != nil {
			b.Fatal(err)
		}
	}
	return db, to
}

// What 30 days of ten tanks cost that have a year on record: "ms/plot", each day of it kept
// but the last one, which is told of its minutes.
func BenchmarkThirtyDaysOfAYearOfTenTanks(b *testing.B) {
	db, to := aYear(b)
	month := func() {
		all, err := nights{db}.of(to.AddDate(0, 0, -29), to)
		if err != nil || len(all) != recordedTanks || len(all["t0"].PH.Line) < 200 {
			b.Fatalf("%d tanks, %v", len(all), err)
		}
	}
	month() // the days before today are told once
	for b.Loop() {
		month()
	}
	b.ReportMetric(b.Elapsed().Seconds()*1000/float64(b.N), "ms/plot")
}
