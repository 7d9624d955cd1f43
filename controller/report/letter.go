package report

import (
	"fmt"
	"math"
	"slices"
	"time"

	"leat/controller/diary"
	"leat/dosing"
	"leat/safety"
	"leat/safety/ledger"
)

// letterDays are how far back a letter looks.
const letterDays = 14

// Letter is what an install that only observes writes after two weeks: what leat would have
// given beside what was done, and how the water answered.
type Letter struct {
	Station string       `json:"station"`
	From    time.Time    `json:"from"`
	To      time.Time    `json:"to"`
	Tanks   []LetterTank `json:"tanks"`
}

// LetterTank is the letter of one tank. What would have been given is reckoned from how pH
// and EC moved and from what was done; nobody knows what plants had done in other water.
type LetterTank struct {
	Name      string        `json:"tank"`
	Verdict   string        `json:"verdict"`
	Observing Seconds       `json:"observing_s"`
	PH        Held          `json:"ph"`
	EC        Held          `json:"ec"`
	Wanted    []Wanted      `json:"wanted"`
	Liquids   []LetterDeed  `json:"liquids"`
	Answers   []Answer      `json:"answers"`
	Seen      []SeenStep    `json:"seen_and_not_entered"`
	Days      []LetterDay   `json:"days"`
	Notes     []string      `json:"notes,omitempty"`
	tank      *diary.Tank   // of the record
	pumps     []*diary.Pump // that serve it
	mixing    time.Duration
}

// Wanted is for how long leat wanted a kind of liquid.
type Wanted struct {
	Role    string    `json:"role"`
	Times   int       `json:"times"`
	Held    Seconds   `json:"held_s"`
	Longest Seconds   `json:"longest_s"`
	From    time.Time `json:"longest_from"`
}

// LetterDeed is one liquid: what was done with it and what leat would have done.
type LetterDeed struct {
	Pump   string  `json:"pump"`
	Liquid string  `json:"liquid"`
	Role   string  `json:"role"`
	HandML float64 `json:"by_hand_ml"`
	Hand   int     `json:"by_hand"`
	ML     float64 `json:"by_leat_ml"`
	Would  float64 `json:"would_ml"`
}

// LetterDay is one day: acid that was needed, base where it is below zero, and EC.
type LetterDay struct {
	Date    string   `json:"date"`
	PHFrom  *float64 `json:"ph_from,omitempty"`
	PHTo    *float64 `json:"ph_to,omitempty"`
	ECFrom  *float64 `json:"ec_from,omitempty"`
	ECTo    *float64 `json:"ec_to,omitempty"`
	PHIn    *float64 `json:"ph_in_band,omitempty"`
	ECIn    *float64 `json:"ec_in_band,omitempty"`
	DoneMeq float64  `json:"done_acid_meq_per_l"`
	NeedMeq *float64 `json:"needed_acid_meq_per_l,omitempty"` // nil = cannot be told
	DoneEC  float64  `json:"done_ec_ms_per_cm"`
	NeedEC  *float64 `json:"needed_ec_ms_per_cm,omitempty"`
	Untold  string   `json:"not_told,omitempty"`
}

// ReadLetter writes the letter of the last two weeks of a record.
func ReadLetter(record Record) (*Letter, error) {
	past, station, err := lastDays(record, letterDays)
	if err != nil {
		return nil, err
	}
	return LetterOf(past, station), nil
}

// LetterOf is the letter of a past.
func LetterOf(past *diary.Past, station *diary.Station) *Letter {
	from := later(past.From, past.First).In(past.Zone)
	to := earlier(past.To, past.Last).In(past.Zone)
	l := &Letter{Station: station.Name, From: from, To: to}
	line := newTimeline(past, station, to)
	for i := range station.Tanks {
		t := LetterTank{Name: station.Tanks[i].Name, tank: &station.Tanks[i], mixing: time.Duration(station.Tanks[i].Mixing * float64(time.Minute))}
		t.write(past, station, line, from, to)
		l.Tanks = append(l.Tanks, t)
	}
	return l
}

func (t *LetterTank) write(past *diary.Past, station *diary.Station, line *timeline, from, to time.Time) {
	for i := range station.Pumps {
		if p := &station.Pumps[i]; slices.Contains(p.Tanks, t.Name) {
			t.pumps = append(t.pumps, p)
		}
	}
	set := setpointsOf(past, t.Name)
	t.PH, t.EC = held(past, t.tank.PH, set[diary.PH], bandPH, line), held(past, t.tank.EC, set[diary.EC], bandEC, line)
	for _, s := range line.stood(t.Name) {
		if s.Cause == safety.CauseObserving.String() {
			t.Observing += s.Held
		}
	}
	t.Wanted = line.wanted(t.Name)
	doses := slices.DeleteFunc(dosesOf(past, t.Name), func(d Dose) bool { return d.ML == 0 || d.Outcome == ledger.OutcomeWithdrawn.String() })
	changed := otherWater(past, t.Name)
	if t.tank.Buffer == 0 || t.mixing == 0 {
		t.Notes = append(t.Notes, "the record does not tell what the water is made of, so only what was done is told: start the daemon once, which writes it down")
	} else {
		t.answers(doses)
		t.seen(doses, changed)
	}
	t.days(doses, changed, from, to)
	t.liquids(doses)
	t.Verdict = t.verdict(from, to)
}

// otherWater are the times at which a person let other water in.
func otherWater(past *diary.Past, tank string) (times []time.Time) {
	for i := range past.Entries {
		if e := &past.Entries[i]; e.Change == ledger.ChangeConfirmed && e.Tank == tank && e.Text != "" && e.Text != sameWater {
			times = append(times, e.At.Wall)
		}
	}
	return times
}

// wanted is for how long each kind of liquid was wanted.
func (l *timeline) wanted(tank string) (all []Wanted) {
	for _, role := range []dosing.Role{dosing.RoleAcid, dosing.RoleBase, dosing.RoleStock} {
		w, run, last := Wanted{Role: role.String()}, Seconds(0), time.Time{}
		for _, s := range l.tanks[tank] {
			if s.want != w.Role {
				continue
			}
			if !s.from.Equal(last) {
				w.Times, run = w.Times+1, 0
			}
			w.Held, run, last = w.Held+seconds(s.to.Sub(s.from)), run+seconds(s.to.Sub(s.from)), s.to
			if run > w.Longest {
				w.Longest, w.From = run, s.to.Add(-run.Duration()).In(l.zone)
			}
		}
		if w.Times > 0 {
			all = append(all, w)
		}
	}
	return all
}

// liquids are what was done with each liquid, and what leat would have done with it.
func (t *LetterTank) liquids(doses []Dose) {
	acid, base, ec, perML := 0.0, 0.0, 0.0, 0.0
	for _, day := range t.Days {
		if day.NeedMeq != nil {
			acid, base = acid+max(*day.NeedMeq, 0), base+max(-*day.NeedMeq, 0)
		}
		if day.NeedEC != nil {
			ec += *day.NeedEC
		}
	}
	for _, p := range t.pumps {
		perML += p.Share * p.EC
	}
	for _, p := range t.pumps {
		d := LetterDeed{Pump: p.Name, Liquid: p.Liquid, Role: p.Role}
		for _, dose := range doses {
			switch {
			case dose.Pump != p.Name:
			case dose.Outcome == byHand:
				d.Hand, d.HandML = d.Hand+1, d.HandML+dose.ML
			default:
				d.ML += dose.ML
			}
		}
		switch stock := p.Role == dosing.RoleStock.String(); {
		case stock && perML > 0:
			d.Would = max(ec, 0) * t.tank.Litres * p.Share / perML
		case p.Role == dosing.RoleAcid.String() && t.first(p):
			d.Would = acid * t.tank.Litres / p.Acid
		case p.Role == dosing.RoleBase.String() && t.first(p):
			d.Would = base * t.tank.Litres / -p.Acid
		}
		t.Liquids = append(t.Liquids, d)
	}
}

// first says that a pump is the first of its role for the tank: what leat would have given of
// acid or base is told of it alone.
func (t *LetterTank) first(p *diary.Pump) bool {
	for _, other := range t.pumps {
		if other.Role == p.Role && other.Acid != 0 {
			return other == p
		}
	}
	return false
}

// verdict is one sentence.
func (t *LetterTank) verdict(from, to time.Time) string {
	words := fmt.Sprintf("in %.1f days, %.0f %% of them observing", to.Sub(from).Hours()/24, 100*math.Min(1, t.Observing.Duration().Hours()/max(to.Sub(from).Hours(), 1e-9)))
	if t.PH.InBand != nil {
		words += fmt.Sprintf(", pH was in band for %.0f %% of the time", 100**t.PH.InBand)
	}
	if t.EC.InBand != nil {
		words += fmt.Sprintf(", EC for %.0f %%", 100**t.EC.InBand)
	}
	entered, would := 0, ""
	for _, d := range t.Liquids {
		entered += d.Hand
		if d.Would > 0 && d.Role != dosing.RoleStock.String() {
			would += fmt.Sprintf("; leat would have given about %s of %s where %s was given", Volume(d.Would), d.Pump, Volume(d.ML+d.HandML))
		}
	}
	return words + would + fmt.Sprintf("; %s by hand entered, %s seen and not entered", Counted(entered, "addition"), Counted(len(t.Seen), "addition"))
}
