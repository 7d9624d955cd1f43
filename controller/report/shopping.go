package report

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"leat/controller/diary"
	"leat/dosing"
)

// Shopping is what must be bought so that the containers last some weeks.
type Shopping struct {
	Station string    `json:"station"`
	At      time.Time `json:"at"` // the end of the record
	Weeks   int       `json:"weeks"`
	Days    int       `json:"days"`          // on which the demand rests
	Usual   bool      `json:"by_usual_crop"` // no such day is on record: the demand is that of a usual crop
	Verdict string    `json:"verdict"`
	Buy     []Buy     `json:"buy"`
	Make    []Make    `json:"make"`
}

// Buy is one salt in kg, or one acid or base in litres as its label names it.
type Buy struct {
	What   string   `json:"what"`
	KG     float64  `json:"kg,omitempty"`
	Litres float64  `json:"litres,omitempty"`
	For    []string `json:"for"` // pumps
}

// Make is how much of a liquid the weeks need beyond what is there.
type Make struct {
	Pump   string   `json:"pump"`
	Liquid string   `json:"liquid"`
	Need   float64  `json:"need_litres"` // at the mean of the days
	Most   float64  `json:"most_litres"` // what is bought for: enough nine times out of ten
	Left   *float64 `json:"left_litres,omitempty"`
	Why    string   `json:"why_not,omitempty"` // it is not known what to buy for it, or how much
}

// shoppingWeeks bounds the weeks: salts keep, a demand does not.
const shoppingWeeks = 26

// ShoppingOf is what the containers of these stocks need.
func ShoppingOf(stocks *Stocks, station *diary.Station, weeks int) (*Shopping, error) {
	if weeks < 1 || weeks > shoppingWeeks {
		return nil, unclear("-weeks %d: want 1 to %d", weeks, shoppingWeeks)
	}
	r := &Shopping{Station: stocks.Station, At: stocks.At, Weeks: weeks, Days: stocks.Days, Usual: stocks.Usual, Buy: []Buy{}, Make: []Make{}}
	if stocks.Days == 0 && !stocks.Usual {
		r.Verdict = "No whole day with doses is on record yet, so nothing can be forecast."
		return r, nil
	}
	unknown := 0
	for i := range stocks.Stocks {
		m := r.add(&stocks.Stocks[i], &station.Pumps[i])
		if m.Why == untoldSalts {
			unknown++
		}
		r.Make = append(r.Make, m)
	}
	slices.SortStableFunc(r.Buy, func(a, b Buy) int { return cmp.Compare(a.What, b.What) })
	r.Verdict = fmt.Sprintf("For %s, by the demand of %s.", Counted(weeks, "week"), Counted(stocks.Days, "day"))
	if r.Usual {
		r.Verdict = fmt.Sprintf("For %s. No whole day with doses is on record yet: %s.", Counted(weeks, "week"), byUsualCrop)
	}
	if unknown > 0 {
		r.Verdict += fmt.Sprintf(" Of %s it is not known what is in it.", Counted(unknown, "liquid"))
	}
	return r, nil
}

// untoldSalts is why it is not known what to buy for a stock.
const untoldSalts = "the configuration does not tell its salts"

func (r *Shopping) add(s *Stock, pump *diary.Pump) Make {
	if s.drawn == nil {
		return Make{Pump: s.Pump, Liquid: s.Liquid, Left: litresLeft(s), Why: "its demand is known after the first day with doses"}
	}
	need, most := dosing.Needs(float64(7*r.Weeks), s.drawn)
	m := Make{Pump: s.Pump, Liquid: s.Liquid, Need: need / 1000, Most: most / 1000, Left: litresLeft(s)}
	missing := m.Most
	if m.Left != nil {
		missing = max(missing-*m.Left, 0)
	}
	switch {
	case missing == 0:
	case pump.Parts > 0:
		r.buy(s.Liquid, 0, missing/pump.Parts, s.Pump)
	case len(pump.Salts) > 0:
		for salt, grams := range pump.Salts {
			r.buy(salt, grams*missing/1000, 0, s.Pump)
		}
	default:
		m.Why = untoldSalts
	}
	return m
}

// litresLeft is what a container holds; nil = not known.
func litresLeft(s *Stock) *float64 {
	if s.Left == nil {
		return nil
	}
	left := *s.Left / 1000
	return &left
}

func (r *Shopping) buy(what string, kg, litres float64, pump string) {
	i := slices.IndexFunc(r.Buy, func(b Buy) bool { return b.What == what && (b.KG > 0) == (kg > 0) })
	if i < 0 {
		i, r.Buy = len(r.Buy), append(r.Buy, Buy{What: what})
	}
	b := &r.Buy[i]
	b.KG, b.Litres, b.For = b.KG+kg, b.Litres+litres, append(b.For, pump)
	slices.Sort(b.For)
}

// ReadShopping makes the list of a record.
func ReadShopping(record Record, weeks int) (*Shopping, error) {
	stocks, err := ReadStocks(record)
	if err != nil {
		return nil, err
	}
	_, _, station, err := spanOf(record)
	if err != nil {
		return nil, err
	}
	return ShoppingOf(stocks, station, weeks)
}
