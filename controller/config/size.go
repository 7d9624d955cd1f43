package config

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"leat/dosing"
	"leat/safety/sizing"
)

// Effect is what one pump can do to one tank when something goes wrong, and what
// its smallest dose does when nothing does.
type Effect struct {
	Tank string `json:"tank"`
	// A run of the hang time, which no order ended.
	HangPH float64 `json:"hang_ph"`
	HangEC float64 `json:"hang_ec"`
	// One smallest dose.
	SmallestPH float64 `json:"smallest_ph"`
	SmallestEC float64 `json:"smallest_ec"`
	// The largest dose as commissioned, with nothing on its way, and the limit that binds.
	LargestML float64 `json:"largest_ml"`
	LargestBy string  `json:"largest_by"`
	// The whole container, drained into the tank; NaN where its size is not stated.
	WholePH *float64 `json:"container_ph,omitempty"`
	WholeEC *float64 `json:"container_ec,omitempty"`
}

// Sustained is the largest rate that the caps of one reagent permit for hours.
type Sustained = sizing.Sustained

// size computes the figures of one station. It is pure: settings in, figures out.
type size struct {
	f       *File
	station *sizing.Station
	hangs   []time.Duration
}

// station is the file's station as the sizing sees it.
func (f *File) station(watchdogs []time.Duration) *sizing.Station {
	s := &sizing.Station{Settings: &f.Settings.Safety, ControlPeriod: f.Settings.ControlPeriod, Watchdogs: watchdogs}
	for id := range f.plants {
		p := &f.plants[id]
		target := &f.Settings.Tanks[id]
		plant := sizing.Plant{Buffer: p.buffer, BlendEC: p.blendEC, PH: target.PH.Value, EC: target.EC.Value - float64(s.Settings.Tanks[id].TopUp.EC), Demand: p.demand}
		if p.curve != nil {
			plant.Curve = p.curve
		}
		s.Plants = append(s.Plants, plant)
	}
	return s
}

func (b *sizes) watchdogs() []time.Duration {
	var all []time.Duration
	for i := range b.layout.Nodes {
		all = append(all, b.layout.Nodes[i].Watchdog.or(sizing.Lease))
	}
	return all
}

func (s *size) effect(i int, id dosing.TankID) Effect {
	p, t := &s.f.Settings.Safety.Pumps[i], &s.f.Settings.Safety.Tanks[id]
	sized := s.station.Effect(i, id)
	e := Effect{Tank: t.Name, HangPH: sized.HangPH, HangEC: sized.HangEC, SmallestPH: sized.SmallestPH, SmallestEC: sized.SmallestEC}
	most, by := s.station.Dose(i, id)
	e.LargestML, e.LargestBy = most.Millilitres(), by.String()
	if p.Container > 0 {
		ph, ec := s.drained(i, id)
		e.WholePH, e.WholeEC = &ph, &ec
	}
	return e
}

// drained is the pH and EC of a tank into which the whole container has run, mixed
// and solved anew: far from the setpoint neither a slope nor a curve holds. Closed,
// since no CO2 leaves, and no slow water comes in, in the minutes that it takes.
func (s *size) drained(i int, id dosing.TankID) (ph, ec float64) {
	p, t, plant := &s.f.Settings.Safety.Pumps[i], &s.f.Settings.Safety.Tanks[id], &s.f.plants[id]
	setpoint, litres, least := s.f.Settings.Tanks[id], p.Container.Litres(), float64(t.QuickOf(t.MinVolume))
	if s.f.liquids[i].known {
		part := litres / (least + litres)
		if r, err := mixed(plant.expected, p.Ions, part, setpoint.PH.Value); err == nil {
			return r.PH, r.EC25 + float64(1000*part*s.f.liquids[i].traceEC)
		}
	}
	perLitre := litres * 1000 / least
	return plant.curve.PHAfter(setpoint.PH.Value, perLitre*p.AcidPerML/t.BufferScale), setpoint.EC.Value + perLitre*p.ECPerML
}

// sizes judges whether the plant can be dosed by its row.
type sizes struct{ *frame }

// faultsOf are the sizes that are refused, as faults of the keys that can cure
// them.
func (b *sizes) faultsOf() Faults {
	s := b.size()
	before := len(b.faults)
	g := b.gate()
	for i := range g.Pumps {
		for id := range g.Tanks {
			if g.Pumps[i].ServesTank(dosing.TankID(id)) {
				b.refuseSize(s, i, dosing.TankID(id))
			}
		}
	}
	for id := range g.Tanks {
		b.refuseWeak(s, dosing.TankID(id))
		for _, role := range []dosing.Role{dosing.RoleAcid, dosing.RoleBase, dosing.RoleStock} {
			if r := s.station.Sustained(dosing.TankID(id), role); r != nil && !(r.Ratio >= enoughRatio) {
				b.fault("tank."+strconv.Itoa(id), "", fmt.Sprintf("cannot be held: under its caps %s reaches %s %s, %s times the worst demand of %s, limited by %s",
					role, figure(r.PerHour), r.Unit, figure(r.Ratio), figure(r.Worst), r.LimitedBy), advice(r.LimitedBy))
			}
		}
	}
	return b.faults[before:]
}

// refuseWeak judges stocks of fixed shares; those of a recipe are judged where it is solved.
func (b *sizes) refuseWeak(s *size, id dosing.TankID) {
	part := s.station.Filling(id)
	if b.file.Settings.Tanks[id].Ratio != nil || part <= sizing.MostVolume {
		return
	}
	b.fault("tank."+strconv.Itoa(int(id)), "", fmt.Sprintf("would be filled beyond its level: the stocks of one filling take %s %% of its volume, and at most %s %% may be: they are too weak", figure(100*part), figure(100*sizing.MostVolume)),
		fmt.Sprintf("make the stocks %s times as strong; if that makes a smallest dose too coarse, give this station's small tanks pumps of their own", above(part/sizing.MostVolume)))
}

func advice(limitedBy string) string {
	switch limitedBy {
	case "the hourly cap":
		return "raise hourly_cap, or state the real demand in [tank.demand]"
	case "the daily cap":
		return "raise daily_cap, or state the real demand in [tank.demand]"
	case "a cap below the smallest dose":
		return "raise dose_cap, or use a pump with a smaller dose"
	}
	return "stir harder, dose into the return, give smaller doses more often (a weaker reagent), or state the real demand in [tank.demand]"
}

func (b *sizes) size() *size {
	s := &size{f: b.file, station: b.file.station(b.watchdogs())}
	for i := range b.gate().Pumps {
		s.hangs = append(s.hangs, s.station.Hang(i))
	}
	b.file.hangs, b.file.watchdogs = s.hangs, b.watchdogs()
	return s
}

// refuseSize judges one pump on one tank and names the dilution or flow that
// would pass.
func (b *sizes) refuseSize(s *size, i int, id dosing.TankID) {
	p, t := &b.gate().Pumps[i], &b.gate().Tanks[id]
	path := "pump." + strconv.Itoa(i)
	if p.Role == dosing.RoleWater {
		b.refuseValve(s, i, id)
		return
	}
	e := s.effect(i, id)
	if over := math.Max(e.HangPH/hangPH, e.HangEC/hangEC); !(over <= 1) {
		what := fmt.Sprintf("%s pH (at most %s)", figure(e.HangPH), figure(hangPH))
		if e.HangEC/hangEC > e.HangPH/hangPH {
			what = fmt.Sprintf("%s mS/cm (at most %s)", figure(e.HangEC), figure(hangEC))
		}
		// Whole microlitres, because that is what a rate is rounded up to.
		flow := math.Floor(float64(p.PerSecond)/over) / 1000
		cures := []string{fmt.Sprintf("slow the pump to %q", below(flow*60)+" mL/min")}
		cures = append(cures, b.dilution(i, over)...)
		if longest := s.hangs[i].Seconds() / over; longest >= lease.Seconds() {
			cures = append(cures, fmt.Sprintf("let on_time_limit and the node's watchdog end a run within %q", below(longest)+"s"))
		}
		b.fault(join(path, "rate"), quoted(b.layout.Pumps[i].Rate.text), fmt.Sprintf("is dangerous for tank %q: a run of %v that nothing ends moves its least %s by %s", t.Name, s.hangs[i], leastText(&t.Tank), what), listed(cures))
	}
	if over := math.Max(e.SmallestPH/smallestPH, e.SmallestEC/smallestEC); !(over <= 1) {
		what := fmt.Sprintf("%s pH (at most %s)", figure(e.SmallestPH), figure(smallestPH))
		if e.SmallestEC/smallestEC > e.SmallestPH/smallestPH {
			what = fmt.Sprintf("%s mS/cm (at most %s)", figure(e.SmallestEC), figure(smallestEC))
		}
		value := ""
		if b.layout.Pumps[i].MinDose.stated {
			value = quoted(b.layout.Pumps[i].MinDose.text)
		}
		cures := append([]string{fmt.Sprintf("use a pump that repeats %q", below(p.MinDose.Millilitres()/over)+" mL")}, b.dilution(i, over)...)
		b.fault(join(path, "min_dose"), value, fmt.Sprintf("is too coarse for tank %q: one dose of %s mL moves its least %s by %s", t.Name, figure(p.MinDose.Millilitres()), leastText(&t.Tank), what), listed(cures))
	}
}

// leastText is the least water into which a pump doses.
func leastText(t *dosing.Tank) string {
	if t.Slow > 0 {
		return fmt.Sprintf("%s L, of which %s L are quick,", figure(float64(t.MinVolume)), figure(float64(t.QuickOf(t.MinVolume))))
	}
	return figure(float64(t.MinVolume)) + " L"
}

// dilution says how weak the liquid must be to do so many times less.
func (b *sizes) dilution(i int, over float64) []string {
	l, in := &b.file.liquids[i], &b.layout.Pumps[i]
	parts := fmt.Sprintf("1 part in %s parts", above(over))
	switch {
	case l.parts > 1:
		return []string{fmt.Sprintf("dilute it to %q (acid into water, never water into acid)", "1:"+above(float64(l.parts*over)))}
	case l.reagent != nil && in.Strength.unit == "%" && !in.Density.stated:
		if percent := l.reagent.PercentOf(l.molar / over); percent > 0 {
			return []string{fmt.Sprintf("dilute it to %q (%s; acid into water, never water into acid)", below(percent)+" %", parts)}
		}
	case l.reagent != nil || in.Strength.stated:
		return []string{fmt.Sprintf("dilute it to %q (%s)", below(in.Strength.value/over)+" "+in.Strength.unit, parts)}
	}
	return []string{"dilute it, " + parts}
}

// below and above print a figure that is rounded to the safe side: the value that
// a refusal names must pass when it is typed in.
func below(v float64) string { return rounded(v, math.Floor) }
func above(v float64) string { return rounded(v, math.Ceil) }

func rounded(v float64, round func(float64) float64) string {
	if !(v > 0) || math.IsInf(v, 0) {
		return "0"
	}
	digits := 2 - int(math.Floor(math.Log10(v)))
	scale := math.Pow(10, float64(digits))
	text := strconv.FormatFloat(round(v*scale)/scale, 'f', max(digits, 0), 64)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return text
}
