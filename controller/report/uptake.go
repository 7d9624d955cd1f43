package report

import (
	"time"

	"leat/controller/diary"
	"leat/dosing/blend"
	"leat/dosing/ratio"
	"leat/safety/ledger"
)

// Uptake is what the plants of each tank took of each nutrient, and what was dumped.
type Uptake struct {
	Station string       `json:"station"`
	At      time.Time    `json:"at"` // the end of the record
	Tanks   []TankUptake `json:"tanks"`
}

// TankUptake is one tank: what was in it, and came in, and is in it no more.
type TankUptake struct {
	Name    string    `json:"tank"`
	From    time.Time `json:"from"`
	To      time.Time `json:"to"`
	Area    float64   `json:"plant_area_m2,omitempty"` // 0 = not stated
	Untold  string    `json:"not_told,omitempty"`      // why it cannot be said; else empty
	Taken   []Taken   `json:"taken"`
	DumpedL float64   `json:"dumped_l"`
	// ChangesL is what whole changes of the tank would have been, one in usualChange.
	ChangesL float64 `json:"whole_changes_l"`
	Analyses int     `json:"analyses"` // by which the account was corrected meanwhile
}

// Taken is one nutrient, g.
type Taken struct {
	Symbol  string   `json:"element"`
	Given   float64  `json:"given_g"`
	Water   float64  `json:"with_water_g"`
	Less    float64  `json:"less_in_tank_g"` // than at the beginning
	Dumped  float64  `json:"dumped_g"`
	Taken   float64  `json:"taken_g"`
	PerArea *float64 `json:"taken_mg_per_m2_day,omitempty"`
}

// How far back uptake is told, and how often a tank is changed where nobody keeps account of
// its ions: once in two weeks is common practice.
const (
	uptakeDays  = 28
	usualChange = 14 * aDay
	leastUptake = 2 * aDay // in less the account's own steps are as large as what is taken
)

// ReadUptake tells the uptake of a record's last four weeks.
func ReadUptake(record Record) (*Uptake, error) {
	past, station, err := lastDays(record, uptakeDays)
	if err != nil {
		return nil, err
	}
	u := &Uptake{Station: station.Name, At: past.To}
	for i := range station.Tanks {
		u.Tanks = append(u.Tanks, uptakeOf(past, station, &station.Tanks[i]))
	}
	return u, nil
}

func uptakeOf(past *diary.Past, station *diary.Station, tank *diary.Tank) TankUptake {
	t := TankUptake{Name: tank.Name, Area: tank.Area, Taken: []Taken{}}
	begin, end, known := t.accounts(past)
	switch {
	case len(tank.Water) == 0:
		t.Untold = "the tank has no recipe with its source water, so nobody keeps account of its ions"
	case !known || t.To.Sub(t.From) < leastUptake:
		t.Untold = "less than two days of the account of its ions are on record since the record began or other water was let in"
	}
	if t.Untold != "" {
		return t
	}
	litres := 0.0
	for day := t.From; day.Before(t.To); day = day.Add(aDay) {
		d, _ := waterDay(past, tank, valvesOf(station), day, earlier(day.Add(aDay), t.To))
		litres, t.DumpedL = litres+d.ToppedL+d.AddedL, t.DumpedL+d.DumpedL
	}
	days := t.To.Sub(t.From).Hours() / 24
	t.ChangesL = tank.Litres * float64(t.To.Sub(t.From)) / float64(usualChange)
	given := t.given(past, station)
	for s := blend.NO3; s < blend.Carbon; s++ {
		name := s.Symbol()
		n := Taken{Symbol: name, Given: given[name], Water: litres * tank.Water[name] / 1000, Less: (begin.Milligrams(s) - end.Milligrams(s)) * tank.Litres / 1000,
			Dumped: t.DumpedL * (begin.Milligrams(s) + end.Milligrams(s)) / 2000}
		n.Taken = n.Given + n.Water + n.Less - n.Dumped
		if n.Given+n.Water == 0 {
			continue
		}
		if t.Area > 0 {
			per := 1000 * n.Taken / t.Area / days
			n.PerArea = &per
		}
		t.Taken = append(t.Taken, n)
	}
	return t
}

// accounts are the first and the last account of the ions since other water was let in.
func (t *TankUptake) accounts(past *diary.Past) (begin, end blend.Content, known bool) {
	for i := range past.Entries {
		e := &past.Entries[i]
		if e.Tank != t.Name || e.At.Wall.Before(past.From) {
			continue
		}
		switch e.Change {
		case ledger.ChangeConfirmed:
			known = known && (e.Text == "" || e.Text == sameWater)
		case ledger.ChangeAnalysis:
			t.Analyses++
		case ledger.ChangeIons:
			held, err := ratio.Holds(e.Text)
			if err != nil {
				continue
			}
			if !known {
				begin, t.From, known = held, e.At.Wall.In(past.Zone), true
				t.Analyses = 0
			}
			end, t.To = held, e.At.Wall.In(past.Zone)
		}
	}
	return begin, end, known
}

// given is g of each nutrient that doses and additions by hand brought.
func (t *TankUptake) given(past *diary.Past, station *diary.Station) map[string]float64 {
	grams := map[string]float64{}
	for _, d := range dosesOf(past, t.Name) {
		if d.At.Before(t.From) || !d.At.Before(t.To) || d.Outcome == ledger.OutcomeWithdrawn.String() {
			continue
		}
		for i := range station.Pumps {
			if p := &station.Pumps[i]; p.Name == d.Pump {
				for symbol, mg := range p.Holds {
					grams[symbol] += mg * d.ML / 1000
				}
			}
		}
	}
	return grams
}
