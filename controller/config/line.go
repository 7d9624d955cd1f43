package config

import (
	"fmt"
	"strconv"
	"time"

	"leat/controller"
	"leat/dosing"
	"leat/safety"
	"leat/safety/line"
)

// lineTable is what is only watched around a tank: it calls a person and doses nothing.
type lineTable struct {
	Stated        bool
	MinOxygen     measured[oxygenKind]    `toml:"min_oxygen" doc:"a person is called below; default 5 mg/L"`
	HarmOxygen    measured[oxygenKind]    `toml:"harm_oxygen" doc:"roots suffer below; default 3 mg/L"`
	WarmWater     measured[celsiusKind]   `toml:"warm_water" doc:"a person is told above; default 26 °C"`
	MaxFilter     measured[pressureKind]  `toml:"max_filter_pressure" doc:"lost across the filter, above which it is clogged; default 50 kPa"`
	Chamber       measured[waterKind]     `toml:"uv_chamber" doc:"water in the UV chamber; without it no UV dose is computed"`
	Layer         measured[lengthKind]    `toml:"uv_layer" doc:"from the lamp's sleeve to the wall"`
	Intensity     measured[intensityKind] `toml:"uv_new_lamp" doc:"intensity of a new lamp at its sleeve"`
	Dose          measured[uvDoseKind]    `toml:"uv_dose" doc:"UV dose asked for; default 100 mJ/cm² (Runia 1994: all Fusarium conidia at 70, 99 % of tomato mosaic virus at 100); against viruses 250 is common"`
	Transmittance measured[percentKind]   `toml:"uv_transmittance" doc:"UV that passes 1 cm of the water, where it is not measured all the time; default 50 %"`
	LampLife      span                    `toml:"uv_lamp_life" doc:"hours after which the lamp is changed; default 9000h"`
	Peroxide      bool                    `toml:"peroxide" doc:"true where hydrogen peroxide is added to the water"`
}

// Defaults of the line, common practice for leafy crops.
const (
	usualMinOxygen     = 5   // mg/L
	usualHarmOxygen    = 3   // mg/L
	usualWarmWater     = 26  // °C
	usualMaxFilter     = 50  // kPa
	usualTransmittance = 0.5 // of 1 cm of recirculated solution: 0.3 to 0.7 is usual
	usualLife          = 9000 * time.Hour
	usualPause         = 2 * time.Minute
	usualFlood         = 30 * time.Minute
	usualRoots         = 30 * time.Minute // beyond the longest pause or flood
	leastFlow          = 0.3              // of what a film's water needs to be exchanged in its time
)

// line is the watched line of a tank.
func (b *frame) watchedLine(path string, t *tankTable, zones []controller.Zone) line.Settings {
	in, at := &t.Line, join(path, "line")
	out := line.Settings{MinOxygen: in.MinOxygen.or(usualMinOxygen), HarmOxygen: in.HarmOxygen.or(usualHarmOxygen),
		WarmWater: dosing.Celsius(in.WarmWater.or(usualWarmWater)), MaxFilter: in.MaxFilter.or(usualMaxFilter),
		Lamp: line.Lamp{Chamber: in.Chamber.or(0), Layer: in.Layer.or(0), New: in.Intensity.or(0), Dose: in.Dose.or(line.UsualDose),
			Transmittance: in.Transmittance.or(usualTransmittance), Life: in.LampLife.or(usualLife)}}
	switch {
	case !(out.HarmOxygen > 0 && out.HarmOxygen < out.MinOxygen && out.MinOxygen <= 12):
		b.fault(join(at, "min_oxygen"), quoted(in.MinOxygen.text), "and harm_oxygen are not in order", "0 < harm_oxygen < min_oxygen ≤ 12 mg/L")
	case !(out.WarmWater > 10 && out.WarmWater <= 40):
		b.fault(join(at, "warm_water"), quoted(in.WarmWater.text), "is out of range", "10 to 40 °C")
	case !(out.MaxFilter > 0 && out.MaxFilter <= 600):
		b.fault(join(at, "max_filter_pressure"), quoted(in.MaxFilter.text), "is out of range", "up to 600 kPa, as the filter's maker states")
	case in.Chamber.stated != in.Layer.stated || in.Chamber.stated != in.Intensity.stated:
		b.fault(at, "", "states only part of a UV chamber", "state uv_chamber, uv_layer and uv_new_lamp, all three, or none")
	case in.Chamber.stated && !(out.Lamp.Chamber > 0 && out.Lamp.Layer > 0 && out.Lamp.Layer <= 50 && out.Lamp.New > 0):
		b.fault(join(at, "uv_layer"), quoted(in.Layer.text), "is no chamber", "a chamber of some litres, a layer of 0.5 to 50 cm and an intensity above zero")
	case !(out.Lamp.Dose > 0 && out.Lamp.Dose <= 5000):
		b.fault(join(at, "uv_dose"), quoted(in.Dose.text), "is out of range", "100 mJ/cm² against fungi, 250 against viruses")
	case !(out.Lamp.Transmittance > 0 && out.Lamp.Transmittance <= 1):
		b.fault(join(at, "uv_transmittance"), quoted(in.Transmittance.text), "is out of range", "1 % to 100 %, as a laboratory measures it through 1 cm at 254 nm")
	}
	for i := range zones {
		out.Zones = append(out.Zones, b.lineZone(join(join(path, "zone"), strconv.Itoa(i)), &t.Zones[i], &zones[i]))
	}
	return out
}

// lineZone is what a zone must do for its roots.
func (b *frame) lineZone(at string, in *zoneTable, zone *controller.Zone) line.Zone {
	out := line.Zone{Name: zone.Name, Floods: zone.Kind == controller.ZoneFlood, Holds: float64(zone.Litres), Longest: in.Pause.or(usualPause)}
	if out.Floods {
		out.Longest = in.Flood.or(usualFlood)
	}
	out.Roots = in.Roots.or(out.Longest + usualRoots)
	if zone.Exchange > 0 {
		out.MinFlow = in.MinFlow.or(leastFlow * out.Holds / zone.Exchange.Minutes())
	}
	switch {
	case out.Floods && (in.Pause.stated || in.MinFlow.stated || in.Flow.Stated):
		b.fault(join(at, "kind"), quoted(in.Kind), "has no flow that must not stop", "flow, min_flow and longest_pause are for film and raft")
	case !out.Floods && in.Flood.stated:
		b.fault(join(at, "longest_flood"), quoted(in.Flood.text), "is of a zone that does not flood", "leave it out")
	case out.Longest < 10*time.Second || out.Longest > 24*time.Hour:
		b.fault(at, "", "has a longest_pause or longest_flood that is out of range", "10s to 24h")
	case out.Roots <= out.Longest:
		b.fault(join(at, "roots_last"), quoted(in.Roots.text), "is not longer than the longest flood or pause", "state how long roots bear it, from its beginning")
	}
	return out
}

// watchedInputs makes the inputs that are only watched; none is needed.
func (b *inputs) watchedInputs(id dosing.TankID) {
	t := &b.layout.Tanks[id]
	for _, w := range []struct {
		name     string
		quantity dosing.Quantity
		table    *inputTable
	}{{"oxygen", dosing.QuantityOxygen, &t.Input.Oxygen}, {"filter_pressure", dosing.QuantityFilterPressure, &t.Input.FilterPressure},
		{"line_flow", dosing.QuantityLineFlow, &t.Input.LineFlow}, {"uv_intensity", dosing.QuantityUVIntensity, &t.Input.UVIntensity},
		{"lamp_hours", dosing.QuantityLampHours, &t.Input.LampHours}, {"uv_transmittance", dosing.QuantityUVTransmittance, &t.Input.UVTransmittance}} {
		b.watched(w.table, safety.Input{Name: w.name, Tank: id, Quantity: w.quantity})
	}
	for i := range t.Zones {
		z := &t.Zones[i]
		b.watched(&z.Flow, safety.Input{Name: z.Name + "_flow", Tank: id, Quantity: dosing.QuantityZoneFlow, Zone: i})
		b.watched(&z.Level, safety.Input{Name: z.Name + "_level", Tank: id, Quantity: dosing.QuantityZoneLevel, Zone: i})
	}
}

func (b *inputs) watched(in *inputTable, input safety.Input) {
	switch {
	case in.NotFitted != "":
		b.waive(b.pathOf(input), in, input)
	case in.Stated:
		b.fit(b.pathOf(input), in, input)
	}
}

// watchedSteps are the usual resolutions of what is only watched.
var watchedSteps = map[dosing.Quantity][3]float64{
	dosing.QuantityOxygen: {0, 25, 0.1}, dosing.QuantityZoneFlow: {0, 1e4, 0.1}, dosing.QuantityZoneLevel: {0, 1e5, 1}, dosing.QuantityFilterPressure: {0, 600, 1},
	dosing.QuantityLineFlow: {0, 1e4, 0.1}, dosing.QuantityUVIntensity: {0, 200, 0.1}, dosing.QuantityLampHours: {0, 1e5, 1}, dosing.QuantityUVTransmittance: {1, 100, 1},
}

// ironUnderUV says what lamp and peroxide do to the chelate, where iron is judged.
func (b *frame) ironUnderUV(pump *dosing.Pump, chelate string) {
	for id := range b.layout.Tanks {
		in := &b.layout.Tanks[id].Line
		if !pump.ServesTank(dosing.TankID(id)) || !in.Chamber.stated && !in.Peroxide {
			continue
		}
		by := "UV destroys"
		if in.Peroxide {
			by = "peroxide destroys"
		}
		if in.Peroxide && in.Chamber.stated {
			by = "UV and peroxide destroy"
		}
		b.warn("tank."+strconv.Itoa(id)+".line", fmt.Sprintf("%s iron %s pass by pass, the stronger chelates too: iron (and manganese) falls faster than any recipe foresees; enter analyses of both, and give the iron after the lamp", by, chelate))
	}
}

type (
	oxygenKind    struct{}
	pressureKind  struct{}
	flowKind      struct{}
	lengthKind    struct{}
	intensityKind struct{}
	uvDoseKind    struct{}
	areaKind      struct{}
)

func (oxygenKind) what() string    { return "dissolved oxygen" }
func (oxygenKind) example() string { return "5 mg/L" }
func (oxygenKind) signed() bool    { return false }
func (oxygenKind) units() []unit   { return []unit{{"mg/L", 1}, {"mg/l", 1}, {"ppm", 1}} }

func (pressureKind) what() string    { return "a pressure" }
func (pressureKind) example() string { return "50 kPa" }
func (pressureKind) signed() bool    { return false }
func (pressureKind) units() []unit {
	return []unit{{"kPa", 1}, {"bar", 100}, {"mbar", 0.1}, {"psi", 6.894757}}
}

func (flowKind) what() string    { return "a flow" }
func (flowKind) example() string { return "20 L/min" }
func (flowKind) signed() bool    { return false }
func (flowKind) units() []unit {
	return []unit{{"L/min", 1}, {"L/h", 1.0 / 60}, {"L/s", 60}, {"m3/h", 1000.0 / 60}, {"m³/h", 1000.0 / 60}}
}

func (lengthKind) what() string    { return "a length" }
func (lengthKind) example() string { return "2 cm" }
func (lengthKind) signed() bool    { return false }
func (lengthKind) units() []unit   { return []unit{{"cm", 1}, {"mm", 0.1}} }

func (intensityKind) what() string    { return "a UV intensity" }
func (intensityKind) example() string { return "25 mW/cm²" }
func (intensityKind) signed() bool    { return false }
func (intensityKind) units() []unit {
	return []unit{{"mW/cm²", 1}, {"mW/cm2", 1}, {"W/m²", 0.1}, {"W/m2", 0.1}}
}

func (uvDoseKind) what() string    { return "a UV dose" }
func (uvDoseKind) example() string { return "100 mJ/cm²" }
func (uvDoseKind) signed() bool    { return false }
func (uvDoseKind) units() []unit {
	return []unit{{"mJ/cm²", 1}, {"mJ/cm2", 1}, {"J/m²", 0.1}, {"J/m2", 0.1}}
}

func (areaKind) what() string    { return "an area" }
func (areaKind) example() string { return "40 m²" }
func (areaKind) signed() bool    { return false }
func (areaKind) units() []unit   { return []unit{{"m²", 1}, {"m2", 1}} }
