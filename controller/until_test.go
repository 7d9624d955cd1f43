package controller

import (
	"strings"
	"testing"
	"time"
)

func TestUntilIsUnderstoodAsItIsTypedAtNight(t *testing.T) {
	zone := time.FixedZone("CET", 3600)
	now := time.Date(2031, 3, 4, 23, 10, 0, 0, zone)
	for text, want := range map[string]string{
		"6": "05 06:00", "06": "05 06:00", "06:00": "05 06:00", "18:30": "05 18:30", "6.15": "05 06:15", "23:30": "04 23:30", "23:10": "05 23:10", "0:05": "05 00:05",
		"2 h": "05 01:10", "2h": "05 01:10", "90 min": "05 00:40", "1 h 30 min": "05 00:40", "1h30m": "05 00:40", " 45 m ": "04 23:55", "2 hours": "05 01:10",
		"2031-03-06 07:00": "06 07:00", "2031-03-06T07:00": "06 07:00", "2031-03-06T06:00:00Z": "06 07:00",
	} {
		got, err := Until(text, now)
		if err != nil || got.In(zone).Format("02 15:04") != want {
			t.Errorf("%q is %v, %v; want %s", text, got, err, want)
		}
	}
	if got, err := Until("", now); err != nil || !got.IsZero() {
		t.Errorf("nothing typed is %v, %v", got, err)
	}
	for text, why := range map[string]string{"24": "not understood", "6:60": "not understood", "noon": "not understood", "-2 h": "not understood", "0 h": "passed", "0 min": "passed",
		"2031-03-04 06:00": "passed", "99999 h": "more than a year", "2 weeks": "18:30", "h": "not understood", "5.9.": "not understood"} {
		if got, err := Until(text, now); err == nil || !strings.Contains(err.Error(), why) {
			t.Errorf("%q is %v, %v; want %s", text, got, err, why)
		}
	}
	if words := endWords(now.Add(7*time.Hour), now); words != "until Wed 5 Mar 06:10 CET, in 7 h 0 min" {
		t.Errorf("repeated as %q", words)
	}
}

func FuzzUntilIsLaterThanNowOrRefused(f *testing.F) {
	for _, seed := range []string{"6", "18:30", "2 h", "1h30m", "2031-03-06T06:00:00Z", "", "-1", "99999h 999999m"} {
		f.Add(seed)
	}
	now := time.Date(2031, 3, 4, 23, 10, 0, 0, time.UTC)
	f.Fuzz(func(t *testing.T, text string) {
		end, err := Until(text, now)
		if err == nil && !end.IsZero() && (!end.After(now) || end.Sub(now) > longestUntil) {
			t.Errorf("%q is %v", text, end)
		}
		if err != nil && !end.IsZero() {
			t.Errorf("%q is refused and %v all the same", text, end)
		}
	})
}
