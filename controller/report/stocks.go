package report

import (
	"fmt"
	"strings"
	"time"

	"leat/controller/diary"
	"leat/dosing"
	"leat/dosing/ratio"
	"leat/safety/ledger"
)

// Stocks is what the containers hold and how long it lasts.
type Stocks struct {
	Station string    `json:"station"`
	At      time.Time `json:"at"` // the end of the record
	Verdict string    `json:"verdict"`
	Days    int       `json:"days"`          // on which the demand rests
	Usual   bool      `json:"by_usual_crop"` // no such day is on record: the demand is that of a usual crop
	Stocks  []Stock   `json:"stocks"`
}

// Stock is one container.
type Stock struct {
	Pump      string    `json:"pump"`
	Liquid    string    `json:"liquid"`
	Role      string    `json:"role"`
	Container float64   `json:"container_ml,omitempty"`
	Left      *float64  `json:"left_ml,omitempty"` // nil = no refill was entered
	Refilled  time.Time `json:"refilled,omitzero"`
	By        string    `json:"by,omitempty"`
	Batch     string    `json:"batch,omitempty"`
	Note      string    `json:"note,omitempty"`
	PerDay    *float64  `json:"ml_per_day,omitempty"` // mean of the days, or of a usual crop; nil = not foreseen
	Lasts     *Range    `json:"lasts_days,omitempty"` // nil = not known, or nothing is drawn
	usual     float64   // mL a day of a usual crop
	days      [demandDays]float64
	drawn     []float64 // on the days that tell of a demand
}

// Range is a forecast in days. Low and High hold about nine times out of ten if the days
// to come are like those before.
type Range struct {
	Days float64 `json:"days"`
	Min  float64 `json:"min"`
	Max  float64 `json:"max"`
}

// demandDays is how many days the demand rests on.
const demandDays = 14

// StockCounter follows a ledger from its first row.
type StockCounter struct {
	stocks  *Stocks
	place   map[string]int
	open    map[ledger.OrderID]drawn
	active  [demandDays]bool // days on which anything was dosed
	history time.Duration
}

// drawn is what counts of a dose so far.
type drawn struct {
	at time.Time
	ml float64
}

// NewStockCounter counts the containers of a station whose record begins and ends then.
func NewStockCounter(station *diary.Station, first, last time.Time) *StockCounter {
	c := &StockCounter{stocks: &Stocks{Station: station.Name, At: last}, place: map[string]int{}, open: map[ledger.OrderID]drawn{}, history: last.Sub(first)}
	for i := range station.Pumps {
		p := &station.Pumps[i]
		c.place[p.Name] = len(c.stocks.Stocks)
		c.stocks.Stocks = append(c.stocks.Stocks, Stock{Pump: p.Name, Liquid: p.Liquid, Role: p.Role, Container: p.Container, usual: p.Usual})
	}
	return c
}

// Follow takes the next entry.
func (c *StockCounter) Follow(e ledger.Entry) error {
	n, known := c.place[e.Pump]
	if !known {
		return nil
	}
	s, ml := &c.stocks.Stocks[n], e.Volume.Millilitres()
	switch {
	case e.Kind == ledger.EntryIntent:
		c.open[e.Order] = drawn{e.At.Wall, ml}
		c.draw(s, e.At.Wall, ml)
	case e.Kind == ledger.EntrySettlement:
		was, open := c.open[e.Order]
		if open {
			c.open[e.Order] = drawn{was.at, ml}
			c.draw(s, was.at, ml-was.ml)
		}
	case e.Change == ledger.ChangeRefill:
		s.Left, s.Refilled, s.By, s.Batch, s.Note = &ml, e.At.Wall.In(c.stocks.At.Location()), ledger.Printable(e.By), ledger.Printable(e.Text), ledger.Printable(e.Note)
	}
	return nil
}

// draw takes from a container and counts on the day, the last of which ends with the
// record.
func (c *StockCounter) draw(s *Stock, at time.Time, ml float64) {
	if s.Left != nil {
		left := *s.Left - ml
		s.Left = &left
	}
	if day := int(c.stocks.At.Sub(at) / aDay); day >= 0 && day < demandDays {
		s.days[day] += ml
		c.active[day] = c.active[day] || ml > 0
	}
}

// End is the forecast.
func (c *StockCounter) End() *Stocks {
	r := c.stocks
	var days []int
	for day := range min(int(c.history/aDay), demandDays) {
		if c.active[day] {
			days = append(days, day) // a day on which nothing at all was dosed tells of no demand
		}
	}
	r.Days = len(days)
	for i := range r.Stocks {
		s := &r.Stocks[i]
		if s.Left != nil {
			left := max(*s.Left, 0)
			s.Left = &left
		}
		switch {
		case len(days) > 0:
			s.forecast(days)
		case s.usual > 0:
			// One day, of which nobody knows how much the others differ.
			s.drawn, r.Usual = []float64{s.usual}, true
			s.lasts()
		}
	}
	r.Verdict = r.verdict()
	return r
}

func (s *Stock) forecast(active []int) {
	for _, day := range active {
		s.drawn = append(s.drawn, s.days[day])
	}
	s.lasts()
}

// lasts forecasts from what is drawn in a day.
func (s *Stock) lasts() {
	left := 0.0
	if s.Left != nil {
		left = *s.Left
	}
	l := dosing.Lasts(left, s.drawn)
	s.PerDay = &l.PerDay
	if s.Left != nil && l.PerDay > 0 {
		s.Lasts = &Range{Days: l.Days, Min: l.Low, Max: l.High}
	}
}

func (r *Stocks) verdict() string {
	shortest, unknown := -1, 0
	for i := range r.Stocks {
		s := &r.Stocks[i]
		if s.Left == nil {
			unknown++
		}
		if s.Lasts != nil && (shortest < 0 || s.Lasts.Days < r.Stocks[shortest].Lasts.Days) {
			shortest = i
		}
	}
	var parts []string
	if shortest >= 0 {
		s := &r.Stocks[shortest]
		parts = append(parts, fmt.Sprintf("%s runs out first, in %s", s.Pump, s.Lasts))
	}
	if unknown > 0 {
		parts = append(parts, fmt.Sprintf("of %d of %d containers no refill was entered, so what is left is not known", unknown, len(r.Stocks)))
	}
	switch {
	case r.Usual:
		parts = append(parts, "no whole day with doses is on record yet: "+byUsualCrop)
	case r.Days == 0:
		parts = append(parts, "no whole day is on record yet, so nothing is forecast")
	}
	if len(parts) == 0 {
		return "No container is drawn from."
	}
	text := strings.Join(parts, "; ")
	return strings.ToUpper(text[:1]) + text[1:] + "."
}

func (l *Range) String() string {
	if l.Days < 10 {
		return fmt.Sprintf("%.1f days (%.1f to %.1f)", l.Days, l.Min, l.Max)
	}
	return fmt.Sprintf("%.0f days (%.0f to %.0f)", l.Days, l.Min, l.Max)
}

// byUsualCrop says what a forecast without a past rests on.
var byUsualCrop = fmt.Sprintf("the forecast is that of a usual crop, which drinks %.0f %% of its tank in a week and takes nutrients worth %.3g mS/cm with each litre; acid is counted for the alkalinity of the top-up alone",
	100*ratio.UsualWeek, ratio.UsualUptake)

// ReadStocks makes the report of a record's containers.
func ReadStocks(record Record) (*Stocks, error) {
	first, last, station, err := spanOf(record)
	if err != nil {
		return nil, err
	}
	c := NewStockCounter(station, first, last)
	if err := record.EachEntry(c.Follow); err != nil {
		return nil, err
	}
	return c.End(), nil
}
