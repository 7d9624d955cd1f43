package campaign

import (
	"slices"
	"time"

	"leat/controller"
	"leat/controller/sim"
	"leat/dosing"
	"leat/safety"
	"leat/safety/line"
)

// A drawn night has the inputs that every dose needs. A fault that none of them shows is played on a
// station that has the one that does, and for as long as it may take until doses, top-ups or
// the warmth of a day have shown it: recall is to say whether leat finds it, not whether the set has a sensor.

const (
	filmShare = 0.05 // of the water in a film, where a night has one
	dayWarms  = 3    // °C by which water goes up and down about its mean, where a fault shows by that
)

// equipped is the set with the inputs that show these faults.
func (s *Set) equipped(faults []sim.Injection) *Set {
	out := *s
	for i := range faults {
		g := signs[faults[i].Fault]
		out.warms = out.warms || g.warms
		for _, q := range g.needs {
			if !slices.Contains(always, q) && !slices.Contains(out.fits, q) {
				out.fits = append(out.fits, q)
			}
		}
		if slices.Contains(g.needs, dosing.QuantityZoneLevel) && out.floods[0] == 0 {
			out.floods, out.floodMost = [2]int{4, 6}, 0.4
		}
	}
	return &out
}

// always are the inputs of every drawn night.
var always = []dosing.Quantity{dosing.QuantityPH, dosing.QuantityEC, dosing.QuantityTemperature, dosing.QuantityLevel, dosing.QuantityCirculation,
	dosing.QuantityLeak, dosing.QuantityTopUp, dosing.QuantityStop}

// await makes a night of one fault last until it can have shown, under nodes that sense what it takes.
func (s *Scene) await(faults []sim.Injection) {
	for i := range faults {
		s.Options.Sensed = s.Options.Sensed || signs[faults[i].Fault].sensed
	}
	if len(faults) == 1 {
		s.Hours = max(s.Hours, faults[0].At+signs[faults[0].Fault].within)
	}
}

func (p *parameters) has(q dosing.Quantity) bool { return slices.Contains(p.fits, q) }

// fit adds an input that only some nights have; of containers one for each pump.
func (s *Scene) fit(id dosing.TankID, p *parameters, q dosing.Quantity) {
	g := &s.Settings.Safety
	in := safety.Input{Name: q.String(), Tank: id, Quantity: q, Period: switchPeriod, Step: 1, Max: 1}
	switch {
	case q == dosing.QuantityStockLevel:
		if id > 0 {
			return
		}
		for i := range g.Pumps {
			g.Inputs = append(g.Inputs, safety.Input{Name: g.Pumps[i].Name + "-level", Tank: dosing.AllTanks, Quantity: q, Pump: dosing.PumpID(i),
				Period: switchPeriod, Noise: 0.005, Step: 0.01, Max: 2 * g.Pumps[i].Container.Litres()})
		}
		return
	case q == dosing.QuantityZoneFlow:
		flow := filmShare * p.litres / controller.ZoneFilm.UsualExchange().Minutes()
		in.Noise, in.Step, in.Max, in.Zone = flow/50, flow/50, 10*flow, len(p.zones())-1
	case q == dosing.QuantityZoneLevel:
		in.Noise, in.Step, in.Max = p.litres/2000, p.litres/1000, p.litres
	case !q.Switch():
		in.Noise, in.Step, in.Max = 0.1, 0.1, 1e5
	}
	g.Inputs = append(g.Inputs, in)
}

// line is what a drawn tank must do for its roots, by the defaults of the configuration.
func (p *parameters) line() line.Settings {
	if len(p.fits) == 0 {
		return line.Settings{}
	}
	out := line.Settings{MinOxygen: 5, HarmOxygen: 3, WarmWater: 26, MaxFilter: 50,
		Lamp: line.Lamp{Chamber: 2, Layer: 2, New: 24, Dose: line.UsualDose, Transmittance: 0.5, Life: 9000 * time.Hour}}
	for _, z := range p.zones() {
		zone := line.Zone{Name: z.Name, Floods: z.Kind == controller.ZoneFlood, Holds: float64(z.Litres), Longest: 2 * time.Minute}
		if zone.Floods {
			zone.Longest = 30 * time.Minute
		}
		zone.Roots = zone.Longest + 30*time.Minute
		if z.Exchange > 0 {
			zone.MinFlow = 0.3 * zone.Holds / z.Exchange.Minutes()
		}
		out.Zones = append(out.Zones, zone)
	}
	return out
}

// zones are a drawn night's; the rates of gas exchange are what a farm that has not
// measured them is told.
func (p *parameters) zones() (all []controller.Zone) {
	add := func(name string, kind controller.ZoneKind, share float64) {
		all = append(all, controller.Zone{Name: name, Kind: kind, Litres: dosing.Litres(share * p.litres), Exchange: kind.UsualExchange(), GasExchange: kind.UsualGasExchange()})
	}
	if len(p.floods) > 0 {
		add("bench", controller.ZoneFlood, p.floodShare)
	}
	if p.slow > 0 {
		add("pond", controller.ZoneRaft, p.slow)
	}
	if p.has(dosing.QuantityZoneFlow) {
		add("film", controller.ZoneFilm, filmShare)
	}
	return all
}
