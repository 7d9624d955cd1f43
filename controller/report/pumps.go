package report

import (
	"fmt"
	"strings"
	"time"

	"leat/controller/diary"
	"leat/dosing"
	"leat/safety/ledger"
)

// Pumps is how the pumps of a station were measured and how long their tubes ran.
type Pumps struct {
	Station string         `json:"station"`
	At      time.Time      `json:"at"` // the end of the record
	Verdict string         `json:"verdict"`
	Pumps   []MeasuredPump `json:"pumps"`
}

// MeasuredPump is one pump.
type MeasuredPump struct {
	Name      string        `json:"pump"`
	Liquid    string        `json:"liquid"`
	Rate      float64       `json:"configured_ml_per_s"`
	TubeHours float64       `json:"tube_hours"` // at the rate of the file
	Tube      time.Time     `json:"tube_since,omitzero"`
	Measured  []Measurement `json:"measured"` // the newest last
	ml        float64
}

// Measurement is one measured rate.
type Measurement struct {
	At     time.Time `json:"at"`
	By     string    `json:"by,omitempty"`
	Rate   float64   `json:"ml_per_s"`
	Beside float64   `json:"beside_configured"` // as a share of what the file said then
	Spread float64   `json:"spread"`
	Note   string    `json:"note,omitempty"`
}

// rateOff is by how much a rate may be off before a person is told.
const rateOff = 0.05

// PumpList follows a ledger from its first row.
type PumpList struct {
	pumps *Pumps
	place map[string]int
	open  map[ledger.OrderID]float64
}

// NewPumpList lists the pumps of a station whose record ends then.
func NewPumpList(station *diary.Station, last time.Time) *PumpList {
	l := &PumpList{pumps: &Pumps{Station: station.Name, At: last}, place: map[string]int{}, open: map[ledger.OrderID]float64{}}
	for i := range station.Pumps {
		p := &station.Pumps[i]
		l.place[p.Name] = i
		l.pumps.Pumps = append(l.pumps.Pumps, MeasuredPump{Name: p.Name, Liquid: p.Liquid, Rate: p.Rate, Measured: []Measurement{}})
	}
	return l
}

// Follow takes the next entry.
func (l *PumpList) Follow(e ledger.Entry) error {
	n, known := l.place[e.Pump]
	if !known {
		return nil
	}
	p, ml, at := &l.pumps.Pumps[n], e.Volume.Millilitres(), e.At.Wall.In(l.pumps.At.Location())
	switch {
	case e.Kind == ledger.EntryIntent:
		l.open[e.Order] = ml
		p.ml += ml
	case e.Kind == ledger.EntrySettlement:
		if was, open := l.open[e.Order]; open {
			l.open[e.Order] = ml
			p.ml += ml - was
		}
	case e.Change == ledger.ChangeTube:
		p.Tube, p.ml = at, 0
	case e.Change == ledger.ChangePumpRate:
		m := Measurement{At: at, By: ledger.Printable(e.By), Rate: e.Value, Spread: e.Spread, Note: ledger.Printable(e.Note)}
		if e.Old > 0 {
			m.Beside = e.Value/e.Old - 1
		}
		p.Measured = append(p.Measured, m)
	}
	return nil
}

// End says which is off.
func (l *PumpList) End() *Pumps {
	r := l.pumps
	var off, never []string
	for i := range r.Pumps {
		p := &r.Pumps[i]
		if p.Rate > 0 {
			p.TubeHours = p.ml / p.Rate / 3600
		}
		n := len(p.Measured)
		switch {
		case n == 0:
			never = append(never, p.Name)
		case p.Rate > 0 && (p.Measured[n-1].Rate/p.Rate-1 > rateOff || p.Measured[n-1].Rate/p.Rate-1 < -rateOff):
			off = append(off, fmt.Sprintf("%s (%s %%)", p.Name, dosing.Signed(100*(p.Measured[n-1].Rate/p.Rate-1), 0)))
		}
	}
	if len(off) > 0 {
		r.Verdict = "Not as the file says: " + strings.Join(off, ", ") + "."
	}
	if len(never) > 0 {
		r.Verdict += " No rate was entered of " + strings.Join(never, ", ") + "."
	}
	if r.Verdict = strings.TrimSpace(r.Verdict); r.Verdict == "" {
		r.Verdict = "Each pump gives what the file says."
	}
	return r
}

// ReadPumps makes the report of a record's pumps.
func ReadPumps(record Record) (*Pumps, error) {
	_, last, station, err := spanOf(record)
	if err != nil {
		return nil, err
	}
	l := NewPumpList(station, last)
	if err := record.EachEntry(l.Follow); err != nil {
		return nil, err
	}
	return l.End(), nil
}
