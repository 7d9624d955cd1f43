package config

import (
	"math"

	"leat/controller"
	"leat/dosing"
)

// The slowest and the fastest gas exchange that is believed, per hour: a covered deep
// tank, and water that falls through a packed column all the time.
const slowestGas, fastestGas = 0.01, 50

func (b *vessels) gasExchange(path string, in measured[gasKind], usual float64) float64 {
	if in.stated && !(in.value >= slowestGas && in.value <= fastestGas) {
		b.fault(join(path, "gas_exchange"), quoted(in.text), "is out of range",
			"0.01 to 50 /h: a calm tank has 0.2 to 0.6, a pond without air about 0.1, film and aerated rafts 1 to 5; leave it out where it is not measured")
	}
	return in.or(usual)
}

// gasStated tells which rates stand in the file: the tank's, then each zone's.
func gasStated(t *tankTable) []bool {
	stated := []bool{t.GasExchange.stated}
	for i := range t.Zones {
		stated = append(stated, t.Zones[i].GasExchange.stated)
	}
	return stated
}

// GasReport is how fast CO2 passes between a tank's water and the room.
type GasReport struct {
	PerHour float64    `json:"per_hour"`     // mean of all that circulates, weighted by its water
	Half    float64    `json:"half_after_s"` // in which half of the CO2 above the room's leaves at the soonest
	Waters  []GasWater `json:"waters"`
}

// GasWater is the water of the tank or of one zone.
type GasWater struct {
	Name    string  `json:"name,omitempty"` // of the zone; empty = the tank's own water
	Kind    string  `json:"kind"`           // tank, flood, film or raft
	Litres  float64 `json:"l"`
	PerHour float64 `json:"per_hour"`
	Stated  bool    `json:"stated"` // false: the usual rate of its kind is taken
}

func (f *File) gasReport(id dosing.TankID) *GasReport {
	set, volume := &f.Settings.Tanks[id], float64(f.Settings.Safety.Tanks[id].Volume)
	own := GasWater{Kind: "tank", Litres: volume, PerHour: set.GasExchange, Stated: f.gasStated[id][0]}
	zones, mean := []GasWater{}, 0.0
	for i := range set.Zones {
		z := &set.Zones[i]
		w := GasWater{Name: z.Name, Kind: z.Kind.String(), Litres: float64(z.Litres), PerHour: z.GasExchange, Stated: f.gasStated[id][i+1]}
		zones = append(zones, w)
		if z.Kind != controller.ZoneFlood {
			own.Litres = max(own.Litres-w.Litres, 0)
			mean += float64(w.Litres * w.PerHour)
		}
	}
	circulating := volume
	if own.Litres == 0 {
		circulating = 0
		for _, w := range zones {
			if w.Kind != controller.ZoneFlood.String() {
				circulating += w.Litres
			}
		}
	}
	mean = (mean + float64(own.Litres*own.PerHour)) / circulating
	return &GasReport{PerHour: mean, Half: math.Ln2 / mean * 3600, Waters: append([]GasWater{own}, zones...)}
}

// gas prints it.
func (p *printer) gas(g *GasReport) {
	p.line("  CO2 passes between water and room at %s /h, the mean by water: half of what acid sets free needs %s min or more to leave (the rehearsal alone uses it)",
		figure(g.PerHour), figure(g.Half/60))
	rows := [][]string{{"water", "kind", "L", "gas exchange", "drawn by the rehearsal"}}
	for _, w := range g.Waters {
		origin := ""
		if !w.Stated {
			origin = ", the usual of its kind"
		}
		if w.Kind == controller.ZoneRaft.String() && !w.Stated {
			origin = ", usual with air stones; without them state 0.1 /h"
		}
		if w.Kind == controller.ZoneFlood.String() {
			origin = " while it is wet" + origin
		}
		rows = append(rows, []string{orElse(w.Name, "the tank's own"), w.Kind, figure(w.Litres), figure(w.PerHour) + " /h" + origin, figure(w.PerHour/2) + " to " + figure(2*w.PerHour)})
	}
	p.table(rows)
}
