package controller

import (
	"math"

	"leat/dosing"
	"leat/safety"
)

// A pump that was hardly needed lately must still be able to bring a tank back
// from the edge of its warn band once an hour, and so many times a day.
const returnsPerDay = 6

// foresee tells the gate what each pump is predicted to need: what answers the
// estimated drift, and the way back from the warn band. Below twice that no
// multiple of recent use may fall.
func (l *learning) foresee(now dosing.Instant) {
	for p := range l.settings.Safety.Pumps {
		pump := &l.settings.Safety.Pumps[p]
		hour, day := 0.0, 0.0
		for i := range l.tanks {
			if pump.ServesTank(dosing.TankID(i)) {
				steady, back := l.tanks[i].needOf(now, dosing.PumpID(p), pump, l.settings.Safety.Tanks[i].TopUpBand)
				hour += steady + back
				day += float64(24*steady) + float64(returnsPerDay*back)
			}
		}
		l.watch.Demand(dosing.PumpID(p), dosing.FromMillilitres(hour), dosing.FromMillilitres(day))
	}
}

// needOf is what a tank will need of a pump at the estimated drift, mL per hour,
// and what brings it back from the edge of the warn band, mL.
func (t *tank) needOf(now dosing.Instant, id dosing.PumpID, pump *dosing.Pump, band safety.TopUpBand) (steady, back float64) {
	e := t.loops.Estimate(now, t.target())
	volume := float64(t.plant.Volume)
	switch pump.Role {
	case dosing.RoleAcid, dosing.RoleBase:
		drift := e.DriftAcid
		if pump.Role == dosing.RoleBase {
			drift = -drift
		}
		buffer := t.curve.Buffer(float64(t.target().PH)) * t.plant.BufferScale
		perML := math.Abs(pump.AcidPerML)
		if perML > 0 {
			steady, back = max(drift, 0)*volume/perML, dosing.WarnBand.PH*buffer*volume/perML
		}
	case dosing.RoleWater:
		// A steady use is not foreseen: three times what it was lately bounds a leak.
		back = 1000 * float64(band.High-band.Low)
	case dosing.RoleStock:
		if t.blendEC > 0 {
			blend := volume * t.loops.Share(id) / t.blendEC // mL of this stock per mS/cm
			steady, back = max(-e.DriftEC, 0)*blend, dosing.WarnBand.EC*blend
		}
	}
	return steady, back
}

// weighBlend notes what 1 mL of the tank's blend does in 1 L.
func (t *tank) weighBlend(pumps []dosing.Pump) {
	t.blendEC = 0
	for i := range pumps {
		t.blendEC += float64(t.loops.Share(dosing.PumpID(i)) * pumps[i].ECPerML)
	}
}
