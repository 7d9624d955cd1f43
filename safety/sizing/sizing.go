// Package sizing judges pumps, doses and caps against the water they go into: what
// a hanging node could do, what one smallest dose does, and whether the caps can
// carry the worst demand. The configuration is refused by it, and so are the drawn
// nights of the rehearsal. It is pure: settings in, figures out.
//
// What was decided here, why, and what was rejected:
//
// # Stocks that take more than a tenth of a tank are refused, by shares as by recipe
//
// A row that serves 2500 L and 211 L keeps its smallest dose fine for the small tank by weak stocks; a filling of the large one
// then took a fifth of its volume. The level stood above the top-up valve for seven hours, and EC climbed .14 mS/cm as the
// surplus dried away; or it took two and a half hours to fill. A recipe was refused for it, fixed shares were not.
// `leat rehearse -set farms -seed 15000 -nights 20`: EC in band .942 (worst .717) → .995 (.954). Rejected: dosing by what the
// water will be at its level; it keeps EC low for as many hours as it now stands high.
package sizing

import (
	"math"
	"time"

	"leat/dosing"
	"leat/safety"
)

// The limits of a size.
const (
	Lease       = 10 * time.Second // how long a node believes the lease
	HangPH      = 0.3              // most that a pump may do when its node hangs
	HangEC      = 0.2              // mS/cm
	EnoughRatio = 1.5              // sustainable ÷ worst demand
	LongestRun  = 60 * time.Second
	MostVolume  = 0.10 // of a tank that the stocks of a whole filling may take
)

// Plant is what sizing knows of a tank beyond its settings.
type Plant struct {
	Curve   dosing.Titration
	Buffer  float64 // β: meq/L per pH at the setpoint, as commissioned
	BlendEC float64 // mS/cm that 1 mL of blend does in 1 L
	PH      float64 // setpoint
	EC      float64 // mS/cm that the stocks of a whole filling bring
	Demand  Demand
}

// Demand is the worst that plants, air and top-up do to a tank.
type Demand struct {
	Acid, Base float64 // meq/L/h of acid, of base that must be given
	EC         float64 // mS/cm/h that must be given
}

// Station is a station to be sized. Plants are by tank.
type Station struct {
	Settings      *safety.Settings
	Plants        []Plant
	ControlPeriod time.Duration
	Watchdogs     []time.Duration // of the nodes' hardware, by node; missing = the lease
}

// Effect is what one pump can do to one tank when something goes wrong, and what
// its smallest dose does when nothing does.
type Effect struct {
	HangPH, HangEC         float64 // a run of the hang time, which no order ended
	SmallestPH, SmallestEC float64 // one smallest dose
}

// Dangerous is how many times too much a hanging node does; at most 1 is safe.
func (e Effect) Dangerous() float64 { return math.Max(e.HangPH/HangPH, e.HangEC/HangEC) }

// Coarse is how many times too large the smallest dose is; at most 1 is fine.
func (e Effect) Coarse() float64 {
	return math.Max(e.SmallestPH/dosing.SmallestPH, e.SmallestEC/dosing.SmallestEC)
}

// Hang is how long a pump runs at most after its daemon, its link or its node has
// failed.
func (s *Station) Hang(i int) time.Duration {
	watchdog := Lease
	if node := int(s.Settings.PumpNode[i]); node < len(s.Watchdogs) && s.Watchdogs[node] > 0 {
		watchdog = s.Watchdogs[node]
	}
	return max(Lease, watchdog, s.Settings.Caps[i].OnTime)
}

// Effect is what pump i can do to a tank.
func (s *Station) Effect(i int, id dosing.TankID) Effect {
	p, plant := &s.Settings.Pumps[i], &s.Plants[id]
	v := float64(s.Settings.Tanks[id].QuickOf(s.Settings.Tanks[id].MinVolume))
	run := p.PerSecond.Millilitres() * s.Hang(i).Seconds()
	small := p.MinDose.Millilitres()
	return Effect{
		HangPH:     run * math.Abs(p.AcidPerML) / (plant.Buffer * v),
		HangEC:     run * p.ECPerML / v,
		SmallestPH: small * math.Abs(p.AcidPerML) / (plant.Buffer * v),
		SmallestEC: small * p.ECPerML / v,
	}
}

// longestHang is the T at which the pump would do exactly what is still permitted
// in the most sensitive of its tanks, in seconds.
func (s *Station) longestHang(p *dosing.Pump) float64 {
	longest := math.Inf(1)
	perSecond := p.PerSecond.Millilitres()
	for id := range s.Settings.Tanks {
		if !p.ServesTank(dosing.TankID(id)) {
			continue
		}
		v := float64(s.Settings.Tanks[id].QuickOf(s.Settings.Tanks[id].MinVolume))
		longest = math.Min(longest, HangPH*s.Plants[id].Buffer*v/(perSecond*math.Abs(p.AcidPerML)))
		longest = math.Min(longest, HangEC*v/(perSecond*p.ECPerML))
	}
	return longest
}

// OnTime is the limit of one run where none is stated: four fifths of what a
// hanging node may run, in whole seconds.
func (s *Station) OnTime(p *dosing.Pump) time.Duration {
	allowed := 0.8 * s.longestHang(p)
	if !(allowed < LongestRun.Seconds()) {
		return LongestRun
	}
	return max(time.Duration(math.Floor(allowed))*time.Second, Lease)
}

// Filling is the part of a tank that the stocks of a whole filling take. Weak stocks fill a
// tank beyond its level: no top-up comes for hours, and EC climbs as the surplus dries away.
func (s *Station) Filling(id dosing.TankID) float64 {
	if plant := &s.Plants[id]; plant.BlendEC > 0 {
		return plant.EC / plant.BlendEC / 1000
	}
	return 0
}

// Refusal is why leat check would refuse the station's sizes, in a word; empty if
// it would not. Caps are to be filled in already.
func (s *Station) Refusal() string {
	for i := range s.Settings.Pumps {
		p, c := &s.Settings.Pumps[i], &s.Settings.Caps[i]
		if p.MinDose.RunTime(p.PerSecond) > c.OnTime || c.PerDose < p.MinDose {
			return "the smallest dose is longer than a run may be"
		}
		for id := range s.Settings.Tanks {
			if !s.Settings.Pumps[i].ServesTank(dosing.TankID(id)) {
				continue
			}
			e := s.Effect(i, dosing.TankID(id))
			switch {
			case !(e.Dangerous() <= 1):
				return "a hanging node is dangerous"
			case !(e.Coarse() <= 1):
				return "the smallest dose is too coarse"
			}
		}
	}
	for id := range s.Settings.Tanks {
		if !(s.Filling(dosing.TankID(id)) <= MostVolume) {
			return "the stocks are too weak"
		}
		for _, role := range []dosing.Role{dosing.RoleAcid, dosing.RoleBase, dosing.RoleStock} {
			if r := s.Sustained(dosing.TankID(id), role); r != nil && !(r.Ratio >= EnoughRatio) {
				return "the worst demand for " + role.String() + " cannot be carried"
			}
		}
	}
	return ""
}
