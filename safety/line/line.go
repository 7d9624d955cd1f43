package line

import (
	"fmt"
	"time"

	"leat/dosing"
	"leat/safety"
)

// Settings is what a tank's line is judged by. What is not fitted is not judged.
type Settings struct {
	MinOxygen  float64        // mg/L, below which a person is called
	HarmOxygen float64        // mg/L, at which roots suffer
	WarmWater  dosing.Celsius // above which the water is too warm for roots
	MaxFilter  float64        // kPa across the filter
	Lamp       Lamp
	Zones      []Zone
}

// Zone is what a zone must do for its roots.
type Zone struct {
	Name    string
	Floods  bool    // it fills and drains
	Holds   float64 // L in use
	MinFlow float64 // L/min of a film
	// Longest is how long a film may pause, or a bench be wet, in normal running.
	Longest time.Duration
	Roots   time.Duration // how long roots bear it, from its beginning
}

// Reading is the newest of one watched input, and the tank's own thermometer and flood switch.
type Reading struct {
	Name     string
	Quantity dosing.Quantity
	Zone     int
	Value    float64
	Valid    bool
}

// Finding is something a person must know of the line.
type Finding struct {
	Cause safety.Cause
	Words string
	// Roots is how long they still bear it; negative = it is no matter of roots, or not in
	// sight.
	Roots time.Duration
}

// Line is the line of one tank. One goroutine uses it.
type Line struct {
	settings Settings
	findings []Finding
	figures  []Figure
	stands   [safety.CauseCount]bool
	oxygen   fall
	zones    []zone
	floods   dosing.Timer // the tank's flood switch
}

// zone times what must not last.
type zone struct{ stopped, wet dosing.Timer }

// New makes a line that knows nothing yet.
func New(settings Settings) *Line {
	return &Line{settings: settings, zones: make([]zone, len(settings.Zones))}
}

// Findings is what stands now. The slice holds until the next Update.
func (l *Line) Findings() []Finding { return l.findings }

// Update judges the line by its newest readings, a few seconds after the last time.
func (l *Line) Update(now dosing.Instant, readings []Reading) {
	l.findings, l.figures = l.findings[:0], l.figures[:0]
	by := newest(readings)
	l.judgeOxygen(now.Up, &by)
	l.judgeZones(now.Up, readings, &by)
	l.judgeFilter(&by)
	l.judgeLamp(&by)
	for i := range readings {
		if r := &readings[i]; r.Quantity.Watched() && !r.Valid {
			l.find(safety.CauseWatchedInvalid, -1, "%s", r.Name)
		}
	}
}

// values are the newest by quantity, of those that are not a zone's.
type values [dosing.QuantityCount]struct {
	value float64
	valid bool
}

func newest(readings []Reading) (by values) {
	for i := range readings {
		if r := &readings[i]; r.Valid && r.Quantity < dosing.QuantityCount {
			by[r.Quantity].value, by[r.Quantity].valid = r.Value, true
		}
	}
	return by
}

func (l *Line) find(cause safety.Cause, roots time.Duration, format string, a ...any) {
	l.findings = append(l.findings, Finding{cause, fmt.Sprintf(format, a...), roots})
}

// over says that a value stands beyond a limit: once it did it must come back by a
// margin, so that no alarm chatters about its edge.
func (l *Line) over(cause safety.Cause, value, limit, margin float64) bool {
	if l.stands[cause] {
		limit -= margin
	}
	l.stands[cause] = value > limit
	return l.stands[cause]
}

// judgeOxygen judges oxygen and warmth.
func (l *Line) judgeOxygen(up time.Duration, by *values) {
	warm := by[dosing.QuantityTemperature]
	full := dosing.OxygenSaturation(dosing.Celsius(warm.value))
	if warm.valid && l.settings.WarmWater > 0 && l.over(safety.CauseWaterWarm, warm.value, float64(l.settings.WarmWater), 0.5) {
		l.find(safety.CauseWaterWarm, -1, "%.1f °C, above %.1f; it holds at most %.1f mg/L of oxygen", warm.value, float64(l.settings.WarmWater), full)
	}
	oxygen := by[dosing.QuantityOxygen]
	if !oxygen.valid {
		return
	}
	share := ""
	if warm.valid {
		share = fmt.Sprintf(", %.0f %% of what air gives it at %.1f °C", 100*oxygen.value/full, warm.value)
	}
	l.figure("oxygen", "%.1f mg/L%s", oxygen.value, share)
	left := l.oxygen.until(up, oxygen.value, l.settings.HarmOxygen)
	// What falls fast is told before it is low.
	low := l.over(safety.CauseOxygenLow, -oxygen.value, -l.settings.MinOxygen, 0.3)
	if !low && !(left >= 0 && left < soon) {
		return
	}
	words := fmt.Sprintf("%.1f mg/L%s; roots want %.1f", oxygen.value, share, l.settings.MinOxygen)
	l.find(safety.CauseOxygenLow, left, "%s%s", words, rootsWords(left))
}

// judgeZones judges films and flood benches.
func (l *Line) judgeZones(up time.Duration, readings []Reading, by *values) {
	levels, longest := false, time.Duration(0)
	for i := range readings {
		r := &readings[i]
		if r.Zone < 0 || r.Zone >= len(l.zones) {
			continue
		}
		z, set := &l.zones[r.Zone], &l.settings.Zones[r.Zone]
		switch r.Quantity {
		case dosing.QuantityZoneFlow:
			lasts := z.stopped.Run(r.Valid && r.Value < set.MinFlow, up)
			if r.Valid {
				l.figure(set.Name, "%.1f L/min", r.Value)
			}
			if z.stopped.Running && lasts >= set.Longest {
				l.find(safety.CauseFilmStopped, max(set.Roots-lasts, 0), "%s, %.1f L/min for %s%s", set.Name, r.Value, roughly(lasts), rootsWords(max(set.Roots-lasts, 0)))
			}
		case dosing.QuantityZoneLevel:
			levels = levels || set.Floods
			lasts := z.wet.Run(r.Valid && set.Floods && r.Value > wetShare*set.Holds, up)
			if r.Valid {
				l.figure(set.Name, "%.0f L in it", r.Value)
			}
			if z.wet.Running && lasts >= set.Longest {
				l.find(safety.CauseFloodNotDrained, max(set.Roots-lasts, 0), "%s, %.0f L stand in it since %s%s", set.Name, r.Value, roughly(lasts), rootsWords(max(set.Roots-lasts, 0)))
			}
		}
	}
	roots := time.Duration(-1)
	for i := range l.settings.Zones {
		if z := &l.settings.Zones[i]; z.Floods {
			longest += z.Longest // benches may follow one another under one switch
			roots = max(roots, z.Roots)
		}
	}
	flood := by[dosing.QuantityFlood]
	lasts := l.floods.Run(!levels && longest > 0 && flood.valid && flood.value >= 0.5, up)
	if l.floods.Running && lasts >= longest {
		left := max(roots+longest-lasts, 0)
		l.find(safety.CauseFloodNotDrained, left, "the flood switch is on since %s%s", roughly(lasts), rootsWords(left))
	}
}

// wetShare of what a bench holds is more than what stays in corners and substrate.
const wetShare = 0.15

func (l *Line) judgeFilter(by *values) {
	filter := by[dosing.QuantityFilterPressure]
	if !filter.valid {
		return
	}
	l.figure("filter", "%.0f kPa of %.0f", filter.value, l.settings.MaxFilter)
	if l.over(safety.CauseFilterClogged, filter.value, l.settings.MaxFilter, 0.2*l.settings.MaxFilter) {
		l.find(safety.CauseFilterClogged, -1, "%.0f kPa across it, %.0f is the most", filter.value, l.settings.MaxFilter)
	}
}

// outShare of a new lamp's intensity is no light of a lamp.
const outShare = 0.1

func (l *Line) judgeLamp(by *values) {
	lamp := &l.settings.Lamp
	intensity, hours, flow, clear := by[dosing.QuantityUVIntensity], by[dosing.QuantityLampHours], by[dosing.QuantityLineFlow], by[dosing.QuantityUVTransmittance]
	if hours.valid && lamp.Life > 0 {
		l.figure("UV lamp", "%.0f h of %.0f", hours.value, lamp.Life.Hours())
		if hours.value >= lamp.Life.Hours() {
			l.find(safety.CauseUVLampOld, -1, "%.0f h, %.0f is its life", hours.value, lamp.Life.Hours())
		}
	}
	if lamp.Chamber <= 0 || flow.valid && !(flow.value > 0) {
		return // no water passes: some switch the lamp off then
	}
	if intensity.valid && intensity.value < outShare*lamp.New {
		l.find(safety.CauseUVLampOut, -1, "%.1f mW/cm², a new one gives %.0f", intensity.value, lamp.New)
		return
	}
	if !flow.valid || !intensity.valid && !hours.valid {
		return
	}
	light, passes := lamp.aged(hours.value), lamp.Transmittance
	if intensity.valid {
		light = intensity.value
	}
	if clear.valid {
		passes = clear.value / 100
	}
	dose := Dose(light, lamp.Chamber, lamp.Layer, passes, flow.value)
	l.figure("UV dose", "%.0f mJ/cm² at %.1f L/min and %.0f %% through 1 cm, at most; %.0f asked for", dose, flow.value, 100*passes, lamp.Dose)
	if l.over(safety.CauseUVDoseLow, -dose, -lamp.Dose, 0.05*lamp.Dose) {
		l.find(safety.CauseUVDoseLow, -1, "%.0f mJ/cm² at %.1f L/min, %.0f asked for: that is met at %.1f L/min", dose, flow.value, lamp.Dose, flow.value*dose/lamp.Dose)
	}
}
