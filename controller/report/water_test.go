package report_test

import (
	"strings"
	"testing"
	"time"

	"leat/controller/diary"
	"leat/controller/report"
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
