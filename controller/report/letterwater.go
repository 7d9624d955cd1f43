package report

import (
	"math"
	"slices"
	"time"

	"leat/controller/diary"
	"leat/dosing"
)

// Answer is what the water did after an addition, beside what was expected of it.
type Answer struct {
	At       time.Time `json:"at"`
	Pump     string    `json:"pump"`
	ML       float64   `json:"ml"`
	By       string    `json:"by,omitempty"`
	Quantity string    `json:"quantity"`
	Expected float64   `json:"expected"`
	Moved    *float64  `json:"moved,omitempty"` // nil = it cannot be told
	Untold   string    `json:"not_told,omitempty"`
}

// SeenStep is a movement of pH or EC that nothing which was entered explains.
type SeenStep struct {
	At       time.Time `json:"at"`
	Quantity string    `json:"quantity"`
	Moved    float64   `json:"moved"`
	Liquid   string    `json:"as_liquid,omitempty"` // what would have done it
	ML       float64   `json:"as_ml,omitempty"`
}

// How answers and steps are looked for.
const (
	answerMean   = 15 * time.Minute // means are taken over so long, before and after
	leastAnswer  = 10               // minutes of readings that make a mean
	stepEvery    = 5 * time.Minute
	stepPH       = 0.15 // a step that is told
	stepEC       = 0.10
	stepOverWay  = 6    // times as far as the water usually moves in that time
	leastBesides = 0.01 // pH or mS/cm of an addition that is judged
)

// mean is the mean of the readings of a time.
func (h *Held) mean(from, to time.Time) (float64, bool) {
	first, _ := slices.BinarySearchFunc(h.Line, from, func(p Point, at time.Time) int { return p.At.Compare(at) })
	sum, n := 0.0, 0
	for _, p := range h.Line[first:] {
		if !p.At.Before(to) {
			break
		}
		sum, n = sum+p.Value, n+1
	}
	return sum / float64(max(n, 1)), n >= leastAnswer
}

// moved is by how much a quantity moved from before a time until the water had mixed after it.
func (t *LetterTank) moved(h *Held, at time.Time) (float64, bool) {
	before, told := h.mean(at.Add(-answerMean), at)
	after, toldAfter := h.mean(at.Add(t.mixing), at.Add(t.mixing+answerMean))
	return after - before, told && toldAfter
}

// effects are what a dose does to pH and EC in all of the tank's water.
func (t *LetterTank) effects(p *diary.Pump, ml float64) (pH, ec float64) {
	return -ml * p.Acid / t.tank.Litres / t.tank.Buffer, ml * p.EC / t.tank.Litres
}

func (t *LetterTank) pump(name string) *diary.Pump {
	for _, p := range t.pumps {
		if p.Name == name {
			return p
		}
	}
	return nil
}

// answers say how the water followed each addition by hand.
func (t *LetterTank) answers(doses []Dose) {
	for i, d := range doses {
		p := t.pump(d.Pump)
		if p == nil || d.Outcome != byHand {
			continue
		}
		pH, ec := t.effects(p, d.ML)
		a := Answer{At: d.At, Pump: d.Pump, ML: d.ML, By: d.Reason, Quantity: diary.PH, Expected: pH}
		h := &t.PH
		if p.Role == dosing.RoleStock.String() {
			a.Quantity, a.Expected, h = diary.EC, ec, &t.EC
		}
		switch v, told := t.moved(h, d.At); {
		case math.Abs(a.Expected) < leastBesides:
			a.Untold = "too little to be seen"
		case slices.ContainsFunc(doses, func(other Dose) bool {
			return other != doses[i] && other.At.After(d.At.Add(-t.mixing-answerMean)) && other.At.Before(d.At.Add(t.mixing+answerMean))
		}):
			a.Untold = "another addition came within its mixing time"
		case !told:
			a.Untold = "no readings"
		default:
			v -= t.drift(h) * (t.mixing + answerMean).Hours()
			a.Moved = &v
		}
		t.Answers = append(t.Answers, a)
	}
}

// drift is how a quantity usually moves in an hour: the median, which additions do not bend.
func (t *LetterTank) drift(h *Held) float64 {
	var all []float64
	for i := 0; i+60 < len(h.Line); i += 15 {
		if a, b := h.Line[i], h.Line[i+60]; b.At.Sub(a.At) == time.Hour {
			all = append(all, b.Value-a.Value)
		}
	}
	return median(all)
}

func median(all []float64) float64 {
	if len(all) == 0 {
		return 0
	}
	slices.Sort(all)
	return all[len(all)/2]
}

// seen finds steps that nothing entered explains.
func (t *LetterTank) seen(doses []Dose, changed []time.Time) {
	for _, q := range []struct {
		name  string
		h     *Held
		least float64
	}{{diary.PH, &t.PH, stepPH}, {diary.EC, &t.EC, stepEC}} {
		t.Seen = append(t.Seen, t.steps(q.name, q.h, q.least, doses, changed)...)
	}
	slices.SortStableFunc(t.Seen, func(a, b SeenStep) int { return a.At.Compare(b.At) })
}

func (t *LetterTank) steps(name string, h *Held, least float64, doses []Dose, changed []time.Time) (found []SeenStep) {
	if len(h.Line) == 0 {
		return nil
	}
	var moves, sizes []float64
	var times []time.Time
	for at := h.Line[0].At.Add(answerMean); at.Before(h.Line[len(h.Line)-1].At); at = at.Add(stepEvery) {
		if v, told := t.moved(h, at); told {
			moves, sizes, times = append(moves, v), append(sizes, math.Abs(v)), append(times, at)
		}
	}
	least = max(least, stepOverWay*median(sizes))
	near := t.mixing + answerMean
	for i := 0; i < len(moves); i++ {
		if math.Abs(moves[i]) < least {
			continue
		}
		best := i // of the times at which it shows, the one at which it is largest
		for ; i+1 < len(moves) && math.Abs(moves[i+1]) >= least && times[i+1].Sub(times[i]) <= near; i++ {
			if math.Abs(moves[i+1]) > math.Abs(moves[best]) {
				best = i + 1
			}
		}
		at := times[best]
		told := slices.ContainsFunc(doses, func(d Dose) bool { return d.At.Sub(at).Abs() <= 2*near }) ||
			slices.ContainsFunc(changed, func(c time.Time) bool { return c.Sub(at).Abs() <= 2*near })
		if !told {
			found = append(found, t.step(name, at, moves[best]))
		}
	}
	return found
}

// step names the liquid that would have done it, if one would.
func (t *LetterTank) step(name string, at time.Time, moved float64) SeenStep {
	s := SeenStep{At: at, Quantity: name, Moved: moved}
	role := dosing.RoleStock
	switch {
	case name == diary.PH && moved < 0:
		role = dosing.RoleAcid
	case name == diary.PH:
		role = dosing.RoleBase
	case moved < 0: // water
		return s
	}
	perML := 0.0
	for _, p := range t.pumps {
		switch pH, ec := t.effects(p, 1); {
		case p.Role != role.String():
		case role == dosing.RoleStock:
			perML, s.Liquid = perML+p.Share*ec, "the blend"
		case t.first(p):
			perML, s.Liquid = pH, p.Liquid
		}
	}
	if perML == 0 {
		s.Liquid = ""
		return s
	}
	s.ML = moved / perML
	return s
}

// days reckons what each day needed: what was done and what pH and EC did beside it.
func (t *LetterTank) days(doses []Dose, changed []time.Time, from, to time.Time) {
	inPH, inEC := t.PH.sharesByDay(), t.EC.sharesByDay()
	var lastPH, lastEC *float64 // setpoints up to which the days before have been reckoned
	for begin := from; begin.Before(to); {
		end := earlier(time.Date(begin.Year(), begin.Month(), begin.Day()+1, 0, 0, 0, 0, begin.Location()), to)
		day := LetterDay{Date: begin.Format(time.DateOnly)}
		day.PHIn, day.ECIn = inPH[day.Date], inEC[day.Date]
		for _, d := range doses {
			if p := t.pump(d.Pump); p != nil && !d.At.Before(begin) && d.At.Before(end) {
				day.DoneMeq += d.ML * p.Acid / t.tank.Litres
				day.DoneEC += d.ML * p.EC / t.tank.Litres
			}
		}
		meq, ec := day.DoneMeq, day.DoneEC
		for _, s := range t.Seen { // what was seen was done as well
			switch {
			case s.At.Before(begin) || !s.At.Before(end):
			case s.Quantity == diary.PH:
				meq -= s.Moved * t.tank.Buffer
			default:
				ec += s.Moved
			}
		}
		day.PHFrom, day.PHTo = t.PH.ends(begin, end)
		day.ECFrom, day.ECTo = t.EC.ends(begin, end)
		switch {
		case t.tank.Buffer == 0:
			day.Untold = "what the water is made of is not on record"
		case slices.ContainsFunc(changed, func(at time.Time) bool { return !at.Before(begin) && at.Before(end) }):
			day.Untold = "other water was let in"
			lastPH, lastEC = nil, nil
		default:
			day.NeedMeq = need(lastPH, t.PH.setAt(end), day.PHFrom, day.PHTo, meq, t.tank.Buffer)
			if fall := need(lastEC, t.EC.setAt(end), day.ECFrom, day.ECTo, -ec, 1); fall != nil && t.mixing > 0 {
				rise := -*fall
				day.NeedEC = &rise
			}
			if day.NeedMeq == nil {
				day.Untold = "no readings"
			}
			lastPH, lastEC = t.PH.setAt(end), t.EC.setAt(end)
		}
		t.Days = append(t.Days, day)
		begin = end
	}
}

// need is what would have held a quantity for a day, in the direction of acid: what was done, what
// was left undone, and what the setpoint moved. Was is where leat had left it the day before; on the
// first day, and after other water, it comes from where the tank stood.
func need(was, set, from, to *float64, done, perUnit float64) *float64 {
	if set == nil || from == nil || to == nil {
		return nil
	}
	if was == nil {
		was = from
	}
	v := done + perUnit*(*to-*from+*was-*set)
	return &v
}

// ends are the first and last mean of a time; nil where nothing was read.
func (h *Held) ends(begin, end time.Time) (from, to *float64) {
	first, last := time.Time{}, time.Time{}
	for _, p := range h.Line {
		if !p.At.Before(begin) && p.At.Before(end) {
			if first.IsZero() {
				first = p.At
			}
			last = p.At
		}
	}
	if first.IsZero() {
		return nil, nil
	}
	a, told := h.mean(first, first.Add(answerMean))
	b, toldAfter := h.mean(last.Add(-answerMean), last.Add(time.Minute))
	if !told || !toldAfter {
		return nil, nil
	}
	return &a, &b
}

// setAt is the setpoint at a time; nil where none is on record.
func (h *Held) setAt(at time.Time) (v *float64) {
	for i := range h.Set {
		if h.Set[i].At.After(at) {
			break
		}
		v = &h.Set[i].Value
	}
	return v
}
