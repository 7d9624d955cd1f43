package store

import (
	"math"
	"testing"
	"time"
)

// What a page draws of a month is what the minutes say, over whole hours.
func TestAMonthIsDrawnFromSumsThatAgreeWithItsMinutes(t *testing.T) {
	db := newDisk(t).open(t)
	h := db.History()
	from := evening.Truncate(24 * time.Hour)
	for minute := range 3 * 24 * 60 {
		h.Observe(from.Add(time.Duration(minute)*time.Minute), "pond/ph", 6+float64(math.Sin(float64(minute)/300)))
		if minute%1000 == 0 { // a flush within an hour, as at a restart
			if err := h.Flush(); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := h.Flush(); err != nil {
		t.Fatal(err)
	}
	to := from.Add(72 * time.Hour)
	minutes, err := db.Readings("pond/ph", from, to)
	if err != nil || len(minutes) != 72*60 {
		t.Fatalf("%d minutes, %v", len(minutes), err)
	}
	for _, step := range []time.Duration{time.Hour, 3 * time.Hour, 24 * time.Hour} {
		sums, err := Coarse(db, "pond/ph", from, to, step)
		if err != nil || len(sums) != int(to.Sub(from)/step) {
			t.Fatalf("step %s: %d sums, %v", step, len(sums), err)
		}
		each := int(step / time.Minute)
		for n, sum := range sums {
			low, high, mean := math.Inf(1), math.Inf(-1), 0.0
			for _, m := range minutes[n*each : (n+1)*each] {
				low, high, mean = min(low, m.Low), max(high, m.Top), mean+m.Mean/float64(each)
			}
			if !sum.At.Equal(from.Add(time.Duration(n)*step)) || sum.Count != each || sum.Low != low || sum.Top != high || math.Abs(sum.Mean-mean) > 1e-9 {
				t.Fatalf("step %s, %d: %+v, want %g %g %g of %d", step, n, sum, low, mean, high, each)
			}
		}
	}
	if none, err := Coarse(db, "pond/ph", to, to.Add(time.Hour), time.Hour); err != nil || len(none) > 0 {
		t.Errorf("after the record: %v, %v", none, err)
	}
}

func TestWhatWasToldOfADayIsKept(t *testing.T) {
	db := newDisk(t).open(t)
	days := DaysOf(db)
	if told, err := days.Find("2026-03-01"); err != nil || len(told) > 0 {
		t.Fatalf("%v, %v", told, err)
	}
	for _, body := range []string{"{}", `{"ph":1}`} {
		if err := days.Keep("2026-03-01", map[string]string{"pond": body}); err != nil {
			t.Fatal(err)
		}
	}
	if told, err := days.Find("2026-03-01"); err != nil || told["pond"] != `{"ph":1}` {
		t.Errorf("%v, %v", told, err)
	}
}
