package controller

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"
)

// longestUntil is how far off the end of a timed change may lie.
const longestUntil = 366 * 24 * time.Hour

var (
	clockTyped = regexp.MustCompile(`^([0-9]{1,2})(?:[:.]([0-9]{2}))?$`)
	spanTyped  = regexp.MustCompile(`^(?:([0-9]{1,5})\s*(?:h|hours?))?\s*(?:([0-9]{1,6})\s*(?:m|min|minutes?))?$`)
)

// Until reads when a timed change ends, as it is typed on a phone: "6" and "18:30" are
// the next such time of day in the zone of now, "2 h" and "1 h 30 min" a time from now, anything else a
// date with a time. Empty is without a time limit.
func Until(text string, now time.Time) (time.Time, error) {
	plain := strings.ToLower(strings.TrimSpace(text))
	if plain == "" {
		return time.Time{}, nil
	}
	end, understood := untilOf(plain, now)
	switch {
	case !understood:
		return time.Time{}, fmt.Errorf("until %.40q is not understood: write a time of day such as 6 or 18:30, a time from now such as 2 h or 90 min, or a date such as 2026-01-31 06:00", text)
	case !end.After(now):
		return time.Time{}, fmt.Errorf("until %.40s has passed", text)
	case end.Sub(now) > longestUntil:
		return time.Time{}, fmt.Errorf("until %.40s is more than a year off", text)
	}
	return end, nil
}

func untilOf(plain string, now time.Time) (end time.Time, understood bool) {
	if m := clockTyped.FindStringSubmatch(plain); m != nil {
		hour, _ := strconv.Atoi(m[1]) // two digits at most
		minute, _ := strconv.Atoi(m[2])
		if hour > 23 || minute > 59 {
			return end, false
		}
		for day := now.Day(); day <= now.Day()+1; day++ {
			if end = time.Date(now.Year(), now.Month(), day, hour, minute, 0, 0, now.Location()); end.After(now) {
				break
			}
		}
		return end, true
	}
	if m := spanTyped.FindStringSubmatch(plain); m != nil {
		hours, _ := strconv.Atoi("0" + m[1]) // six digits at most
		minutes, _ := strconv.Atoi("0" + m[2])
		return now.Add(time.Duration(hours)*time.Hour + time.Duration(minutes)*time.Minute), true
	}
	for _, layout := range []string{time.RFC3339, "2006-01-02T15:04", "2006-01-02 15:04"} {
		if end, err := time.ParseInLocation(layout, strings.ToUpper(plain), now.Location()); err == nil {
			return end, true
		}
	}
	return end, false
}

// endWords repeats when a timed change ends, with its zone, so that whoever typed it
// sees how it was understood.
func endWords(end, now time.Time) string {
	if end.IsZero() {
		return ""
	}
	end = end.In(now.Location())
	layout := "15:04 MST"
	if y, m, d := now.Date(); end.Sub(now) >= 24*time.Hour || end.Before(time.Date(y, m, d, 0, 0, 0, 0, now.Location())) || end.Day() != d {
		layout = "Mon 2 Jan 15:04 MST"
	}
	minutes := int(end.Sub(now).Round(time.Minute).Minutes())
	return fmt.Sprintf("until %s, in %d h %d min", end.Format(layout), minutes/60, minutes%60)
}
