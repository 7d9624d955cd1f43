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

// Scheduling is what leat plan stage and leat plan holiday are asked: what to write into
// the file for a stage of the crop or a holiday, and what the setpoints then are.
type Scheduling struct {
	Week
	Holiday bool
	Name    string
	PH, EC  float64       // 0 = as before it
	Over    time.Duration // of a stage: in which its values are come to
}

// Run prints the days around it and the lines for the file.
func (s *Scheduling) Run(stdout io.Writer) error {
	if s.Name == "" || s.PH == 0 && s.EC == 0 && !s.Holiday {
		return Misuse("say with -name what it is called, and of a stage with -ph or -ec what it sets")
	}
	if s.Holiday && (s.Begin == "" || s.Over != 0) {
		return Misuse("a holiday has -begin DAY and -days DAYS, and no -over")
	}
	at, err := s.place()
	if err != nil {
		return err
	}
	if why := s.wrong(at); why != "" {
		return Misuse("%s", why)
	}
	lines := s.add(at)
	plan := s.plan(at.tank, at.set, at.begin)
	plan.limit(at.set, at.rates)
	plan.Stages = lines
	if s.JSON {
		return WriteJSON(stdout, plan)
	}
	return plan.write(stdout)
}

// wrong is why the file would be refused with it: by the rules of its schedule.
func (s *Scheduling) wrong(at *weekAt) string {
	for _, v := range []struct {
		name         string
		asked, later float64
		l            *controller.SetpointSettings
	}{{"-ph", s.PH, at.before.PH, &at.set.PH}, {"-ec", s.EC, at.before.EC, &at.set.EC}} {
		switch {
		case v.asked == 0:
		case v.asked < v.l.AdvisedMin || v.asked > v.l.AdvisedMax:
			return fmt.Sprintf("%s %.3g is outside the recommended %.3g to %.3g: a schedule keeps within them", v.name, v.asked, v.l.AdvisedMin, v.l.AdvisedMax)
		case !s.Holiday && s.Over == 0 && math.Abs(v.asked-v.later) > v.l.Confirm+1e-9:
			return fmt.Sprintf("%s %.3g is a step of %.3g from %.3g, more than %.3g: let it move gently with -over 72h", v.name, v.asked, math.Abs(v.asked-v.later), v.later, v.l.Confirm)
		}
	}
	if n := len(at.set.Schedule.Stages); !s.Holiday && n > 0 && !at.begin.After(at.set.Schedule.Stages[n-1].From) {
		return fmt.Sprintf("stage %s of the file begins later: stages are written in the order in which they come", at.set.Schedule.Stages[n-1].Name)
	}
	for _, h := range at.set.Schedule.Holidays {
		if s.Holiday && at.begin.Before(h.To) {
			return fmt.Sprintf("holiday %s of the file ends later: holidays are written in the order in which they come", h.Name)
		}
	}
	return ""
}

// add puts it into the schedule, and returns its lines for the file.
func (s *Scheduling) add(at *weekAt) string {
	var lines strings.Builder
	say := func(key, value string) { fmt.Fprintf(&lines, "%s = %q\n", key, value) }
	schedule := &at.set.Schedule
	schedule.Zone = at.begin.Location()
	if s.Holiday {
		to := at.begin.AddDate(0, 0, s.Days)
		schedule.Holidays = append(schedule.Holidays, controller.Holiday{Name: s.Name, From: at.begin, To: to, PH: s.PH, EC: s.EC})
		lines.WriteString("[[tank.holiday]]\n")
		say("name", s.Name)
		say("from", at.begin.Format(time.DateOnly))
		say("to", to.Format(time.DateOnly))
	} else {
		if len(schedule.Stages) == 0 { // else it would seem to begin with this one
			lines.WriteString("[[tank.stage]]\nname = \"before\"\n")
			say("from", at.begin.AddDate(0, 0, -1).Format(time.DateOnly))
			lines.WriteByte('\n')
			schedule.Stages = append(schedule.Stages, controller.Stage{Name: "before", From: at.begin.AddDate(0, 0, -1)})
		}
		schedule.Stages = append(schedule.Stages, controller.Stage{Name: s.Name, From: at.begin, PH: s.PH, EC: s.EC, Over: s.Over})
		lines.WriteString("[[tank.stage]]\n")
		say("name", s.Name)
		say("from", at.begin.Format(time.DateOnly))
	}
	if s.PH != 0 {
		say("ph", fmt.Sprintf("%.3g", s.PH))
	}
	if s.EC != 0 {
		say("ec", fmt.Sprintf("%.3g mS/cm", s.EC))
	}
	if s.Over > 0 {
		say("over", fmt.Sprintf("%.4gh", s.Over.Hours()))
	}
	return lines.String()
}

// weekAt is where and when a plan of setpoints begins.
type weekAt struct {
	tank   string
	set    *controller.TankSettings
	rates  []config.Sustained
	begin  time.Time            // midnight of the first day
	before controller.Scheduled // what the file says of that moment
}

// place finds the tank in the file, and the first day.
func (w *Week) place() (*weekAt, error) {
	if w.Days < 1 || w.Days > mostDays {
		return nil, Misuse("-days %d: want 1 to %d", w.Days, mostDays)
	}
	file, err := config.Look(w.Config)
	if err != nil {
		return nil, err
	}
	row, err := file.Row(w.Tank)
	if err != nil {
		return nil, err
	}
	report, err := config.CheckFile(w.Config)
	if err != nil {
		return nil, err
	}
	begin, err := w.begins(file.Zone)
	if err != nil {
		return nil, err
	}
	at := &weekAt{tank: row.Tank, begin: begin}
	for i := range file.Settings.Safety.Tanks {
		if file.Settings.Safety.Tanks[i].Name == row.Tank {
			at.set, at.rates = &file.Settings.Tanks[i], report.Tanks[i].Sustainable
		}
	}
	at.before = at.set.Schedule.At(begin, at.set.PH.Value, at.set.EC.Value, func(string) bool { return false })
	return at, nil
}
