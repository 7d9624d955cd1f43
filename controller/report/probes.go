package report

import (
	"strings"
	"time"

	"leat/controller/diary"
	"leat/safety/ledger"
)

// Probes is how the probes of a station were calibrated.
type Probes struct {
	Station string    `json:"station"`
	At      time.Time `json:"at"` // the end of the record
	Verdict string    `json:"verdict"`
	Probes  []Probe   `json:"probes"`
}

// Probe is one probe of pH or EC.
type Probe struct {
	Tank         string        `json:"tank"`
	Name         string        `json:"probe"`
	Quantity     string        `json:"quantity"`
	Due          time.Time     `json:"due,omitzero"` // zero = it was never calibrated, or needs none
	Overdue      bool          `json:"overdue"`
	Calibrations []Calibration `json:"calibrations"` // the newest last
	// WornOut is when a pH probe's slope reaches 90 % if it falls as between its
	// calibrations; zero = not in sight, or fewer than three tell of it.
	WornOut time.Time `json:"slope_90_percent,omitzero"`
	Metered []Metered `json:"hand_meter,omitempty"` // the newest last
	Trend   *Trend    `json:"above_hand_meter,omitempty"`
	every   time.Duration
}

// Calibration is one calibration of a probe.
type Calibration struct {
	At     time.Time `json:"at"`
	By     string    `json:"by,omitempty"`
	Slope  float64   `json:"slope"`            // 1 = as new; of EC what the cell reads for each mS/cm
	Offset float64   `json:"offset,omitempty"` // pH
	Text   string    `json:"text"`
	Note   string    `json:"note,omitempty"`
}

// ProbeList follows a ledger from its first row.
type ProbeList struct {
	probes *Probes
	place  map[string]int
}

// NewProbeList lists the probes of a station whose record ends then.
func NewProbeList(station *diary.Station, last time.Time) *ProbeList {
	l := &ProbeList{probes: &Probes{Station: station.Name, At: last}, place: map[string]int{}}
	for i := range station.Tanks {
		for _, p := range station.Tanks[i].Probes {
			l.place[station.Tanks[i].Name+"/"+p.Name] = len(l.probes.Probes)
			l.probes.Probes = append(l.probes.Probes, Probe{Tank: station.Tanks[i].Name, Name: p.Name, Quantity: p.Quantity,
				every: time.Duration(p.CalibrateDays * float64(aDay))})
		}
	}
	return l
}

// Follow takes the next entry.
func (l *ProbeList) Follow(e ledger.Entry) error {
	if e.Change != ledger.ChangeCalibration {
		return nil
	}
	name, _ := ledger.ReadCalibration(e.Text)
	if n, known := l.place[e.Tank+"/"+name]; known {
		p := &l.probes.Probes[n]
		p.Calibrations = append(p.Calibrations, Calibration{At: e.At.Wall.In(l.probes.At.Location()), By: ledger.Printable(e.By), Slope: e.Value, Offset: e.Old,
			Text: strings.TrimPrefix(ledger.Printable(e.Text), name+" "), Note: ledger.Printable(e.Note)})
	}
	return nil
}

// End says what is due.
func (l *ProbeList) End() *Probes {
	r := l.probes
	var due, never []string
	for i := range r.Probes {
		p := &r.Probes[i]
		n := len(p.Calibrations)
		if n == 0 {
			never = append(never, p.Tank+" "+p.Name)
			continue
		}
		if p.every > 0 {
			p.Due = p.Calibrations[n-1].At.Add(p.every)
			p.Overdue = !p.Due.After(r.At)
		}
		if p.Overdue {
			due = append(due, p.Tank+" "+p.Name)
		}
		p.wear()
	}
	switch {
	case len(due) > 0:
		r.Verdict = "A calibration is due of " + strings.Join(due, ", ") + "."
	case len(never) > 0:
	default:
		r.Verdict = "No calibration is due."
	}
	if len(never) > 0 {
		r.Verdict = strings.TrimSpace(r.Verdict + " No calibration was entered of " + strings.Join(never, ", ") + ".")
	}
	return r
}

// wear forecasts when a pH probe's slope is no longer accepted.
func (p *Probe) wear() {
	const few, worn = 3, 0.9
	n := len(p.Calibrations)
	if p.Quantity != diary.PH || n < few {
		return
	}
	first, last := p.Calibrations[max(n-6, 0)], p.Calibrations[n-1]
	days, lost := last.At.Sub(first.At).Hours()/24, first.Slope-last.Slope
	if days < 1 || lost <= 0 {
		return
	}
	if left := (last.Slope - worn) / lost * days; left > 0 && left < 3650 {
		p.WornOut = last.At.AddDate(0, 0, int(left))
	}
}

// ReadProbes makes the report of a record's probes.
func ReadProbes(record Record) (*Probes, error) {
	_, last, station, err := spanOf(record)
	if err != nil {
		return nil, err
	}
	l := NewProbeList(station, last)
	if err := record.EachEntry(l.Follow); err != nil {
		return nil, err
	}
	r := l.End()
	return r, r.meters(record)
}
