package report

import (
	"slices"
	"time"

	"leat/controller/diary"
	"leat/safety/ledger"
)

// Report is what is told of a time.
type Report struct {
	Station string    `json:"station"`
	From    time.Time `json:"from"`
	To      time.Time `json:"to"`
	Words   string    `json:"period"`
	Zone    string    `json:"zone"`
	Verdict string    `json:"verdict"` // one sentence, by tank where there are several
	Ends    time.Time `json:"record_ends"`
	Rows    uint64    `json:"ledger_rows_verified"`
	Silent  []Stretch `json:"not_running,omitempty"` // the daemon was not running
	Tanks   []Tank    `json:"tanks"`
	Changes []Change  `json:"station_changes,omitempty"`
	Refused []Change  `json:"refused,omitempty"` // what was asked and refused
	Remarks []string  `json:"remarks,omitempty"`
	Pumps   []Pump    `json:"-"` // for colours: in the order of the row
}

// Pump is a pump and what it gives.
type Pump struct{ Name, Liquid, Role string }

// Stretch is a part of the time. Held is how much of it counts: short breaks are
// passed over.
type Stretch struct {
	From  time.Time `json:"from"`
	To    time.Time `json:"to"`
	Held  Seconds   `json:"held_s,omitempty"`
	Cause string    `json:"cause,omitempty"`
	Pump  string    `json:"pump,omitempty"`
	Text  string    `json:"text"`
	Want  string    `json:"wanted,omitempty"` // acid, base, stock, or unknown
	// Mixing is how much of it the water was left to mix after the cause had ended.
	Mixing Seconds `json:"mixing_s,omitempty"`
}

// Seconds is a time that is written in seconds.
type Seconds float64

// Duration is the time as Go counts it.
func (s Seconds) Duration() time.Duration { return time.Duration(float64(s) * float64(time.Second)) }

// Tank is what is told of one tank.
type Tank struct {
	Name      string    `json:"tank"`
	Verdict   string    `json:"verdict"`
	PH        Held      `json:"ph"`
	EC        Held      `json:"ec"`
	Liquids   []Liquid  `json:"doses"`
	Withheld  []Stretch `json:"withheld"`
	Waits     []Wait    `json:"waits,omitempty"`
	Stood     []Stretch `json:"interlocks"` // whatever was wanted
	Alarms    []Alarm   `json:"alarms"`
	Changes   []Change  `json:"changes"`
	Uncertain []Dose    `json:"uncertain,omitempty"`
	TopUp     float64   `json:"top_up_l"`
	Nutrients []Element `json:"nutrients,omitempty"`
	Unstated  []string  `json:"contents_not_known_of,omitempty"` // pumps that dosed
	Days      []Day     `json:"days,omitempty"`
	Doses     []Dose    `json:"-"` // each of them, for the picture
}

// Wait is how long doses were spaced for a cause.
type Wait struct {
	Cause string  `json:"cause"`
	Text  string  `json:"text"`
	Held  Seconds `json:"held_s"`
}

// Change is something that a person did, or that the daemon did to the mode.
type Change struct {
	At   time.Time `json:"at"`
	Kind string    `json:"kind"` // as in the ledger
	What string    `json:"what"`
	By   string    `json:"by,omitempty"`
	From string    `json:"from,omitempty"`
	Note string    `json:"note,omitempty"`
}

// Of makes the report of a past.
func Of(past *diary.Past, words string) *Report {
	r := &Report{From: past.From, To: past.To, Words: words, Zone: past.Zone.String(), Ends: past.Last.In(past.Zone), Rows: past.Rows}
	station := past.Station
	if station == nil {
		r.Remarks = append(r.Remarks, "The record tells nothing of interlocks and setpoints, as one of an older leat: only doses and changes are known.")
		station = bare(past.Entries)
	}
	r.Station = station.Name
	for _, p := range station.Pumps {
		r.Pumps = append(r.Pumps, Pump{p.Name, p.Liquid, p.Role})
	}
	to := earlier(past.To, later(past.Last, past.From)) // nothing is known beyond
	line := newTimeline(past, station, to)
	r.Silent = line.silent
	if past.To.After(to.Add(time.Minute)) && past.Last.After(past.From) {
		r.Silent = append(r.Silent, Stretch{From: to, To: past.To, Held: seconds(past.To.Sub(to)), Text: "the record ends"})
	}
	for i := range station.Tanks {
		r.Tanks = append(r.Tanks, tankOf(past, station, &station.Tanks[i], line))
	}
	r.Changes, r.Refused = changesOf(past, ""), refusedOf(past)
	r.Verdict = r.verdict(past)
	return r
}

// bare is the station as far as doses tell it.
func bare(entries []ledger.Entry) *diary.Station {
	s := &diary.Station{}
	for i := range entries {
		e := &entries[i]
		if e.Tank != "" && !slices.ContainsFunc(s.Tanks, func(t diary.Tank) bool { return t.Name == e.Tank }) {
			s.Tanks = append(s.Tanks, diary.Tank{Name: e.Tank})
		}
		if e.Kind == ledger.EntryIntent && !slices.ContainsFunc(s.Pumps, func(p diary.Pump) bool { return p.Name == e.Pump }) {
			s.Pumps = append(s.Pumps, diary.Pump{Name: e.Pump, Liquid: e.Pump})
		}
	}
	return s
}

func tankOf(past *diary.Past, station *diary.Station, tank *diary.Tank, line *timeline) Tank {
	t := Tank{Name: tank.Name, Changes: changesOf(past, tank.Name)}
	set := setpointsOf(past, tank.Name)
	t.PH = held(past, tank.PH, set[diary.PH], bandPH, line)
	t.EC = held(past, tank.EC, set[diary.EC], bandEC, line)
	t.PH.Drift, t.EC.Drift = driftOf(past, tank.Name, diary.PH), driftOf(past, tank.Name, diary.EC)
	t.give(past, station)
	t.Withheld, t.Waits = line.withheld(tank.Name, station)
	t.Stood = line.stood(tank.Name)
	t.Alarms = alarmsOf(past, tank.Name)
	for i := range past.Events {
		if e := &past.Events[i]; e.Kind == diary.KindTopUp && e.Tank == tank.Name && !e.At.Before(past.From) {
			t.TopUp += e.Value
		}
	}
	if past.To.Sub(past.From) > 2*aDay {
		t.Days = daysOf(past, &t)
	}
	t.Verdict = t.verdict()
	return t
}

const aDay = 24 * time.Hour

func seconds(d time.Duration) Seconds { return Seconds(d.Seconds()) }
