package store

import (
	"testing"
	"time"
)

// mostAYear is what a tank may add to the file in a year; deploy/backup.md states it.
const mostAYear = 300e6

// The disk budget: ten inputs that speak each second, 150 doses of two rows a day.
func TestBudgetOfADiskHoldsForATanksYear(t *testing.T) {
	d := newDisk(t)
	db := d.open(t)
	l := book(t, db)
	history := db.History()
	inputs := []string{"ph", "ph_2", "ec", "ec_2", "temperature", "level", "circulation", "top_up", "leak", "oxygen"}
	size := func() (bytes float64) {
		var pages, each float64
		if err := db.read.QueryRow("SELECT page_count, page_size FROM pragma_page_count, pragma_page_size").Scan(&pages, &each); err != nil {
			t.Fatal(err)
		}
		return pages * each
	}
	row, before := 0, 0.0
	const days = 3
	for day := range days {
		for minute := range 24 * 60 {
			at := evening.AddDate(0, 0, day).Add(time.Duration(minute) * time.Minute)
			for i, name := range inputs {
				history.Observe(at, "north/"+name, 5.8+float64(minute%7)/100+float64(i))
				history.Observe(at.Add(time.Second), "north/"+name, 5.8+float64(minute%5)/100+float64(i))
			}
			if minute%5 == 0 { // 288 rows a day
				row++
				if err := l.Append(change(row)); err != nil {
					t.Fatal(err)
				}
				if err := history.Flush(); err != nil {
					t.Fatal(err)
				}
			}
		}
		if day == 0 {
			before = size()
		}
	}
	year := (size() - before) / (days - 1) * 365
	t.Logf("%.0f MB a tank and year", year/1e6)
	if year > mostAYear || year < mostAYear/10 {
		t.Errorf("a tank's year takes %.0f MB, and %.0f are told", year/1e6, mostAYear/1e6)
	}
}
