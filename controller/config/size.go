package config

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"leat/dosing"
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
	// The whole container, drained into the tank; NaN where its size is not stated.
	WholePH *float64 `json:"container_ph,omitempty"`
	WholeEC *float64 `json:"container_ec,omitempty"`
}

// Sustained is the largest rate that the caps of one reagent permit for hours,
// against the worst that the tank may need.
type Sustained struct {
	Reagent   string  `json:"reagent"` // acid, base or stock
	PerHour   float64 `json:"per_hour"`
	Worst     float64 `json:"worst"`
	Ratio     float64 `json:"ratio"`
	Unit      string  `json:"unit"`
	LimitedBy string  `json:"limited_by"`
}

// size computes the figures of one station. It is pure: settings in, figures out.
type size struct {
	f     *File
	hangs []time.Duration
}

func (s *size) effect(i int, id dosing.TankID) Effect {
	p, t, plant := &s.f.Settings.Safety.Pumps[i], &s.f.Settings.Safety.Tanks[id], &s.f.plants[id]
	v := float64(t.Least)
	run := p.PerSecond.Millilitres() * s.hangs[i].Seconds()
	small := p.Smallest.Millilitres()
	e := Effect{
		Tank:       t.Name,
		HangPH:     run * math.Abs(p.AcidPerML) / (plant.buffer * v),
		HangEC:     run * p.ECPerML / v,
		SmallestPH: small * math.Abs(p.AcidPerML) / (plant.buffer * v),
		SmallestEC: small * p.ECPerML / v,
	}
	if p.Container > 0 {
		ph, ec := s.drained(i, id)
		e.WholePH, e.WholeEC = &ph, &ec
	}
	return e
}

// drained is the pH and EC of a tank into which the whole container has run, mixed
// and solved anew: far from the setpoint neither a slope nor a curve holds. Closed,
// since no CO2 leaves in the minutes that it takes.
func (s *size) drained(i int, id dosing.TankID) (ph, ec float64) {
	p, t, plant := &s.f.Settings.Safety.Pumps[i], &s.f.Settings.Safety.Tanks[id], &s.f.plants[id]
	setpoint, litres := s.f.Settings.Tanks[id], p.Container.Litres()
	if s.f.liquids[i].known {
		part := litres / (float64(t.Least) + litres)
		if r, err := mixed(plant.expected, p.Ions, part, setpoint.PH.Value); err == nil {
			return r.PH, r.EC25 + float64(1000*part*s.f.liquids[i].traceEC)
		}
	}
	perLitre := litres * 1000 / float64(t.Least)
	return plant.curve.PHAfter(setpoint.PH.Value, perLitre*p.AcidPerML/t.BufferScale), setpoint.EC.Value + perLitre*p.ECPerML
}

// cadence is the shortest time between two doses of a station: the decision, the
// run and the node's report.
func (s *size) cadence(run float64) float64 { return s.f.Settings.DecideEvery.Seconds() + run + 5 }

// sustained is nil where the tank has no pump of the role.
func (s *size) sustained(id dosing.TankID, role dosing.Role) *Sustained {
	g := &s.f.Settings.Safety
	t, plant := &g.Tanks[id], &s.f.plants[id]
	v, mean := float64(t.Volume), (t.DeadTime + t.Lag).Seconds()
	out := &Sustained{Reagent: role.String(), PerHour: math.Inf(1), Unit: "meq/L/h"}
	floor := plant.buffer * math.Exp(-startingSpread)
	single, transit := effectPH*floor, transitPH*floor
	switch role {
	case dosing.RoleAcid:
		out.Worst = plant.demand.acid
	case dosing.RoleBase:
		out.Worst = plant.demand.base
	default:
		out.Worst, out.Unit, single, transit = plant.demand.ec, "mS/cm/h", effectEC, transitEC
	}
	limit := func(perHour float64, by string) {
		if perHour < out.PerHour {
			out.PerHour, out.LimitedBy = perHour, by
		}
	}
	// A steady stream keeps its mean residence, θ + τ, in transit.
	limit(transit/mean*3600, "what may be in transit")
	worth := func(p *dosing.Pump) float64 { // per mL
		if role == dosing.RoleStock {
			return p.ECPerML / v
		}
		return math.Abs(p.AcidPerML) / v
	}
	var hour, day, dose, cycle, smallest float64
	blend, serving := math.Inf(1), 0
	for i := range g.Pumps {
		p := &g.Pumps[i]
		if p.Role != role || !p.ServesTank(id) {
			continue
		}
		serving++
		caps, part := g.Caps[i], s.factor(i)
		shared := s.portion(i, id)
		perDose := caps.PerDose.Millilitres() * part
		smallest = math.Max(smallest, p.Smallest.Millilitres()-perDose)
		if role != dosing.RoleStock {
			hour += caps.PerHour.Millilitres() * part * s.halved(id) * shared * worth(p)
			day += caps.PerDay.Millilitres() * part * s.halved(id) * shared * worth(p)
			one := math.Min(perDose*worth(p), single)
			if one > dose {
				dose, cycle = one, s.cadence(one/worth(p)/p.PerSecond.Millilitres())
			}
			continue
		}
		// The blend is owed whole: the stock whose cap ends first ends them all.
		whole := plant.blendEC / v / p.Share
		blend = math.Min(blend, math.Min(perDose*whole, single*whole/worth(p)))
		hour = least(hour, caps.PerHour.Millilitres()*part*s.halved(id)*shared*whole)
		day = least(day, caps.PerDay.Millilitres()*part*s.halved(id)*shared*whole)
	}
	if serving == 0 {
		return nil
	}
	if role == dosing.RoleStock {
		dose = math.Min(blend, transit)
		cycle = s.blendTime(id, dose)
	}
	if smallest > 0 {
		limit(0, "a cap below the smallest dose")
	}
	limit(dose/(cycle*float64(s.sharing()))*3600, "size and cadence of doses")
	limit(hour, "the hourly cap")
	limit(day/24, "the daily cap")
	out.Ratio = out.PerHour / out.Worst
	if !(out.Worst > 0) {
		out.Ratio = 99 // nothing is ever needed
	}
	return out
}

func least(a, b float64) float64 {
	if a == 0 {
		return b
	}
	return math.Min(a, b)
}

// blendTime is how long a blend of that worth takes: each stock in turn, and
// where groups must not meet, twice the plume's time between them.
func (s *size) blendTime(id dosing.TankID, ec float64) float64 {
	g := &s.f.Settings.Safety
	plant, t := &s.f.plants[id], &g.Tanks[id]
	total, apart := 0.0, false
	for i := range g.Pumps {
		p := &g.Pumps[i]
		if p.Role != dosing.RoleStock || !p.ServesTank(id) {
			continue
		}
		ml := ec / plant.blendEC * float64(t.Volume) * p.Share
		total += s.cadence(ml / p.PerSecond.Millilitres())
		for j := range g.Pumps[:i] {
			q := &g.Pumps[j]
			apart = apart || q.Role == dosing.RoleStock && q.ServesTank(id) && !p.Group.MayMeet(q.Group)
		}
	}
	if apart {
		total += 2 * t.PlumeTime().Seconds()
	}
	return total
}

// sharing is how many tanks wait for the same row.
func (s *size) sharing() int {
	g := &s.f.Settings.Safety
	n := 0
	for other := range g.Tanks {
		for i := range g.Pumps {
			if g.Pumps[i].ServesTank(dosing.TankID(other)) {
				n++
				break
			}
		}
	}
	return max(n, 1)
}

// factor is what is left of a pump's caps on a node without the full contract.
func (s *size) factor(i int) float64 {
	g := &s.f.Settings.Safety
	if node := int(g.PumpNode[i]); node < len(g.Nodes) && g.Nodes[node].FullContract {
		return 1
	}
	return 0.5
}

func (s *size) halved(id dosing.TankID) float64 {
	if s.f.Settings.Safety.Tanks[id].HalvedCaps {
		return 0.5
	}
	return 1
}

// portion is the tank's part of a pump that serves several: by what they need.
func (s *size) portion(i int, id dosing.TankID) float64 {
	g := &s.f.Settings.Safety
	p := &g.Pumps[i]
	need := func(id int) float64 {
		d, v := s.f.plants[id].demand, float64(g.Tanks[id].Volume)
		switch p.Role {
		case dosing.RoleAcid:
			return d.acid * v
		case dosing.RoleBase:
			return d.base * v
		}
		return d.ec * v
	}
	sum := 0.0
	for other := range g.Tanks {
		if p.ServesTank(dosing.TankID(other)) {
			sum += need(other)
		}
	}
	if !(sum > 0) {
		return 1
	}
	return need(int(id)) / sum
}

// sizeFaults are the sizes that are refused, as faults of the keys that can cure
// them.
func sizeFaults(b *builder) Faults {
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
		for _, role := range []dosing.Role{dosing.RoleAcid, dosing.RoleBase, dosing.RoleStock} {
			if r := s.sustained(dosing.TankID(id), role); r != nil && !(r.Ratio >= enoughRatio) {
				b.fault("tank."+strconv.Itoa(id), "", fmt.Sprintf("cannot be held: under its caps %s reaches %s %s, %s times the worst demand of %s, limited by %s",
					role, figure(r.PerHour), r.Unit, figure(r.Ratio), figure(r.Worst), r.LimitedBy), advice(r.LimitedBy))
			}
		}
	}
	return b.faults[before:]
}

func advice(limitedBy string) string {
	switch limitedBy {
	case "the hourly cap":
		return "raise cap_per_hour, or state the real demand in [tank.demand]"
	case "the daily cap":
		return "raise cap_per_day, or state the real demand in [tank.demand]"
	case "a cap below the smallest dose":
		return "raise cap_per_dose, or use a pump with a smaller dose"
	}
	return "stir harder, dose into the return, give smaller doses more often (a weaker reagent), or state the real demand in [tank.demand]"
}

func (b *builder) size() *size {
	s := &size{f: b.file}
	for i := range b.gate().Pumps {
		s.hangs = append(s.hangs, b.hang(i, b.gate().Caps[i].OnTime))
	}
	b.file.hangs = s.hangs
	return s
}

// refuseSize judges one pump on one tank and names the dilution or flow that
// would pass.
func (b *builder) refuseSize(s *size, i int, id dosing.TankID) {
	p, t := &b.gate().Pumps[i], &b.gate().Tanks[id]
	path := "pump." + strconv.Itoa(i)
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
		b.fault(join(path, "rate"), quoted(b.layout.Pumps[i].Rate.text), fmt.Sprintf("is dangerous for tank %q: a run of %v that nothing ends moves its least %s L by %s", t.Name, s.hangs[i], figure(float64(t.Least)), what), listed(cures))
	}
	if over := math.Max(e.SmallestPH/smallestPH, e.SmallestEC/smallestEC); !(over <= 1) {
		what := fmt.Sprintf("%s pH (at most %s)", figure(e.SmallestPH), figure(smallestPH))
		if e.SmallestEC/smallestEC > e.SmallestPH/smallestPH {
			what = fmt.Sprintf("%s mS/cm (at most %s)", figure(e.SmallestEC), figure(smallestEC))
		}
		value := ""
		if b.layout.Pumps[i].Smallest.stated {
			value = quoted(b.layout.Pumps[i].Smallest.text)
		}
		cures := append([]string{fmt.Sprintf("use a pump that repeats %q", below(p.Smallest.Millilitres()/over)+" mL")}, b.dilution(i, over)...)
		b.fault(join(path, "smallest_dose"), value, fmt.Sprintf("is too coarse for tank %q: one dose of %s mL moves its least %s L by %s", t.Name, figure(p.Smallest.Millilitres()), figure(float64(t.Least)), what), listed(cures))
	}
}

// dilution says how weak the liquid must be to do so many times less.
func (b *builder) dilution(i int, over float64) []string {
	l, in := &b.file.liquids[i], &b.layout.Pumps[i]
	parts := fmt.Sprintf("1 part in %s parts", above(over))
	switch {
	case l.reagent != nil && in.Strength.unit == "%" && !in.Density.stated:
		if percent := l.reagent.percentOf(l.molar / over); percent > 0 {
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
