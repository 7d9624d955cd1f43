package sizing

import (
	"math"

	"leat/dosing"
)

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

// cadence is the shortest time between two doses of a station: the decision, the
// run and the node's report.
func (s *Station) cadence(run float64) float64 { return s.ControlPeriod.Seconds() + run + 5 }

// flow is what the pumps of one role may give a tank: by the hour and the day, in one dose
// that is repeated every cycle, s, and as one blend.
type flow struct {
	hour, day, dose, cycle float64
	blend                  float64
	smallest               float64 // mL by which a smallest dose is above its cap; at most 0 = in none
	serving                int     // pumps
}

// flow adds up the pumps of a role, each dose worth at most single.
func (s *Station) flow(id dosing.TankID, role dosing.Role, single float64, worth func(*dosing.Pump) float64) flow {
	g, plant := s.Settings, &s.Plants[id]
	v := float64(g.Tanks[id].Volume)
	f := flow{blend: math.Inf(1)}
	for i := range g.Pumps {
		p := &g.Pumps[i]
		if p.Role != role || !p.ServesTank(id) {
			continue
		}
		f.serving++
		caps, part := g.Caps[i], s.factor(i)
		shared := s.portion(i, id)
		perDose := caps.PerDose.Millilitres() * part
		f.smallest = math.Max(f.smallest, p.MinDose.Millilitres()-perDose)
		if role != dosing.RoleStock {
			f.hour += caps.PerHour.Millilitres() * part * s.halved(id) * shared * worth(p)
			f.day += caps.PerDay.Millilitres() * part * s.halved(id) * shared * worth(p)
			one := math.Min(perDose*worth(p), single)
			if one > f.dose {
				f.dose, f.cycle = one, s.cadence(one/worth(p)/p.PerSecond.Millilitres())
			}
			continue
		}
		// The blend is owed whole: the stock whose cap ends first ends them all.
		whole := plant.BlendEC / v / p.Share
		f.blend = math.Min(f.blend, math.Min(perDose*whole, single*whole/worth(p)))
		f.hour = least(f.hour, caps.PerHour.Millilitres()*part*s.halved(id)*shared*whole)
		f.day = least(f.day, caps.PerDay.Millilitres()*part*s.halved(id)*shared*whole)
	}
	return f
}

// Sustained is nil where the tank has no pump of the role.
func (s *Station) Sustained(id dosing.TankID, role dosing.Role) *Sustained {
	g := s.Settings
	t, plant := &g.Tanks[id], &s.Plants[id]
	v, mean := float64(t.Volume), (t.DeadTime + t.TimeConstant).Seconds()
	out := &Sustained{Reagent: role.String(), PerHour: math.Inf(1), Unit: "meq/L/h"}
	floor := plant.Buffer * math.Exp(-dosing.UnmeasuredSpread)
	single, transit := dosing.EffectPH*floor, dosing.TransitPH*floor
	switch role {
	case dosing.RoleAcid:
		out.Worst = plant.Demand.Acid
	case dosing.RoleBase:
		out.Worst = plant.Demand.Base
	default:
		out.Worst, out.Unit, single, transit = plant.Demand.EC, "mS/cm/h", dosing.EffectEC, dosing.TransitEC
	}
	limit := func(perHour float64, by string) {
		if perHour < out.PerHour {
			out.PerHour, out.LimitedBy = perHour, by
		}
	}
	// Doses are bounded by what they do in the quick water, demand is that of all.
	single, transit = single*(1-t.Slow), transit*(1-t.Slow)
	// A steady stream keeps its mean residence, θ + τ, in transit.
	limit(transit/mean*3600, "what may be in transit")
	worth := func(p *dosing.Pump) float64 { // per mL
		if role == dosing.RoleStock {
			return p.ECPerML / v
		}
		return math.Abs(p.AcidPerML) / v
	}
	f := s.flow(id, role, single, worth)
	if f.serving == 0 {
		return nil
	}
	if role == dosing.RoleStock {
		f.dose = math.Min(f.blend, transit)
		f.cycle = s.blendTime(id, f.dose)
	}
	if f.smallest > 0 {
		limit(0, "a cap below the smallest dose")
	}
	limit(f.dose/(f.cycle*float64(s.sharing()))*3600, "size and cadence of doses")
	limit(f.hour, "the hourly cap")
	limit(f.day/24, "the daily cap")
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
func (s *Station) blendTime(id dosing.TankID, ec float64) float64 {
	g := s.Settings
	plant, t := &s.Plants[id], &g.Tanks[id]
	total, apart := 0.0, false
	for i := range g.Pumps {
		p := &g.Pumps[i]
		if p.Role != dosing.RoleStock || !p.ServesTank(id) {
			continue
		}
		ml := ec / plant.BlendEC * float64(t.Volume) * p.Share
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
func (s *Station) sharing() int {
	g := s.Settings
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
func (s *Station) factor(i int) float64 {
	g := s.Settings
	if node := int(g.PumpNode[i]); node < len(g.Nodes) && g.Nodes[node].FullContract {
		return 1
	}
	return 0.5
}

func (s *Station) halved(id dosing.TankID) float64 {
	if s.Settings.Tanks[id].HalvedCaps {
		return 0.5
	}
	return 1
}

// portion is the tank's part of a pump that serves several: by what they need.
func (s *Station) portion(i int, id dosing.TankID) float64 {
	g := s.Settings
	p := &g.Pumps[i]
	need := func(id int) float64 {
		d, v := s.Plants[id].Demand, float64(g.Tanks[id].Volume)
		switch p.Role {
		case dosing.RoleAcid:
			return d.Acid * v
		case dosing.RoleBase:
			return d.Base * v
		}
		return d.EC * v
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
