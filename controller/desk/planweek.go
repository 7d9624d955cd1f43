package desk

import (
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"leat/controller"
	"leat/controller/config"
)

// Week is what leat plan week is asked.
type Week struct {
	Config, Tank string
	Begin        string  // day of the plan; empty = today
	Days         int     // that are shown
	FromEC, ToEC float64 // a ramp to plan instead of what the file schedules; 0 = none
	JSON         bool
	Now          time.Time
}

// WeekPlan is the answer.
type WeekPlan struct {
	Tank     string    `json:"tank"`
	Days     []WeekDay `json:"days"`
	Limits   []string  `json:"limits"`
	Refused  []string  `json:"refused"`          // why it would not go so
	Stages   string    `json:"stages,omitempty"` // of a ramp that was asked for: what to write into the file
	Schedule bool      `json:"scheduled"`        // whether the file schedules anything
}

// WeekDay is one day of the plan, as at its beginning and at its end.
type WeekDay struct {
	Date    string  `json:"date"`
	Words   string  `json:"words"`
	PH      float64 `json:"ph"`
	Begins  float64 `json:"ec_begins_ms_per_cm"`
	Ends    float64 `json:"ec_ends_ms_per_cm"`
	Lowest  float64 `json:"ec_lowest_ms_per_cm"`
	Highest float64 `json:"ec_highest_ms_per_cm"`
}

const mostDays = 60

// Run prints the setpoints of the coming days and what bounds how fast they may move.
func (w *Week) Run(stdout io.Writer) error {
	if (w.FromEC == 0) != (w.ToEC == 0) || !(w.FromEC >= 0 && w.ToEC >= 0) {
		return Misuse("a ramp has both -from-ec and -to-ec, in mS/cm")
	}
	at, err := w.place()
	if err != nil {
		return err
	}
	plan := w.plan(at.tank, at.set, at.begin)
	plan.limit(at.set, at.rates)
	if w.JSON {
		return WriteJSON(stdout, plan)
	}
	return plan.write(stdout)
}

// begins is midnight of the first day.
func (w *Week) begins(zone *time.Location) (time.Time, error) {
	here := w.Now.In(zone)
	if w.Begin == "" {
		return time.Date(here.Year(), here.Month(), here.Day(), 0, 0, 0, 0, zone), nil
	}
	at, err := time.ParseInLocation(time.DateOnly, w.Begin, zone)
	if err != nil {
		return at, Misuse("-begin %q: want a day such as 2031-03-04", w.Begin)
	}
	return at, nil
}

// plan looks at the schedule, or at the ramp that is asked for, hour by hour.
func (w *Week) plan(tank string, set *controller.TankSettings, begin time.Time) *WeekPlan {
	schedule := set.Schedule
	p := &WeekPlan{Tank: tank, Days: []WeekDay{}, Limits: []string{}, Refused: []string{}, Schedule: !schedule.Empty()}
	if w.ToEC > 0 {
		over := time.Duration(w.Days) * 24 * time.Hour
		schedule = controller.Schedule{Zone: begin.Location(), Stages: []controller.Stage{
			{Name: "start", From: begin.AddDate(0, 0, -1), EC: w.FromEC}, {Name: "ramp", From: begin, EC: w.ToEC, Over: over}}}
		p.Stages = fmt.Sprintf("[[tank.stage]]\nname = \"start\"\nfrom = %q\nec = \"%.3g mS/cm\"\n\n[[tank.stage]]\nname = \"ramp\"\nfrom = %q\nec = \"%.3g mS/cm\"\nover = \"%dh\"\n",
			begin.AddDate(0, 0, -1).Format(time.DateOnly), w.FromEC, begin.Format(time.DateOnly), w.ToEC, 24*w.Days)
	}
	none := func(string) bool { return false }
	for day := range w.Days {
		from := begin.AddDate(0, 0, day)
		to := begin.AddDate(0, 0, day+1)
		d := WeekDay{Date: from.Format(time.DateOnly), Lowest: math.Inf(1)}
		for at := from; at.Before(to); at = at.Add(time.Hour) {
			v := schedule.At(at, set.PH.Value, set.EC.Value, none)
			if at.Equal(from) {
				d.Begins, d.PH, d.Words = v.EC, v.PH, v.Words()
			}
			if words := v.Words(); words != d.Words && !strings.Contains(d.Words, words) {
				d.Words += ", then " + words
			}
			d.Lowest, d.Highest = min(d.Lowest, v.EC), max(d.Highest, v.EC)
		}
		v := schedule.At(to.Add(-time.Second), set.PH.Value, set.EC.Value, none)
		d.Ends = v.EC
		p.Days = append(p.Days, d)
	}
	return p
}

// limit says what bounds the ramp, and what of the plan goes beyond it.
func (p *WeekPlan) limit(set *controller.TankSettings, rates []config.Sustained) {
	l := &set.EC
	p.Limits = append(p.Limits, fmt.Sprintf("the ramp of the setpoint: %.3g mS/cm an hour upward, %.3g a day", l.RampPerHour, 24*l.RampPerHour),
		fmt.Sprintf("recommended bounds: %.3g to %.3g mS/cm; a schedule keeps within them", l.AdvisedMin, l.AdvisedMax),
		fmt.Sprintf("a step of more than %.3g mS/cm needs a person, or a stage with over", l.Confirm))
	perDay := 24 * l.RampPerHour
	for _, rate := range rates {
		if rate.Reagent == "stock" {
			room := 24 * (rate.PerHour - rate.Worst)
			perDay = min(perDay, room)
			p.Limits = append(p.Limits, fmt.Sprintf("the stocks: %.3g mS/cm a day beside what the crop takes at worst, bounded by %s", room, rate.LimitedBy))
		}
	}
	for i := range p.Days {
		d := &p.Days[i]
		if d.Lowest < l.AdvisedMin-1e-9 || d.Highest > l.AdvisedMax+1e-9 {
			p.Refused = append(p.Refused, fmt.Sprintf("%s: EC %.3g to %.3g mS/cm is outside the recommended bounds, so the file would be refused", d.Date, d.Lowest, d.Highest))
		}
		if rise := d.Ends - d.Begins; rise > perDay {
			p.Refused = append(p.Refused, fmt.Sprintf("%s: a rise of %.3g mS/cm in a day is more than %.3g, so EC would stay behind: give it more days", d.Date, rise, perDay))
		}
	}
}

func (p *WeekPlan) write(w io.Writer) error {
	var out strings.Builder
	fmt.Fprintf(&out, "Tank %s, setpoints of the coming days\n\n%-11s %6s  %s\n", p.Tank, "day", "pH", "EC, mS/cm")
	for i := range p.Days {
		d := &p.Days[i]
		ec := fmt.Sprintf("%.2f", d.Begins)
		if d.Begins != d.Ends {
			ec += fmt.Sprintf(" → %.2f", d.Ends)
		}
		if d.Lowest < min(d.Begins, d.Ends)-1e-9 || d.Highest > max(d.Begins, d.Ends)+1e-9 {
			ec += fmt.Sprintf(" (from %.2f to %.2f by day and night)", d.Lowest, d.Highest)
		}
		fmt.Fprintf(&out, "%-11s %6.2f  %-16s  %s\n", d.Date, d.PH, ec, d.Words)
	}
	fmt.Fprint(&out, "\nWhat limits it\n")
	for _, l := range p.Limits {
		fmt.Fprintf(&out, "  - %s\n", l)
	}
	for _, r := range p.Refused {
		fmt.Fprintf(&out, "  ! %s\n", r)
	}
	switch {
	case p.Stages != "" && len(p.Refused) == 0:
		fmt.Fprintf(&out, "\nTo have it so, put this under the [[tank]] of the file, run leat check, and load it again (SIGHUP):\n\n%s", p.Stages)
	case p.Stages == "" && !p.Schedule:
		fmt.Fprint(&out, "\nThe file schedules nothing: leat plan stage writes a stage of the crop for it, leat plan holiday a holiday, leat plan week -from-ec 1.2 -to-ec 2.2 a ramp.\n")
	}
	_, err := io.WriteString(w, out.String())
	return err
}
