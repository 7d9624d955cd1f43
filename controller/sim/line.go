package sim

import (
	"time"

	"leat/controller"
	"leat/dosing"
	"leat/safety"
)

// What the line of a healthy farm does. Oxygen: aerated water takes up twice an hour what
// it lacks, still water a twentieth of that; roots and what lives in the water breathe
// 1 mg/L an hour. Mid-range of what raft ponds are said to do, from memory.
const (
	aeration    = 2.0  // per hour
	stillness   = 0.1  // per hour
	breath      = 1.0  // mg/L per hour
	filterClean = 15.0 // kPa
	lineFlow    = 20.0 // L/min
	lampNew     = 24.0 // mW/cm²
	lampHours   = 3000 // at the start
	clearness   = 60.0 // % through 1 cm
)

// aerate moves the oxygen of the water on by five seconds.
func aerate(t *tank) {
	hours, gains := exchangeEvery.Hours(), aeration
	if t.trouble.airOff {
		gains = stillness
	}
	full := dosing.OxygenSaturation(dosing.Celsius(t.celsius))
	t.oxygen = max(t.oxygen+float64((float64(gains*(full-t.oxygen))-breath)*hours), 0)
	t.trouble.clogged += float64(t.trouble.clogs * hours)
}

// watched is what an input that is only watched would read if it were perfect.
func watched(t *tank, in *safety.Input, now time.Duration) float64 {
	moves := max(t.speed+t.trouble.speed, 0)
	switch in.Quantity {
	case dosing.QuantityOxygen:
		return t.oxygen
	case dosing.QuantityZoneFlow:
		return zoneFlow(t, in.Zone) * moves
	case dosing.QuantityZoneLevel:
		if in.Zone < len(t.zones) {
			return t.zones[in.Zone].water.litres
		}
	case dosing.QuantityFilterPressure:
		return (filterClean + t.trouble.clogged) * moves
	case dosing.QuantityLineFlow:
		return lineFlow * moves * filterClean / (filterClean + 0.2*t.trouble.clogged)
	case dosing.QuantityUVIntensity:
		return lampNew * (1 - t.trouble.lampWeak)
	case dosing.QuantityLampHours:
		if t.trouble.lampWeak > 0 {
			return 3*lampHours + now.Hours()
		}
		return lampHours + now.Hours()
	case dosing.QuantityUVTransmittance:
		return clearness
	}
	return 0
}

// zoneFlow is what flows into a film or raft zone, L/min.
func zoneFlow(t *tank, i int) float64 {
	if i >= len(t.zones) {
		return 0
	}
	z := &t.zones[i]
	if z.rests || z.floods() || z.set.Kind == controller.ZoneFilm && t.trouble.filmOff || z.stays <= 0 {
		return 0
	}
	return z.litres / z.stays.Minutes()
}
