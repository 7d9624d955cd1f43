package config

import (
	"strings"
	"testing"
	"time"
)

const staged = `
[[tank.stage]]
name = "young"
from = "2031-03-01"
ec = "1.2 mS/cm"
[[tank.stage]]
name = "growth"
from = "2031-03-08T06:00"
ec = "2.2 mS/cm"
over = "168h"
night_ec = "2.4 mS/cm"
[[tank.holiday]]
name = "rest"
from = "2031-04-01"
to = "2031-04-08"
ec = "1.4 mS/cm"
`

// scheduleOf is the smallest file with a day and these tables.
func scheduleOf(tables string) string {
	return `[[tank]]
name = "tank"
volume = "300 L"
day_begins = "06:00"
day_ends = "22:00"
` + tables + `
[[pump]]
name = "acid"
role = "acid"
reagent = "nitric acid"
strength = "10 %"
rate = "10 mL/min"
`
}

func TestAScheduleIsReadWithItsDatesInTheStationsZone(t *testing.T) {
	file, err := Parse("f.toml", []byte(scheduleOf(staged)), Env{})
	if err != nil {
		t.Fatal(err)
	}
	s := file.Settings.Tanks[0].Schedule
	if len(s.Stages) != 2 || s.Stages[1].Over != 168*time.Hour || s.Stages[1].NightEC != 2.4 || !s.Stages[1].From.Equal(time.Date(2031, 3, 8, 6, 0, 0, 0, file.Zone)) ||
		len(s.Holidays) != 1 || s.Holidays[0].EC != 1.4 || s.DayEnds != 22*time.Hour {
		t.Errorf("%+v", s)
	}
}

func TestASchedulesFaultsAreNamedWithWhatToDo(t *testing.T) {
	for from, to := range map[string][2]string{
		`over = "168h"`:          {``, `let it move gently with over = "72h"`},
		`ec = "1.2 mS/cm"`:       {`ec = "3.2 mS/cm"`, "outside the recommended"},
		`from = "2031-03-01"`:    {`from = "2031-03-09"`, "not after the stage before"},
		`to = "2031-04-08"`:      {`to = "2031-03-08"`, "not after from"},
		`2031-03-08T06:00`:       {`8 March`, "is no day"},
		`night_ec = "2.4 mS/cm"`: {`night_ec = "2.7 mS/cm"`, "is a step of 0.5"},
		`name = "growth"`:        {`name = "young"`, "is the name of another stage"},
	} {
		_, err := Parse("f.toml", []byte(scheduleOf(strings.Replace(staged, from, to[0], 1))), Env{})
		if err == nil || !strings.Contains(err.Error(), to[1]) {
			t.Errorf("%s → %s: %v; want %q", from, to[0], err, to[1])
		}
	}
}
