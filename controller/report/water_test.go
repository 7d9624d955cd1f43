package report_test

import (
	"strings"
	"testing"
	"time"

	"leat/controller/diary"
	"leat/controller/report"
	"leat/dosing"
	"leat/safety/ledger"
)

// watered is a past of some whole days: the level as said by the hour of the record, and
// litres of top-up by that hour.
func watered(days int, area float64, level func(hour int) float64, topUp map[int]float64) *report.Water {
	from := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	past := &diary.Past{From: from, To: from.AddDate(0, 0, days), Last: from.AddDate(0, 0, days), Zone: time.UTC, Minutes: map[string]diary.Minutes{}}
	for h := range 24 * days {
		at := from.Add(time.Duration(h) * time.Hour)
		for m := 0; m < 60; m += 20 {
			past.Minutes["north/level"] = append(past.Minutes["north/level"], diary.Minute{At: at.Add(time.Duration(m) * time.Minute), Count: 12, Mean: level(h)})
		}
		if l := topUp[h]; l > 0 {
			past.Events = append(past.Events, diary.Event{At: at, Tank: "north", Kind: diary.KindTopUp, Value: l})
		}
	}
	return report.WaterOf(past, &diary.Station{Name: "row", Tanks: []diary.Tank{{Name: "north", Litres: 2000, Area: area, Level: "north/level"}}}, past.From, past.To)
}

func used(t *testing.T, w *report.Water, day int) float64 {
	t.Helper()
	if d := w.Tanks[0].Days[day]; d.UsedL != nil {
		return *d.UsedL
	}
	t.Fatalf("nothing is known of day %d: %+v", day, w.Tanks[0].Days[day])
	return 0
}

func TestWaterThatPlantsTakeAndTopUpReplacesBalances(t *testing.T) {
	// 4 L an hour, replaced at noon by 96.
	level := func(h int) float64 {
		if h%24 >= 12 {
			return 2000 - 4*float64(h%24) + 96
		}
		return 2000 - 4*float64(h%24)
	}
	w := watered(3, 40, level, map[int]float64{12: 96, 36: 96, 60: 96})
	// From the first to the last hour of a day: 23 hours.
	if got := used(t, w, 1); got < 91 || got > 97 || w.Verdict != "The water balances." {
		t.Errorf("%.1f L, %s", got, w.Verdict)
	}
	if w := watered(3, 5, level, map[int]float64{12: 96, 36: 96, 60: 96}); !strings.Contains(w.Verdict, "look for a leak") {
		t.Errorf("19 L/m² a day is no leak: %s", w.Verdict)
	}
}

func TestADayThatLosesTwiceTheUsualLooksLikeALeak(t *testing.T) {
	w := watered(6, 0, func(h int) float64 {
		if h >= 96 {
			return 2000 - 2*96 - 8*float64(h-96)
		}
		return 2000 - 2*float64(h)
	}, nil)
	if !strings.Contains(w.Verdict, "2031-03-05") || !strings.Contains(w.Verdict, "look for a leak") || strings.Contains(w.Verdict, "2031-03-04") {
		t.Error(w.Verdict)
	}
}

func TestADumpIsNoUseAndAFloodIsNoDump(t *testing.T) {
	w := watered(1, 0, func(h int) float64 {
		switch {
		case h == 6: // a flood that is out for the hour
			return 1600
		case h >= 15:
			return 1000 // half was dumped
		}
		return 2000
	}, nil)
	if d := w.Tanks[0].Days[0]; d.DumpedL != 1000 || used(t, w, 0) != 0 {
		t.Errorf("%+v", d)
	}
}

func TestALevelThatNeverMovesWhileWaterComesInIsAGaugeThatSticks(t *testing.T) {
	w := watered(1, 0, func(int) float64 { return 1980 }, map[int]float64{8: 30, 16: 30})
	if !strings.Contains(w.Verdict, "gauge sticks") {
		t.Error(w.Verdict)
	}
}

// What a valve of leat lets in is in the ledger as an order and shows at the level as top-up: it came in once.
func TestWaterOfOurOwnValveIsCountedOnce(t *testing.T) {
	from := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	past := &diary.Past{From: from, To: from.AddDate(0, 0, 1), Last: from.AddDate(0, 0, 1), Zone: time.UTC, Minutes: map[string]diary.Minutes{}}
	for h := range 24 {
		level := 2000 - 4*float64(h)
		if h >= 12 {
			level += 96
		}
		past.Minutes["north/level"] = append(past.Minutes["north/level"], diary.Minute{At: from.Add(time.Duration(h) * time.Hour), Count: 12, Mean: level})
	}
	noon := from.Add(12 * time.Hour)
	past.Events = []diary.Event{{At: noon, Tank: "north", Kind: diary.KindTopUp, Value: 96}}
	for n := range 10 {
		past.Entries = append(past.Entries, ledger.Entry{Kind: ledger.EntryIntent, At: dosing.Instant{Wall: noon.Add(time.Duration(n) * time.Minute)}, Tank: "north", Pump: "fill",
			Order: ledger.OrderID{Epoch: 1, Number: uint32(n + 1)}, Volume: dosing.FromMillilitres(9600)})
	}
	w := report.WaterOf(past, &diary.Station{Name: "row", Pumps: []diary.Pump{{Name: "fill", Role: "water", Tanks: []string{"north"}}},
		Tanks: []diary.Tank{{Name: "north", Litres: 2000, Level: "north/level"}}}, past.From, past.To)
	if got := used(t, w, 0); got < 91 || got > 97 {
		t.Errorf("%.1f L went, 92 did", got)
	}
	if off := w.Tanks[0].Days[0].OffL; off < 5 || off > 20 {
		t.Errorf("± %.1f L", off)
	}
}

// A lettuce floor that uses what was published gives no alarm, and one that uses ten times that does. Barbosa et al.,
// Int. J. Environ. Res. Public Health 12 (2015) 6879: 20 ± 3.8 L for a kg, 41 ± 6.1 kg for a m² and year. Pennisi et al.,
// Sci. Rep. 9 (2019) 14127: up to 75 g of fresh mass for a litre, which is 13.3 L for a kg.
func TestPublishedWaterUseOfLettuceIsPlausible(t *testing.T) {
	const kg = 41.0 / 365 // for a m² and day
	const area = 40.0
	for _, perKg := range []float64{20 - 3.8, 20, 20 + 3.8, 1000.0 / 75} {
		daily := perKg * kg * area
		level := func(h int) float64 { return 2000 - daily*float64(h)/24 }
		if w := watered(2, area, level, nil); w.Verdict != "The water balances." {
			t.Errorf("%.1f L for a kg: %s", perKg, w.Verdict)
		}
		leaking := func(h int) float64 { return 2000 - 10*daily*float64(h)/24 }
		if w := watered(2, area, leaking, map[int]float64{23: 1}); !strings.Contains(w.Verdict, "look for a leak") {
			t.Errorf("ten times %.1f L for a kg: %s", perKg, w.Verdict)
		}
	}
}
