package controller

import (
	"fmt"
	"math"
	"time"

	"leat/dosing"
	"leat/dosing/ratio"
	"leat/safety"
	"leat/safety/ledger"
)

// Schedule is which setpoints a tank is to have when. The zero Schedule leaves them to the
// file's values and to people.
type Schedule struct {
	Stages   []Stage // of the crop, by rising From
	Holidays []Holiday
	// Day begins and ends at these times of the day in Zone; both zero = there is no night.
	DayBegins, DayEnds time.Duration
	Zone               *time.Location
	Dark               *bool // what the lamps say of this moment; nil = by the times above
}

// Stage is a stage of the crop. A value of 0 is that of the stage before, else the file's.
type Stage struct {
	Name    string
	From    time.Time
	PH, EC  float64
	NightPH float64 // 0 = as by day
	NightEC float64
	Ratio   *ratio.Plan   // nil = the recipe of the stage before, else the tank's
	Zones   []Watering    // by zone; zero = as in the stage before, else as the zone's own
	Over    time.Duration // in which the values move evenly from those of the stage before
}

// Holiday is a time with setpoints of its own, whose end a person confirms: nobody may be
// back in time.
type Holiday struct {
	Name     string
	From, To time.Time
	PH, EC   float64 // 0 = as by the stage
}

// Key tells one holiday from another of the same name.
func (h *Holiday) Key() string { return h.Name + " of " + h.From.Format(time.DateOnly) }

// Scheduled is what a schedule says of a moment.
type Scheduled struct {
	PH, EC  float64
	Moving  bool      // along a stage's Over
	Since   time.Time // when the stage or holiday began, or a holiday ended
	Stage   string
	Holiday *Holiday // nil = none
	Awaits  bool     // the holiday's time is over, and a person has yet to say so
}

// Empty says that nothing is scheduled.
func (s *Schedule) Empty() bool { return len(s.Stages) == 0 && len(s.Holidays) == 0 }

// At is what the schedule says of a moment, where the file's setpoints are pH and ec. Ended
// says of which holidays a person has confirmed the end.
func (s *Schedule) At(now time.Time, pH, ec float64, ended func(key string) bool) Scheduled {
	v := Scheduled{PH: pH, EC: ec}
	night := s.night(now)
	if s.Dark != nil {
		night = *s.Dark
	}
	for i := range s.Stages {
		stage := &s.Stages[i]
		if stage.From.After(now) {
			break
		}
		share := 1.0
		if passed := now.Sub(stage.From); stage.Over > 0 && passed < stage.Over {
			share = float64(passed) / float64(stage.Over)
		}
		fromPH, fromEC := pH, ec
		pH, ec = or(stage.PH, pH), or(stage.EC, ec)
		v.Stage, v.Since, v.Moving = stage.Name, stage.From, share < 1
		v.PH, v.EC = fromPH+float64(share*(pH-fromPH)), fromEC+float64(share*(ec-fromEC))
		if night {
			v.PH, v.EC = or(stage.NightPH, v.PH), or(stage.NightEC, v.EC)
		}
	}
	for i := range s.Holidays {
		h := &s.Holidays[i]
		if h.From.After(now) || ended(h.Key()) {
			continue
		}
		v.Holiday, v.Awaits, v.Since, v.Moving = h, !h.To.After(now), h.From, false
		v.PH, v.EC = or(h.PH, v.PH), or(h.EC, v.EC)
	}
	return v
}

func or(value, otherwise float64) float64 {
	if value == 0 {
		return otherwise
	}
	return value
}

// begun are the stages that have begun, the newest last.
func (s *Schedule) begun(now time.Time) []Stage {
	for i := range s.Stages {
		if s.Stages[i].From.After(now) {
			return s.Stages[:i]
		}
	}
	return s.Stages
}

// night says whether it is, by the clock of the schedule's zone.
func (s *Schedule) night(now time.Time) bool {
	if s.DayBegins == s.DayEnds {
		return false
	}
	here := now.In(s.Zone)
	at := time.Duration(here.Hour())*time.Hour + time.Duration(here.Minute())*time.Minute + time.Duration(here.Second())*time.Second
	if s.DayBegins < s.DayEnds {
		return at < s.DayBegins || at >= s.DayEnds
	}
	return at < s.DayBegins && at >= s.DayEnds
}

// Words tells what is scheduled.
func (v *Scheduled) Words() string {
	switch {
	case v.Awaits:
		return fmt.Sprintf("holiday %s is over since %s: confirm its end with leat act end-holiday", v.Holiday.Name, v.Holiday.To.Format("2006-01-02 15:04"))
	case v.Holiday != nil:
		return fmt.Sprintf("holiday %s until %s", v.Holiday.Name, v.Holiday.To.Format("2006-01-02 15:04"))
	case v.Stage == "":
		return "before the first stage"
	}
	return "stage " + v.Stage
}

// Setpoints follow a schedule in steps of scheduleStep, so that a slow one is no flood of
// rows, and are asked for once in scheduleEvery at most.
const (
	scheduleStep  = 0.02 // pH or mS/cm
	scheduleEvery = time.Minute
	fromSchedule  = "schedule"
)

// followSchedule asks for the setpoints of the schedule as a person would: within the same
// bounds, in steps that need no confirmation, along the same ramp, and by a row of the
// ledger first. What a person asked for stands until its end, or until a stage begins, or a
// holiday begins or ends.
func (sp *setpoints) followSchedule(now dosing.Instant) {
	for i := range sp.tanks {
		t := &sp.tanks[i]
		if t.settings.Schedule.Empty() {
			continue
		}
		f, v := &sp.of[i], sp.scheduled(now, dosing.TankID(i))
		t.ph.home, t.ec.home = v.PH, v.EC
		if f.asked != 0 && now.Up-f.asked < scheduleEvery {
			continue
		}
		for _, q := range [...]dosing.Quantity{dosing.QuantityPH, dosing.QuantityEC} {
			if value, due := sp.dueOf(dosing.TankID(i), q, v); due && sp.ledger == safety.LedgerReady {
				f.asked = now.Up
				sp.ask(now, &Request{Kind: RequestSetpoint, Tank: dosing.TankID(i), Quantity: q, Value: value, By: v.Words(), From: fromSchedule, Role: RoleOperate})
			}
		}
	}
}

// scheduled is what the schedule says now.
func (sp *setpoints) scheduled(now dosing.Instant, id dosing.TankID) Scheduled {
	t, ended := &sp.tanks[id], sp.of[id].ended
	plan := t.settings.Schedule
	plan.DayBegins, plan.DayEnds = sp.day(id)
	plan.Dark = sp.of[id].lamps.dark(now.Up)
	v := plan.At(now.Wall, t.ph.limits.Value, t.ec.limits.Value, func(key string) bool {
		_, over := ended[key]
		return over
	})
	for _, at := range ended {
		if at.After(v.Since) {
			v.Since = at
		}
	}
	return v
}

// dueOf is the next step towards the scheduled setpoint of a quantity, if one is due.
func (sp *setpoints) dueOf(id dosing.TankID, q dosing.Quantity, v Scheduled) (value float64, due bool) {
	s, wanted := sp.tanks[id].setpointOf(q), v.PH
	if q == dosing.QuantityEC {
		wanted = v.EC
	}
	gap := wanted - s.target
	byPerson := s.source != "file" && s.source != fromSchedule
	switch {
	case sp.wishes.onWay[id][wishOf(&Request{Kind: RequestSetpoint, Quantity: q})].ticket != 0 || sp.wishes.next[id][nextOf(q)].request.Kind != RequestNone:
		return 0, false // a wish is on its way
	case byPerson && (!s.until.IsZero() || !s.at.Before(v.Since)):
		return 0, false
	case math.Abs(gap) < 1e-9 || v.Moving && math.Abs(gap) < scheduleStep:
		return 0, false
	}
	// Whoever wrote the file confirmed its stages; a longer way is gone in steps.
	value = s.target + math.Copysign(min(math.Abs(gap), s.limits.Confirm), gap)
	return math.Round(value*1000) / 1000, s.within(value) && math.Abs(math.Round(value*1000)/1000-s.target) > 1e-9
}

// askEnd confirms the end of a holiday, or ends it early.
func (sp *setpoints) askEnd(now dosing.Instant, r *Request) {
	v := sp.scheduled(now, r.Tank)
	if v.Holiday == nil {
		sp.refuse(r, "no holiday is under way")
		return
	}
	sp.wishes.awaitMore(now, r, ledger.Change{Kind: ledger.ChangeHolidayEnd, Text: v.Holiday.Key()},
		"holiday "+v.Holiday.Name+" is ended; setpoints return to the stage of the crop along their ramps")
}

// holidayEnded is told that the row is durable.
func (sp *setpoints) holidayEnded(id dosing.TankID, key string, at time.Time) {
	f := &sp.of[id]
	if f.ended == nil {
		f.ended = map[string]time.Time{}
	}
	f.ended[key] = at
}
