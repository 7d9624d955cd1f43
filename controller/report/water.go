package report

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"leat/controller/diary"
	"leat/dosing"
	"leat/safety/ledger"
)

// Water is the daily balance of each tank's water.
type Water struct {
	Station string      `json:"station"`
	At      time.Time   `json:"at"` // the end of the record
	Verdict string      `json:"verdict"`
	Tanks   []TankWater `json:"tanks"`
}

// TankWater is one tank.
type TankWater struct {
	Name   string     `json:"tank"`
	Litres float64    `json:"volume_l"`
	Area   float64    `json:"plant_area_m2,omitempty"` // 0 = not stated
	Days   []WaterDay `json:"days"`
}

// WaterDay is one day of a tank. Used is what plants and air took, and a leak, if there is
// one: what came in, less what went out, less what the level rose.
type WaterDay struct {
	Date    string   `json:"date"`
	ToppedL float64  `json:"topped_up_l"`
	AddedL  float64  `json:"added_otherwise_l,omitempty"` // a rise that no top-up explains
	DosedL  float64  `json:"dosed_l"`
	DumpedL float64  `json:"dumped_l,omitempty"` // a fall of more than a twentieth in an hour that did not come home
	RoseL   *float64 `json:"level_rose_l,omitempty"`
	UsedL   *float64 `json:"used_l,omitempty"`
	OffL    float64  `json:"used_off_l,omitempty"` // standard uncertainty of UsedL
	PerM2   *float64 `json:"used_l_per_m2,omitempty"`
	Doubt   string   `json:"doubt,omitempty"`
}

// The band of plausible use, L/m² of plants and day. Barbosa et al. (Int. J. Environ. Res.
// Public Health 12 (2015) 6879): lettuce 20 L/kg at 41 kg/m² and year, 2.2 L/m² and day.
// Pennisi et al. (Sci. Rep. 9 (2019) 14127): indoors under LED as little as 13 L/kg, which
// at the same yield is 1.5. Young plants use a fifth of that; fruit crops and dry air
// three times as much.
const (
	leastUse = 1.5 / 5
	mostUse  = 2.2 * 3
)

const (
	waterDays  = 14
	dumpShare  = 0.05  // of the volume, within an hour
	homeWithin = 2     // hours in which the water of a flood comes home
	stuckShare = 0.01  // of the volume that was topped up while the level did not move
	stillShare = 0.001 // of the volume within which a level has not moved
	oddUse     = 2.0   // times the median of the days looks like a leak
	surely     = 2.0   // standard uncertainties beyond which it is no noise
	oddDays    = 4     // days that a median needs
	gaugeOff   = 0.003 // of the volume, a gauge at rest; a difference has two
	inflowOff  = 0.05  // of the water that came in
	leastLook  = 20    // hours of a day on which the level must be known
)

// ReadWater makes the balance of a record's last two weeks.
func ReadWater(record Record) (*Water, error) {
	_, last, station, err := spanOf(record)
	if err != nil {
		return nil, err
	}
	last = last.Add(time.Second)
	from := time.Date(last.Year(), last.Month(), last.Day()-waterDays+1, 0, 0, 0, 0, last.Location())
	past, err := record.Past(from, last)
	if err != nil {
		return nil, err
	}
	return WaterOf(past, station, from, last), nil
}

// WaterOf is the balance of the days of a past.
func WaterOf(past *diary.Past, station *diary.Station, from, to time.Time) *Water {
	w := &Water{Station: station.Name, At: to}
	var odd []string
	valves := valvesOf(station)
	for i := range station.Tanks {
		t := &station.Tanks[i]
		tank := TankWater{Name: t.Name, Litres: t.Litres, Area: t.Area, Days: []WaterDay{}}
		for day := from; day.Before(to); day = time.Date(day.Year(), day.Month(), day.Day()+1, 0, 0, 0, 0, day.Location()) {
			end := day.AddDate(0, 0, 1)
			if end.After(to) {
				end = to
			}
			if d, known := waterDay(past, t, valves, day, end); known {
				tank.Days = append(tank.Days, d)
			}
		}
		tank.doubt()
		for _, d := range tank.Days {
			if d.Doubt != "" {
				odd = append(odd, fmt.Sprintf("%s on %s: %s", t.Name, d.Date, d.Doubt))
			}
		}
		w.Tanks = append(w.Tanks, tank)
	}
	w.Verdict = "The water balances."
	if len(odd) > 0 {
		w.Verdict = strings.Join(odd, "; ") + "."
	}
	return w
}

// valvesOf are the valves by which leat tops up: what they let in shows as top-up, and is no dose.
func valvesOf(station *diary.Station) map[string]bool {
	valves := map[string]bool{}
	for i := range station.Pumps {
		valves[station.Pumps[i].Name] = station.Pumps[i].Role == dosing.RoleWater.String()
	}
	return valves
}

// waterDay is the balance of one day; false when nothing is known of it.
func waterDay(past *diary.Past, t *diary.Tank, valves map[string]bool, from, to time.Time) (WaterDay, bool) {
	d := WaterDay{Date: from.Format(time.DateOnly)}
	within := func(at time.Time) bool { return !at.Before(from) && at.Before(to) }
	topped := map[int]float64{}
	hour := func(at time.Time) int { return int(at.Sub(from).Hours()) }
	for i := range past.Events {
		if e := &past.Events[i]; e.Kind == diary.KindTopUp && e.Tank == t.Name && within(e.At) {
			d.ToppedL += e.Value
			topped[hour(e.At)] += e.Value
		}
	}
	for _, dose := range dosesOf(past, t.Name) {
		if within(dose.At) && !valves[dose.Pump] && dose.Outcome != ledger.OutcomeWithdrawn.String() {
			d.DosedL += dose.ML / 1000
		}
	}
	var top []float64 // of each hour's level: what floods take is home within the hour
	var at []int
	for _, m := range past.Minutes[t.Level] {
		if !within(m.At) {
			continue
		}
		if h := hour(m.At); len(at) == 0 || at[len(at)-1] != h {
			top, at = append(top, m.Mean), append(at, h)
		} else {
			top[len(top)-1] = max(top[len(top)-1], m.Mean)
		}
	}
	if len(top) < 2 {
		return d, d.ToppedL+d.DosedL > 0
	}
	for i := 1; i < len(top); i++ {
		rose := top[i] - top[i-1]
		switch home := slices.Max(top[i:min(i+homeWithin+1, len(top))]); {
		case -rose > dumpShare*t.Litres && home < top[i-1]-dumpShare*t.Litres:
			d.DumpedL -= rose
		case rose-topped[at[i]]-topped[at[i-1]] > dumpShare*t.Litres && top[i] > slices.Max(top[max(i-homeWithin-1, 0):i])+dumpShare*t.Litres:
			d.AddedL += rose
		}
	}
	rose := top[len(top)-1] - top[0]
	used := d.ToppedL + d.AddedL + d.DosedL - d.DumpedL - rose
	d.RoseL, d.UsedL = &rose, &used
	d.OffL = math.Hypot(math.Sqrt2*gaugeOff*t.Litres, inflowOff*(d.ToppedL+d.AddedL))
	if t.Area > 0 {
		per := used / t.Area
		d.PerM2 = &per
	}
	switch {
	case d.ToppedL > stuckShare*t.Litres && slices.Max(top)-slices.Min(top) < stillShare*t.Litres:
		d.Doubt = fmt.Sprintf("%.0f L came in and the level never moved: look whether the gauge sticks", d.ToppedL)
	case used < -stuckShare*t.Litres:
		d.Doubt = fmt.Sprintf("%.0f L more are there than came in: water from elsewhere, or a gauge that reads high", -used)
	case len(top) < leastLook:
		d.UsedL, d.PerM2, d.OffL = nil, nil, 0
	}
	return d, true
}

// doubt judges the days by the plants and by one another.
func (t *TankWater) doubt() {
	var all []float64
	for _, d := range t.Days {
		if d.UsedL != nil {
			all = append(all, *d.UsedL)
		}
	}
	median := 0.0
	if len(all) >= oddDays {
		slices.Sort(all)
		median = all[len(all)/2]
	}
	for i := range t.Days {
		d := &t.Days[i]
		switch {
		case d.Doubt != "" || d.UsedL == nil:
		case d.PerM2 != nil && *d.PerM2 > mostUse && (*d.UsedL-mostUse*t.Area) > surely*d.OffL:
			d.Doubt = fmt.Sprintf("%.1f ± %.1f L/m² went, more than plants take (%.1f at most): look for a leak", *d.PerM2, d.OffL/t.Area, mostUse)
		case median > 0 && *d.UsedL > oddUse*median && *d.UsedL-median > surely*d.OffL && *d.UsedL > stuckShare*t.Litres:
			d.Doubt = fmt.Sprintf("%.0f ± %.0f L went, %.0f is usual here: look for a leak, or a dump that nobody noted", *d.UsedL, d.OffL, median)
		case d.PerM2 != nil && *d.PerM2 < leastUse:
			d.Doubt = fmt.Sprintf("%.2f L/m² went, less than young plants take (%.1f): is the plant area as stated, does the gauge move?", *d.PerM2, leastUse)
		}
	}
}
