package campaign

import (
	"time"

	"leat/dosing"
	"leat/safety"
)

// waterMay are the holds in spite of which source water may come in: they speak of pH, EC and
// mixing, or of the very want of water.
var waterMay = map[safety.Cause]bool{
	safety.CausePHMissing: true, safety.CausePHStale: true, safety.CausePHInvalid: true, safety.CauseProbeSilent: true,
	safety.CauseECMissing: true, safety.CauseECStale: true, safety.CauseECInvalid: true, safety.CauseTemperatureInvalid: true,
	safety.CauseTemperatureRange: true, safety.CauseProbesDisagree: true, safety.CauseSampleFlowOff: true,
	safety.CauseCirculationOff: true, safety.CauseLevelLow: true, safety.CauseMixingWait: true,
}

// lacksFor is how long the water of a healthy night may stand a hundredth of the volume below
// where top-up begins: floods that are out, doses and a start included.
const lacksFor = time.Hour

// waterStaysIn judges by the true litres. What a valve gives beyond its order its error explains.
func (w *trail) waterStaysIn() {
	for i := range w.doses {
		o, p, band := w.doses[i].order, w.doses[i].pump, w.tank(w.doses[i].order.Tank).TopUpBand
		if most := o.Litres + o.Volume.Litres()*(1+drawnPumpOff); p.Role == dosing.RoleWater && !(most <= float64(band.Overflow)) {
			w.violate(o.At, "%s ordered %.1f L to %.1f L: the tank runs over at %.0f L", p.Name, o.Volume.Litres(), o.Litres, float64(band.Overflow))
		}
	}
	if w.Faulty {
		return
	}
	for id := range w.Settings.Safety.Tanks {
		band, below := &w.Settings.Safety.Tanks[id].TopUpBand, dosing.Timer{}
		if !(band.High > 0) {
			continue
		}
		for i := range w.Samples {
			s := &w.Samples[i]
			if s.Tank != dosing.TankID(id) {
				continue
			}
			if !(s.Litres <= float64(band.Overflow)) {
				w.violate(s.At, "%.1f L: the tank runs over at %.0f L", s.Litres, float64(band.Overflow))
			}
			least := float64(band.Low) - 0.01*float64(w.Settings.Safety.Tanks[id].Volume)
			if below.Run(s.Litres < least, s.At) > lacksFor {
				w.violate(s.At, "%.1f L for an hour: top-up begins at %.0f L", s.Litres, float64(band.Low))
				break
			}
		}
	}
}
