package store

import (
	"fmt"
	"strings"
	"time"

	"leat/dosing"
	"leat/safety/ledger"
)

// Selection narrows an export. Zero fields select everything.
type Selection struct {
	From, To   time.Time // wall time, [From, To)
	Tank, Pump string
}

func (s Selection) holds(wall time.Time) bool {
	return (s.From.IsZero() || !wall.Before(s.From)) && (s.To.IsZero() || wall.Before(s.To))
}

func (s Selection) picks(e ledger.Entry) bool {
	return s.holds(e.At.Wall) && (s.Tank == "" || e.Tank == s.Tank) && (s.Pump == "" || e.Pump == s.Pump)
}

// ReadMoment reads where a selection begins or ends: a day, a time of day in the zone of
// now, or an age; empty is no limit. A day is included where it is an end.
func ReadMoment(text string, now time.Time, endOfDay bool) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	if age, err := time.ParseDuration(text); err == nil {
		return now.Add(-age), nil
	}
	if day, err := time.ParseInLocation(time.DateOnly, text, now.Location()); err == nil {
		if endOfDay {
			day = day.AddDate(0, 0, 1)
		}
		return day, nil
	}
	for _, layout := range []string{time.RFC3339, "2006-01-02T15:04:05", "2006-01-02T15:04", "2006-01-02 15:04:05", "2006-01-02 15:04"} {
		if moment, err := time.ParseInLocation(layout, text, now.Location()); err == nil {
			return moment, nil
		}
	}
	return time.Time{}, fmt.Errorf("%q: want a time such as 2031-03-04 or 2031-03-04T19:00, or an age such as 36h", text)
}

// check refuses a pump that never dosed: an empty table would hide a typing error.
func (s Selection) check(r *Record) error {
	if s.Pump == "" {
		return nil
	}
	state, err := ledger.Replay(r, dosing.Instant{Wall: time.Now()}, false)
	if err != nil {
		return err
	}
	if _, known := state.Ever[s.Pump]; !known {
		return fmt.Errorf("pump %q has no dose on record; there are: %s", s.Pump, strings.Join(pumpsOf(state), ", "))
	}
	return nil
}
