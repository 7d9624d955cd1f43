package config

import (
	"fmt"
	"math"
	"strconv"
	"time"

	"leat/controller"
	"leat/dosing"
)

const (
	mostStages   = 60
	mostHolidays = 20
	longestOver  = 90 * 24 * time.Hour
)

// calendars builds the schedules of setpoints.
type calendars struct{ *frame }

// schedule reads a tank's stages, nights and holidays. Each value lies within the
// recommended bounds and no step is so large that a person would be asked twice: nobody is
// there to be asked when it comes.
func (b *calendars) schedule(path string, t *tankTable, set *controller.TankSettings) {
	s := &set.Schedule
	s.Zone = b.file.Zone
	s.DayBegins, s.DayEnds = b.clock(join(path, "day_begins"), t.DayBegins), b.clock(join(path, "day_ends"), t.DayEnds)
	if (t.DayBegins == "") != (t.DayEnds == "") || t.DayBegins != "" && s.DayBegins == s.DayEnds {
		b.fault(join(path, "day_begins"), quoted(t.DayBegins), "and day_ends make no day", `state both, such as day_begins = "06:00", day_ends = "22:00"`)
	}
	if len(t.Stages) > mostStages || len(t.Holidays) > mostHolidays {
		b.fault(join(path, "stage"), "", fmt.Sprintf("or holiday stands more than %d or %d times", mostStages, mostHolidays), "leave out those that are over")
		return
	}
	b.stages(path, t, set)
	b.holidays(path, t, set)
	b.waterings(path, t, set)
}

func (b *calendars) stages(path string, t *tankTable, set *controller.TankSettings) {
	s := &set.Schedule
	pH, ec := set.PH.Value, set.EC.Value
	seen := map[string]string{}
	for i := range t.Stages {
		in := &t.Stages[i]
		at := join(join(path, "stage"), strconv.Itoa(i))
		b.unique(seen, at, in.Name, "stage of this tank")
		stage := controller.Stage{Name: in.Name, From: b.moment(join(at, "from"), in.From), PH: in.PH.or(0), EC: in.EC.or(0),
			NightPH: in.NightPH.or(0), NightEC: in.NightEC.or(0), Over: in.Over.or(0)}
		if n := len(s.Stages); n > 0 && !stage.From.After(s.Stages[n-1].From) {
			b.fault(join(at, "from"), quoted(in.From), "is not after the stage before", "write the stages in the order in which they come")
		}
		if stage.Over > longestOver {
			b.fault(join(at, "over"), quoted(in.Over.text), "is out of range", "at most 2160h, which is 90 days")
		}
		if (in.NightPH.stated || in.NightEC.stated) && t.DayBegins == "" {
			b.fault(at, "", "has setpoints for the night, and no day_begins and day_ends say when it is", `state them in [[tank]], such as day_begins = "06:00", day_ends = "22:00"`)
		}
		b.scheduledValue(join(at, "ph"), dosing.QuantityPH, in.PH.text, stage.PH, &set.PH)
		b.scheduledValue(join(at, "ec"), dosing.QuantityEC, in.EC.text, stage.EC, &set.EC)
		stepPH, stepEC := pH, ec
		if i == 0 { // whatever the file's own value is, the first stage is the one that counts
			stepPH, stepEC = 0, 0
		}
		b.step(join(at, "ph"), in.PH.text, stage.PH, stepPH, stage.Over > 0, &set.PH)
		b.step(join(at, "ec"), in.EC.text, stage.EC, stepEC, stage.Over > 0, &set.EC)
		pH, ec = or(stage.PH, pH), or(stage.EC, ec)
		b.scheduledValue(join(at, "night_ph"), dosing.QuantityPH, in.NightPH.text, stage.NightPH, &set.PH)
		b.scheduledValue(join(at, "night_ec"), dosing.QuantityEC, in.NightEC.text, stage.NightEC, &set.EC)
		b.step(join(at, "night_ph"), in.NightPH.text, stage.NightPH, pH, false, &set.PH)
		b.step(join(at, "night_ec"), in.NightEC.text, stage.NightEC, ec, false, &set.EC)
		s.Stages = append(s.Stages, stage)
	}
}

func (b *calendars) holidays(path string, t *tankTable, set *controller.TankSettings) {
	for i := range t.Holidays {
		in := &t.Holidays[i]
		at := join(join(path, "holiday"), strconv.Itoa(i))
		b.name(join(at, "name"), in.Name)
		h := controller.Holiday{Name: in.Name, From: b.moment(join(at, "from"), in.From), To: b.moment(join(at, "to"), in.To), PH: in.PH.or(0), EC: in.EC.or(0)}
		if !h.To.After(h.From) {
			b.fault(join(at, "to"), quoted(in.To), "is not after from", "state the day of the return")
		}
		if n := len(set.Schedule.Holidays); n > 0 && h.From.Before(set.Schedule.Holidays[n-1].To) {
			b.fault(join(at, "from"), quoted(in.From), "is before the holiday before ends", "write the holidays in the order in which they come, one at a time")
		}
		b.scheduledValue(join(at, "ph"), dosing.QuantityPH, in.PH.text, h.PH, &set.PH)
		b.scheduledValue(join(at, "ec"), dosing.QuantityEC, in.EC.text, h.EC, &set.EC)
		set.Schedule.Holidays = append(set.Schedule.Holidays, h)
	}
}

func or(value, otherwise float64) float64 {
	if value == 0 {
		return otherwise
	}
	return value
}

// scheduledValue refuses what a person would be refused or asked twice.
func (b *calendars) scheduledValue(path string, q dosing.Quantity, text string, value float64, l *controller.SetpointSettings) {
	if value != 0 && !(value >= l.AdvisedMin && value <= l.AdvisedMax) {
		b.fault(path, quoted(text), fmt.Sprintf("is outside the recommended %s to %s %s", figure(l.AdvisedMin), figure(l.AdvisedMax), q.Unit()),
			"a schedule keeps within them: nobody is there to be asked twice; else widen advised_min or advised_max of the setpoint")
	}
}

// step refuses one that a person would have to confirm.
func (b *calendars) step(path, text string, value, before float64, gently bool, l *controller.SetpointSettings) {
	if value != 0 && before != 0 && !gently && math.Abs(value-before) > l.Confirm+1e-9 {
		b.fault(path, quoted(text), fmt.Sprintf("is a step of %s from %s, more than confirm_step %s", figure(math.Abs(value-before)), figure(before), figure(l.Confirm)),
			`let it move gently with over = "72h", or put a stage between`)
	}
}

// clock reads a time of day.
func (b *calendars) clock(path, text string) time.Duration {
	if text == "" {
		return 0
	}
	at, err := time.Parse("15:04", text)
	if err != nil {
		b.fault(path, quoted(text), "is no time of day", `write it as "06:00"`)
		return 0
	}
	return time.Duration(at.Hour())*time.Hour + time.Duration(at.Minute())*time.Minute
}

// moment reads a day, or a day and time, in the station's zone.
func (b *calendars) moment(path, text string) time.Time {
	zone := b.file.Zone
	if zone == nil {
		zone = time.UTC // the fault of the zone was told
	}
	for _, form := range []string{time.DateOnly, "2006-01-02T15:04", "2006-01-02 15:04"} {
		if at, err := time.ParseInLocation(form, text, zone); err == nil && at.Year() >= 2000 && at.Year() < 2200 {
			return at
		}
	}
	if text != "" { // missing, said already
		b.fault(path, quoted(text), "is no day", "write it as 2031-03-04, or 2031-03-04T06:00")
	}
	return time.Time{}
}
