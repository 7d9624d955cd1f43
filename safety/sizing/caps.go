package sizing

import (
	"time"

	"leat/dosing"
	"leat/safety"
)

// Largest is the largest tank that a pump serves.
func (s *Station) Largest(p *dosing.Pump) dosing.TankID {
	best, volume := dosing.TankID(0), dosing.Litres(-1)
	for id := range s.Settings.Tanks {
		if p.ServesTank(dosing.TankID(id)) && s.Settings.Tanks[id].Volume > volume {
			best, volume = dosing.TankID(id), s.Settings.Tanks[id].Volume
		}
	}
	return best
}

// recovery is how far a tank may be from its setpoint at the start of a night and
// still be brought back within the hour.
const (
	recoveryPH   = 1.0
	recoveryBase = 0.8
	recoveryEC   = 1.2 // mS/cm
)

// Caps are those of pump i where none are stated, worth one dose of full effect in the largest tank; an hour that
// brings every tank back from afar and carries four times the worst demand; and a
// day that does so one and a half times and carries the worst demand even where
// caps are halved.
func (s *Station) Caps(i int) (dose, hour, day dosing.Volume) {
	p := &s.Settings.Pumps[i]
	big := s.Largest(p)
	var doseML, back, perHour float64
	for id := range s.Settings.Tanks {
		if !p.ServesTank(dosing.TankID(id)) {
			continue
		}
		plant, v := &s.Plants[id], float64(s.Settings.Tanks[id].Volume)
		setpoint := plant.PH
		var one, recover, demand float64
		switch p.Role {
		case dosing.RoleAcid:
			one = dosing.EffectPH * plant.Buffer / p.AcidPerML
			// Twice, because the buffer capacity may be that far off.
			recover = 2 * plant.Curve.AcidNeeded(setpoint+recoveryPH, setpoint) / p.AcidPerML
			demand = plant.Demand.Acid / p.AcidPerML
		case dosing.RoleBase:
			one = -dosing.EffectPH * plant.Buffer / p.AcidPerML
			recover = 2 * plant.Curve.AcidNeeded(setpoint-recoveryBase, setpoint) / p.AcidPerML
			demand = -plant.Demand.Base / p.AcidPerML
		default:
			// The stock's part of a blend of that worth, a quarter more for rounding.
			part := 1.25 * p.Share / plant.BlendEC
			one, recover, demand = dosing.EffectEC*part, recoveryEC*part, plant.Demand.EC*part
		}
		if dosing.TankID(id) == big {
			doseML = one * float64(s.Settings.Tanks[id].Quick())
		}
		back += recover * v
		perHour += demand * v
	}
	return dosing.FromMillilitres(doseML), dosing.FromMillilitres(back + 4*perHour), dosing.FromMillilitres(1.5*back + 24*3.2*perHour)
}

// Defaults are the whole caps of pump i where none is stated: derived ones, but
// never below what one smallest dose needs, and in order.
func (s *Station) Defaults(i int, onTime time.Duration) safety.Caps {
	p := &s.Settings.Pumps[i]
	dose, hour, day := s.Caps(i)
	inRun := dosing.FromMillilitres(p.PerSecond.Millilitres() * onTime.Seconds())
	c := safety.Caps{OnTime: onTime, PerDose: max(min(dose, inRun), min(p.MinDose, inRun)), PerHour: max(hour, 2*p.MinDose), PerDay: max(day, 4*p.MinDose)}
	c.PerDose = min(c.PerDose, c.PerHour)
	c.PerDay = max(c.PerDay, c.PerHour)
	return c
}
