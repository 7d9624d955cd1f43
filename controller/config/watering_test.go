package config

import (
	"strings"
	"testing"
	"time"

	"leat/controller"
)

// A farm whose zones leat runs, otherwise from a stage on.
const ranZones = `
day_begins = "05:30"
day_ends = "21:30"

[[tank.stage]]
name = "seedlings"
from = "2031-02-01"

[[tank.stage]]
name = "heads"
from = "2031-03-01"

[[tank.stage.zone]]
zone = "tables"
run = { by_day = "10 times", by_night = "2 times", length = "6 min" }

[[tank.zone]]
name = "tables"
kind = "flood"
holds = "40 L"
longest_flood = "20 min"
run = { by_day = "4 times", length = "6 min" }

[[tank.zone]]
name = "gullies"
kind = "film"
holds = "10 L"
longest_pause = "20 min"
run = { by_day = "48 times", by_night = "24 times", length = "10 min" }
`

func withZones(t *testing.T, zones string) string {
	t.Helper()
	return changed(t, good(t, "plain.toml"), "[tank.ph_setpoint]", zones+"\n[tank.ph_setpoint]")
}

func TestLeatRunsZonesAsTheFileSays(t *testing.T) {
	set := parsed(t, withZones(t, ranZones)).Settings.Tanks[0]
	if got, want := set.Zones[0].Own, (controller.Watering{ByDay: 4, Length: 6 * time.Minute}); got != want {
		t.Errorf("tables: %+v", got)
	}
	if got, want := set.Schedule.Stages[1].Zones[0], (controller.Watering{ByDay: 10, ByNight: 2, Length: 6 * time.Minute}); got != want {
		t.Errorf("tables, heads: %+v", got)
	}
	starts := set.Zones[0].Own.Starts(set.Schedule.DayBegins, set.Schedule.DayEnds)
	if want := []time.Duration{5*time.Hour + 30*time.Minute, 9*time.Hour + 30*time.Minute, 13*time.Hour + 30*time.Minute, 17*time.Hour + 30*time.Minute}; len(starts) != 4 || starts[0] != want[0] || starts[3] != want[3] {
		t.Errorf("floods at %v", starts)
	}
}

func TestAZoneThatWouldDryOrDrownIsRefused(t *testing.T) {
	for name, c := range map[string]struct{ old, new, says string }{
		"a bench all the time":     {`run = { by_day = "4 times", length = "6 min" }`, `run = { always = true }`, "is no flood"},
		"no time to drain":         {`run = { by_day = "4 times", length = "6 min" }`, `run = { by_day = "4 times", length = "20 min" }`, "leaves no time to drain"},
		"floods on floods":         {`run = { by_day = "4 times", length = "6 min" }`, `run = { by_day = "96 times", length = "6 min" }`, "before the one before has drained"},
		"a film that stands":       {`by_night = "24 times"`, `by_night = "4 times"`, "more than longest_pause"},
		"a film without a night":   {`by_night = "24 times", `, ``, "more than longest_pause"},
		"runs that meet":           {`by_day = "48 times"`, `by_day = "100 times"`, "is longer than from one run to the next"},
		"never":                    {`run = { by_day = "4 times", length = "6 min" }`, `run = { by_day = "0 times", length = "6 min" }`, "is no number of runs"},
		"half a time":              {`by_day = "4 times"`, `by_day = "4.5 times"`, "is no number of runs"},
		"no length":                {`by_day = "4 times", length = "6 min"`, `by_day = "4 times"`, "out of range"},
		"a zone of nobody":         {`zone = "tables"`, `zone = "benches"`, "is no zone of this tank"},
		"a stage without a word":   {`run = { by_day = "10 times", by_night = "2 times", length = "6 min" }`, ``, "does not say how it runs"},
		"another's in a stage":     {`run = { by_day = "4 times", length = "6 min" }`, ``, "is run by its own controller"},
		"both":                     {`run = { by_day = "4 times", length = "6 min" }`, `run = { always = true, length = "6 min" }`, "runs always and at times"},
		"by night without a night": {"day_begins = \"05:30\"\nday_ends = \"21:30\"", "", "has no night"},
	} {
		text := withZones(t, changed(t, ranZones, c.old, c.new))
		_, err := Parse("farm.toml", []byte(text), stranger())
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
