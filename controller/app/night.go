package app

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"time"

	"leat/controller/report"
	"leat/controller/store"
	"leat/controller/web"
)

// nights is what the record tells the page of a time.
type nights struct{ db *store.DB }

// A time of up to fineUpTo is told from its minutes; a longer one from sums and from what
// was told of each day. Of days that were never told yet, at most tellWithin is spent on
// them before a page.
const (
	fineUpTo   = 48 * time.Hour
	tellWithin = 3 * time.Second
)

// of is what the record tells of [from, to), by tank, for the strips of the page.
func (n nights) of(from, to time.Time) (map[string]*web.Night, error) {
	if to.Sub(from) > fineUpTo {
		return n.months(from, to)
	}
	past, err := n.db.Lately(from, to)
	if err != nil {
		return nil, err
	}
	told := report.Of(past, "")
	all := map[string]*web.Night{}
	for i := range told.Tanks {
		t := &told.Tanks[i]
		night := &web.Night{From: from, To: to, Sentence: t.Verdict, PH: traceOf(&t.PH), EC: traceOf(&t.EC)}
		for k := range t.Liquids {
			l := &t.Liquids[k]
			lane := web.Lane{Pump: l.Pump, Liquid: l.Liquid, Role: l.Role, ML: l.ML + l.HandML}
			for _, d := range t.Doses {
				if d.Pump == l.Pump && d.ML > 0 {
					lane.Doses = append(lane.Doses, web.Dose{At: d.At, ML: d.ML, Sure: d.Outcome != "uncertain" && d.Outcome != "open"})
				}
			}
			night.Lanes = append(night.Lanes, lane)
		}
		for _, s := range t.Stood {
			night.Held = append(night.Held, web.Held{From: s.From, To: s.To, Cause: s.Cause})
		}
		all[t.Name] = night
	}
	return all, nil
}

func traceOf(h *report.Held) (trace web.Trace) {
	trace.Band = h.Band
	for _, p := range h.Line {
		trace.Line = append(trace.Line, web.Point(p))
	}
	for _, p := range h.Set {
		trace.Set = append(trace.Set, web.Point(p))
	}
	return trace
}

// oneDay is what is kept of a day of a tank.
type oneDay struct {
	PH     *report.Held       `json:"ph"`
	EC     *report.Held       `json:"ec"`
	Doses  []report.Liquid    `json:"doses"`
	Active map[string]float64 `json:"active_s"` // by interlock
}

// months tells of many days: lines from sums, doses and interlocks by the day.
func (n nights) months(from, to time.Time) (map[string]*web.Night, error) {
	_, _, station, err := n.db.Span()
	if err != nil || station == nil {
		return nil, err
	}
	all := map[string]*web.Night{}
	sums := map[string]*monthSums{}
	for i := range station.Tanks {
		tank := &station.Tanks[i]
		night := &web.Night{From: from, To: to}
		for _, q := range []struct {
			inputs []string
			trace  *web.Trace
		}{{tank.PH, &night.PH}, {tank.EC, &night.EC}} {
			if err := n.line(q.inputs, from, to, q.trace); err != nil {
				return nil, err
			}
		}
		all[tank.Name], sums[tank.Name] = night, &monthSums{lanes: map[string]int{}}
	}
	began, untold := time.Now(), 0
	for day := midnight(from); day.Before(to); day = midnight(day.AddDate(0, 0, 1)) {
		if time.Since(began) > tellWithin {
			untold++
			continue
		}
		told, err := n.day(day, to)
		if err != nil {
			return nil, err
		}
		for name, d := range told {
			if night := all[name]; night != nil {
				sums[name].add(night, day, &d)
			}
		}
	}
	for name, night := range all {
		night.Sentence = sums[name].sentence(night)
		if untold > 0 {
			night.Sentence += fmt.Sprintf(" Not summed up yet: %s; load the page again.", report.Counted(untold, "day"))
		}
	}
	return all, nil
}

func midnight(t time.Time) time.Time {
	return time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, t.Location())
}

// line is the reading of the first of the inputs that was read, in some 250 steps.
func (n nights) line(inputs []string, from, to time.Time, trace *web.Trace) error {
	step := max(to.Sub(from)/250, time.Hour).Round(time.Hour)
	for _, input := range inputs {
		minutes, err := store.Coarse(n.db, input, from, to, step)
		if err != nil {
			return err
		}
		for _, m := range minutes {
			trace.Line = append(trace.Line, web.Point{At: m.At.In(from.Location()), Value: m.Mean})
		}
		if len(minutes) > 0 {
			return nil
		}
	}
	return nil
}

// day is what is told of one day, by tank. Of a day that is over it is kept.
func (n nights) day(day, to time.Time) (map[string]oneDay, error) {
	name, end := day.Format(time.DateOnly), midnight(day.AddDate(0, 0, 1))
	kept, err := store.DaysOf(n.db).Find(name)
	if err != nil {
		return nil, err
	}
	days := map[string]oneDay{}
	for tank, body := range kept {
		var d oneDay
		if json.Unmarshal([]byte(body), &d) == nil { // a body of another leat is made anew
			days[tank] = d
		}
	}
	if len(days) > 0 {
		return days, nil
	}
	over := !end.After(to)
	past, err := n.db.Lately(day, minOf(end, to))
	if err != nil {
		return nil, err
	}
	told := report.Of(past, "")
	kept = map[string]string{}
	for i := range told.Tanks {
		t := &told.Tanks[i]
		d := oneDay{PH: sampled(&t.PH), EC: sampled(&t.EC), Doses: t.Liquids, Active: map[string]float64{}}
		for _, s := range t.Stood {
			d.Active[s.Cause] += math.Round(s.To.Sub(s.From).Seconds())
		}
		days[t.Name] = d
		if body, err := json.Marshal(d); err == nil {
			kept[t.Name] = string(body)
		}
	}
	if !over || len(days) == 0 {
		return days, nil
	}
	return days, store.DaysOf(n.db).Keep(name, kept)
}

func minOf(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}

// sampled is how a quantity was held with its setpoint every third hour alone: a ramp has
// hundreds of steps.
func sampled(h *report.Held) *report.Held {
	const every = 3 * time.Hour
	thin := *h
	thin.Set = nil
	for _, p := range h.Set {
		if n := len(thin.Set); n > 0 && p.At.Sub(thin.Set[n-1].At) < every {
			thin.Set[n-1].Value = p.Value
			continue
		}
		thin.Set = append(thin.Set, p)
	}
	return &thin
}

// monthSums gathers the days of a tank.
type monthSums struct {
	lanes          map[string]int // place by pump
	inPH, inEC     float64        // sums of the shares in band
	daysPH, daysEC int
	ml             map[string]float64 // by role
}

func (s *monthSums) add(night *web.Night, day time.Time, d *oneDay) {
	for _, q := range []struct {
		held  *report.Held
		trace *web.Trace
		in    *float64
		days  *int
	}{{d.PH, &night.PH, &s.inPH, &s.daysPH}, {d.EC, &night.EC, &s.inEC, &s.daysEC}} {
		if q.held == nil {
			continue
		}
		q.trace.Band = q.held.Band
		for _, p := range q.held.Set {
			if n := len(q.trace.Set); n == 0 || q.trace.Set[n-1].Value != p.Value {
				q.trace.Set = append(q.trace.Set, web.Point(p))
			}
		}
		if q.held.InBand != nil {
			*q.in, *q.days = *q.in+*q.held.InBand, *q.days+1
		}
	}
	if s.ml == nil {
		s.ml = map[string]float64{}
	}
	for _, l := range d.Doses {
		place, known := s.lanes[l.Pump]
		if !known {
			place = len(night.Lanes)
			s.lanes[l.Pump] = place
			night.Lanes = append(night.Lanes, web.Lane{Pump: l.Pump, Liquid: l.Liquid, Role: l.Role})
		}
		ml := l.ML + l.HandML
		lane := &night.Lanes[place]
		lane.ML += ml
		lane.Doses = append(lane.Doses, web.Dose{At: day.Add(12 * time.Hour), ML: ml, Sure: l.Uncertain == 0, Count: l.Count + l.Hand})
		s.ml[l.Role] += ml
	}
	for cause, seconds := range d.Active {
		long := time.Duration(seconds) * time.Second
		night.Held = append(night.Held, web.Held{From: day, To: day.Add(min(long, 24*time.Hour)), Cause: cause})
	}
}

// sentence is what the days come to.
func (s *monthSums) sentence(night *web.Night) string {
	var in []string
	if s.daysPH > 0 {
		in = append(in, "pH "+report.Percent(s.inPH/float64(s.daysPH)))
	}
	if s.daysEC > 0 {
		in = append(in, "EC "+report.Percent(s.inEC/float64(s.daysEC)))
	}
	if len(in) == 0 {
		return "Nothing was read in these days."
	}
	parts := []string{fmt.Sprintf("In band %s on %s", strings.Join(in, ", "), report.Counted(max(s.daysPH, s.daysEC), "day"))}
	for _, role := range []string{"acid", "base", "stock"} {
		if ml := s.ml[role]; ml > 0 {
			parts = append(parts, report.Volume(ml)+" "+role)
		}
	}
	return strings.Join(parts, "; ") + "."
}
