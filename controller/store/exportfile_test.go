package store

import (
	"bytes"
	"database/sql"
	"encoding/csv"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"leat/controller/diary"
)

// farm is a record with an event, readings and a start.
func farm(t *testing.T) *DB {
	t.Helper()
	db := newDisk(t).open(t)
	h := db.History()
	for m := range 3 {
		h.Observe(evening.Add(time.Duration(m)*time.Minute), "pond/ph", 6+float64(m)/7)
	}
	h.Note(diary.Event{At: evening, Tank: "pond", Kind: diary.KindSetpoint, Name: diary.PH, Value: 5.8})
	h.Note(diary.Event{At: evening.Add(50 * time.Hour), Tank: "film", Kind: diary.KindInterlock, Name: "leak", Value: 1, Text: "a, \"b\""})
	flush(t, h)
	return db
}

func TestOneFileHoldsEveryTableAndWhatItsColumnsAre(t *testing.T) {
	db := farm(t)
	path := filepath.Join(t.TempDir(), "farm.sqlite")
	if err := db.ExportFile(path, Selection{}); err != nil {
		t.Fatal(err)
	}
	file, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	for _, kind := range ExportKinds {
		var out bytes.Buffer
		if err := db.Export(&out, kind, "csv", Selection{}); err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(&out).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		var count int
		if err := file.QueryRow(`SELECT count(*) FROM ` + kind).Scan(&count); err != nil || count != len(rows)-1 {
			t.Errorf("%s: %d rows (%v), as CSV %d", kind, count, err, len(rows)-1)
		}
		for _, column := range rows[0] {
			var unit, meaning string
			err := file.QueryRow(`SELECT unit, meaning FROM dictionary WHERE kind = ? AND "column" = ?`, kind, column).Scan(&unit, &meaning)
			if err != nil || meaning == "" {
				t.Errorf("%s.%s stands in no dictionary: %v", kind, column, err)
			}
			if suffix := column[strings.LastIndex(column, "_")+1:]; slices.Contains([]string{"ml", "c", "cm"}, suffix) && unit == "" {
				t.Errorf("%s.%s has no unit", kind, column)
			}
		}
	}
	var mean float64
	var minute string
	if err := file.QueryRow(`SELECT minute, mean FROM readings ORDER BY minute DESC LIMIT 1`).Scan(&minute, &mean); err != nil || mean != 6+2.0/7 || minute != "2031-03-04T19:02:00Z" {
		t.Errorf("%s %v, %v", minute, mean, err)
	}
	if err := db.ExportFile(path, Selection{}); err == nil || !strings.Contains(err.Error(), "exists already") {
		t.Errorf("a second export over the first: %v", err)
	}
}

func TestEventsAreNarrowedByTimeAndTank(t *testing.T) {
	db := farm(t)
	for selection, want := range map[Selection]int{{}: 2, {Tank: "film"}: 1, {To: evening.Add(time.Hour)}: 1, {From: evening.Add(time.Hour), Tank: "pond"}: 0} {
		var out bytes.Buffer
		if err := db.Export(&out, "events", "csv", selection); err != nil {
			t.Fatal(err)
		}
		if n := strings.Count(out.String(), "\n") - 1; n != want {
			t.Errorf("%s: %d events, want %d:\n%s", fmt.Sprintf("%+v", selection), n, want, out.String())
		}
	}
}
