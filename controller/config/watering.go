package config

import (
	"fmt"
	"math"
	"strconv"
	"time"

	"leat/controller"
	"leat/dosing"
)

// timesKind is how often a day something runs.
type timesKind struct{}

func (timesKind) what() string    { return "how often" }
func (timesKind) example() string { return "6 times" }
func (timesKind) signed() bool    { return false }
func (timesKind) units() []unit   { return []unit{{"times", 1}, {"time", 1}} }

// mostRuns a day are more than any zone needs, and fit a message.
const mostRuns = 144

// waterings reads how leat runs the zones of a tank, and otherwise in which stage.
func (b *calendars) waterings(path string, t *tankTable, set *controller.TankSettings) {
	for k := range t.Zones {
		set.Zones[k].Own = b.watering(join(join(join(path, "zone"), strconv.Itoa(k)), "run"), &t.Zones[k].Own, set, k)
	}
	for i := range set.Schedule.Stages {
		b.stageZones(path, t, set, i)
	}
}

// stageZones reads the zones that run otherwise from a stage on.
func (b *calendars) stageZones(path string, t *tankTable, set *controller.TankSettings, stage int) {
	for n := range t.Stages[stage].Zones {
		in := &t.Stages[stage].Zones[n]
		at := join(join(join(join(path, "stage"), strconv.Itoa(stage)), "zone"), strconv.Itoa(n))
		k := -1
		for i := range t.Zones {
			if t.Zones[i].Name == in.Zone {
				k = i
			}
		}
		switch {
		case in.Zone == "": // missing, said already
		case k < 0:
			b.fault(join(at, "zone"), quoted(in.Zone), "is no zone of this tank", "write the name of one of its [[tank.zone]]")
		case !set.Zones[k].Own.Stated():
			b.fault(join(at, "zone"), quoted(in.Zone), "is run by its own controller", `let leat run it in every stage: run = { by_day = "6 times", length = "12m" } in its [[tank.zone]]`)
		case !in.Own.Stated:
			b.fault(at, "", "does not say how it runs", `add run = { by_day = "6 times", length = "12m" }`)
		default:
			s := &set.Schedule.Stages[stage]
			if s.Zones == nil {
				s.Zones = make([]controller.Watering, len(t.Zones))
			}
			s.Zones[k] = b.watering(join(at, "run"), &in.Own, set, k)
		}
	}
}

// watering reads how a zone runs. What would leave roots dry, or a bench flooded when the next
// flood comes, is refused.
func (b *calendars) watering(at string, in *wateringTable, set *controller.TankSettings, k int) controller.Watering {
	if !in.Stated {
		return controller.Watering{}
	}
	w := controller.Watering{ByDay: int(in.ByDay.value), ByNight: int(in.ByNight.value), Length: in.Length.or(0).Truncate(time.Second), Always: in.Always}
	flood, zone, s := set.Zones[k].Kind == controller.ZoneFlood, &set.Line.Zones[k], &set.Schedule
	whole := in.ByDay.value == math.Trunc(in.ByDay.value) && in.ByNight.value == math.Trunc(in.ByNight.value)
	switch {
	case w.Always && (w.Length != 0 || in.ByDay.stated || in.ByNight.stated):
		b.fault(at, "", "runs always and at times", "state always, or by_day and length")
	case w.Always && flood:
		b.fault(join(at, "always"), "", "is no flood: its roots would drown", `state by_day = "6 times", length = "12m"`)
	case w.Always:
		return w
	case !whole || w.ByDay < 1 || w.ByDay+w.ByNight > mostRuns:
		b.fault(join(at, "by_day"), quoted(in.ByDay.text), "is no number of runs", fmt.Sprintf(`write it as "6 times", at least one by day and at most %d in all`, mostRuns))
	case w.Length < 10*time.Second || w.Length > 12*time.Hour:
		b.fault(join(at, "length"), quoted(in.Length.text), "is out of range", "10s to 12h")
	case w.ByNight > 0 && s.DayBegins == s.DayEnds:
		b.fault(join(at, "by_night"), quoted(in.ByNight.text), "has no night", `state in [[tank]] day_begins = "06:00", day_ends = "22:00"`)
	case flood && w.Length >= zone.Longest:
		b.fault(join(at, "length"), quoted(in.Length.text), fmt.Sprintf("leaves no time to drain within longest_flood, %v", zone.Longest), "shorten it, or state the longest_flood of this bench")
	case shortestPause(w, s) < zone.Longest-w.Length && flood:
		b.fault(join(at, "by_day"), quoted(in.ByDay.text), "begins a flood before the one before has drained", fmt.Sprintf("leave longest_flood, %v, from one to the next", zone.Longest))
	case shortestPause(w, s) < 0:
		b.fault(join(at, "length"), quoted(in.Length.text), "is longer than from one run to the next", "shorten it, run it less often, or state always = true")
	case !flood && w.LongestPause(s.DayBegins, s.DayEnds) > zone.Longest:
		b.fault(join(at, "by_day"), quoted(in.ByDay.text), fmt.Sprintf("pauses for %v, more than longest_pause %v", w.LongestPause(s.DayBegins, s.DayEnds).Round(time.Second), zone.Longest),
			"run it more often or longer, by night too; or state the longest_pause that its roots bear")
	default:
		return w
	}
	return controller.Watering{}
}

// shortestPause is the shortest time between two runs.
func shortestPause(w controller.Watering, s *controller.Schedule) time.Duration {
	starts, shortest := w.Starts(s.DayBegins, s.DayEnds), 24*time.Hour
	for i, at := range starts {
		if next := starts[(i+1)%len(starts)]; len(starts) > 1 {
			shortest = min(shortest, (next-at+24*time.Hour)%(24*time.Hour)-w.Length)
		}
	}
	return shortest
}

// ZoneReport is how leat runs a zone.
type ZoneReport struct {
	Name  string `json:"zone"`
	From  string `json:"from,omitempty"` // the stage in which that begins
	Words string `json:"runs"`
	Topic string `json:"topic"`
}

// zoneReports are empty, never null, where leat runs none.
func (f *File) zoneReports(id dosing.TankID) []ZoneReport {
	all := []ZoneReport{}
	set := &f.Settings.Tanks[id]
	add := func(k int, from string, w controller.Watering) {
		if w.Stated() {
			s := controller.ZoneSchedule{Starts: w.Starts(set.Schedule.DayBegins, set.Schedule.DayEnds), Length: w.Length}
			all = append(all, ZoneReport{set.Zones[k].Name, from, s.Words(), f.Topics.ZoneSchedule(id, set.Zones[k].Name)})
		}
	}
	for k := range set.Zones {
		add(k, "", set.Zones[k].Own)
	}
	for i := range set.Schedule.Stages {
		for k, w := range set.Schedule.Stages[i].Zones {
			add(k, ", from stage "+set.Schedule.Stages[i].Name+" on", w)
		}
	}
	return all
}
