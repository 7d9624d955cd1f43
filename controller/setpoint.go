package controller

import (
	"cmp"
	"fmt"
	"hash/fnv"
	"math"
	"time"

	"leat/dosing"
)

// setpoint is one setpoint with its source, its end and its ramp.
type setpoint struct {
	limits  SetpointSettings
	present float64 // effective now
	target  float64 // where the ramp ends
	source  string  // "file", "page", "mqtt", "socket"
	by      string
	at      time.Time
	until   time.Time // wall time at which the file's value returns; zero = for good
	moved   time.Duration

	offer      string // token of a change that wants a second confirmation
	offered    float64
	offerEnds  time.Duration
	offerCount uint32
}

// offerHolds is how long a change may be confirmed, unless the settings say.
const offerHolds = 2 * time.Minute

func newSetpoint(limits SetpointSettings, now dosing.Instant) setpoint {
	return setpoint{limits: limits, present: limits.Value, target: limits.Value, source: "file", at: now.Wall, moved: now.Up}
}

// advance moves the effective setpoint along its ramp and ends a timed change.
func (s *setpoint) advance(now dosing.Instant) {
	passed := now.Up - s.moved
	s.moved = now.Up
	if !s.until.IsZero() && !now.Wall.Before(s.until) {
		s.target, s.source, s.by, s.at, s.until = s.limits.Value, "file", "", now.Wall, time.Time{}
	}
	step := float64(s.limits.RampPerHour * passed.Hours())
	switch gap := s.target - s.present; {
	case gap > step:
		s.present += step
	case gap < -step && s.limits.RampDownward:
		s.present -= step
	default:
		s.present = s.target
	}
}

// accept makes value the new end of the ramp.
func (s *setpoint) accept(value float64, source, by string, at, until time.Time) {
	s.target, s.source, s.by, s.at, s.until, s.offer = value, source, by, at, until, ""
}

// judge says whether value may become the setpoint: refused with a text, wanting
// the confirmation of a token, or neither.
func (s *setpoint) judge(now dosing.Instant, name string, value float64, confirm string) (refused, token, why string) {
	l := s.limits
	if math.IsNaN(value) || value < l.Lowest || value > l.Highest {
		return fmt.Sprintf("%s %s is outside %s to %s and was not taken; ask for a value in these bounds, which only the configuration file can change%s",
			name, number(value), number(l.Lowest), number(l.Highest), s.slip(value)), "", ""
	}
	step := math.Abs(value - s.target)
	switch {
	case step > l.Confirm+1e-9:
		why = fmt.Sprintf("%s %s to %s is a step of %s, more than %s", name, number(s.target), number(value), number(step), number(l.Confirm))
	case value < l.AdviseLow-1e-9 || value > l.AdviseHigh+1e-9:
		why = fmt.Sprintf("%s %s is outside the recommended %s to %s", name, number(value), number(l.AdviseLow), number(l.AdviseHigh))
	default:
		return "", "", ""
	}
	if confirm != "" {
		if confirm == s.offer && value == s.offered && now.Up <= s.offerEnds {
			return "", "", ""
		}
		why = "the confirmation came too late or was of another change; " + why
	}
	s.offerCount++
	h := fnv.New32a()
	fmt.Fprintf(h, "%s|%v|%d|%d", name, value, s.offerCount, now.Up)
	s.offer, s.offered, s.offerEnds = fmt.Sprintf("%08x", h.Sum32()), value, now.Up+cmp.Or(l.ConfirmWithin, offerHolds)
	return "", s.offer, why
}

// slip names the value that a lost decimal point most likely stands for.
func (s *setpoint) slip(value float64) string {
	for _, guess := range []float64{value / 10, value / 100, value / 1000} {
		if guess >= s.limits.AdviseLow && guess <= s.limits.AdviseHigh {
			return fmt.Sprintf(" (a lost decimal point: did you mean %s?)", number(guess))
		}
	}
	return ""
}

func number(v float64) string {
	return fmt.Sprintf("%g", math.Round(v*1000)/1000)
}

// endOf reads the end of a timed change: "06:00" is the next such time of day in
// the zone of now, anything else RFC 3339.
func endOf(text string, now time.Time) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	if clock, err := time.Parse("15:04", text); err == nil {
		end := time.Date(now.Year(), now.Month(), now.Day(), clock.Hour(), clock.Minute(), 0, 0, now.Location())
		if !end.After(now) {
			end = time.Date(now.Year(), now.Month(), now.Day()+1, clock.Hour(), clock.Minute(), 0, 0, now.Location())
		}
		return end, nil
	}
	end, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return time.Time{}, fmt.Errorf("until %.40q: want a time of day such as 06:00, or a date and time such as 2026-01-31T06:00:00Z", text)
	}
	if !end.After(now) {
		return time.Time{}, fmt.Errorf("until %s has passed", text)
	}
	return end, nil
}
