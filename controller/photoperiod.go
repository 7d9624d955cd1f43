package controller

import (
	"time"

	"leat/dosing"
)

// lamps is what the lights' own controller tells of day and night.
type lamps struct {
	heard        time.Duration
	ever, burn   bool
	begins, ends time.Duration // of the day, as the lamps last switched
	lit, went    bool          // whether they were seen to switch on, and off
}

const (
	// lampsFresh is how old the lamps' word may be to say whether it is night now.
	lampsFresh = 2 * time.Minute
	// lampsApart is how far they must switch from the last time to move the day: a minute more
	// or less makes no new schedule of a zone.
	lampsApart = 10 * time.Minute
)

// light takes what the lamps say. When they switch, they tell when day begins and ends.
func (sp *setpoints) light(now dosing.Instant, id dosing.TankID, burn bool) {
	if int(id) >= len(sp.of) {
		return
	}
	l := &sp.of[id].lamps
	switched := l.ever && burn != l.burn && now.Up-l.heard < lampsFresh
	l.ever, l.burn, l.heard = true, burn, now.Up
	if !switched {
		return
	}
	at := sp.dayTime(id, now.Wall).Round(time.Minute) % wholeDay
	if burn {
		l.begins, l.lit = moved(l.begins, at, l.lit), true
	} else {
		l.ends, l.went = moved(l.ends, at, l.went), true
	}
}

// moved is the time of day that counts from now on.
func moved(was, at time.Duration, known bool) time.Duration {
	if apart := (at - was + wholeDay) % wholeDay; known && min(apart, wholeDay-apart) <= lampsApart {
		return was
	}
	return at
}

// dark is whether the lamps are dark now; nil = they do not say.
func (l *lamps) dark(up time.Duration) *bool {
	if !l.ever || up-l.heard > lampsFresh {
		return nil
	}
	dark := !l.burn
	return &dark
}

// day is when the day of a tank begins and ends: as its lamps were last seen to switch, else by
// the clock; the same for both = there is no night.
func (sp *setpoints) day(id dosing.TankID) (begins, ends time.Duration) {
	s, l := &sp.tanks[id].settings.Schedule, &sp.of[id].lamps
	begins, ends = s.DayBegins, s.DayEnds
	if begins == ends && !(l.lit && l.went) {
		return begins, ends // half of it is no day
	}
	if l.lit {
		begins = l.begins
	}
	if l.went {
		ends = l.ends
	}
	return begins, ends
}

// dayTime is the time of the day here.
func (s *station) dayTime(id dosing.TankID, wall time.Time) time.Duration {
	if zone := s.settings.Tanks[id].Schedule.Zone; zone != nil {
		wall = wall.In(zone)
	}
	return time.Duration(wall.Hour())*time.Hour + time.Duration(wall.Minute())*time.Minute + time.Duration(wall.Second())*time.Second
}
