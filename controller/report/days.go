package report

import (
	"time"

	"leat/controller/diary"
)

// Day is one day of a longer report.
type Day struct {
	Date string             `json:"date"`
	PH   *float64           `json:"ph_in_band,omitempty"`
	EC   *float64           `json:"ec_in_band,omitempty"`
	ML   map[string]float64 `json:"ml"` // by pump
}

// daysOf are the days of a tank, from midnight to midnight of the farm.
func daysOf(past *diary.Past, t *Tank) (days []Day) {
	pH, ec := t.PH.sharesByDay(), t.EC.sharesByDay()
	ml := map[string]map[string]float64{}
	for _, dose := range t.Doses {
		date := dose.At.Format(time.DateOnly)
		if ml[date] == nil {
			ml[date] = map[string]float64{}
		}
		ml[date][dose.Pump] += dose.ML
	}
	for from := past.From; from.Before(past.To); {
		date := from.Format(time.DateOnly)
		days = append(days, Day{Date: date, PH: pH[date], EC: ec[date], ML: ml[date]})
		from = time.Date(from.Year(), from.Month(), from.Day()+1, 0, 0, 0, 0, from.Location())
	}
	return days
}

// sharesByDay are the shares in band of each day on which anything is known.
func (h *Held) sharesByDay() map[string]*float64 {
	in, all, next := map[string]int{}, map[string]int{}, 0
	for _, p := range h.Line {
		for next < len(h.Set) && !h.Set[next].At.After(p.At.Add(time.Minute)) {
			next++
		}
		if next == 0 {
			continue
		}
		date := p.At.Format(time.DateOnly)
		all[date]++
		if off := p.Value - h.Set[next-1].Value; off <= h.Band+rounding && -off <= h.Band+rounding {
			in[date]++
		}
	}
	shares := map[string]*float64{}
	for date, n := range all {
		share := float64(in[date]) / float64(n)
		shares[date] = &share
	}
	return shares
}
