package sizing

import (
	"math"
	"time"

	"leat/dosing"
	"leat/safety"
)

// Dose is the largest dose of pump i into a full tank as it was commissioned: at its
// setpoint, before any dose has answered, with nothing on its way and nothing in the last
// day; and which limit of the gate binds. Gate.Allowance says the same of this moment, by
// the buffer capacity where the water is.
func (s *Station) Dose(i int, id dosing.TankID) (most dosing.Volume, by safety.Cause) {
	p, c, plant := &s.Settings.Pumps[i], &s.Settings.Caps[i], &s.Plants[id]
	litres := float64(s.Settings.Tanks[id].Quick())
	floor := plant.Buffer * math.Exp(-dosing.UnmeasuredSpread)
	within := func(room, perML float64) dosing.Volume {
		if perML == 0 {
			return math.MaxInt64
		}
		return dosing.FromMillilitres(room * litres / perML)
	}
	acid := math.Abs(p.AcidPerML)
	effect, transit := within(dosing.EffectPH*floor, acid), within(dosing.TransitPH*floor, acid)
	if p.MinDose.Millilitres()*acid/litres <= dosing.SmallestPH*plant.Buffer {
		effect, transit = max(effect, p.MinDose), max(transit, p.MinDose)
	}
	effect = min(effect, within(dosing.EffectEC, p.ECPerML))
	if p.Role == dosing.RoleStock {
		transit = min(transit, within(dosing.TransitEC, p.ECPerML))
	}
	part, rolling := s.factor(i), 1.0
	for other := range s.Settings.Tanks {
		if p.ServesTank(dosing.TankID(other)) {
			rolling = min(rolling, s.halved(dosing.TankID(other)))
		}
	}
	cut := func(v dosing.Volume, by float64) dosing.Volume { return dosing.Volume(float64(v) * by) }
	most = math.MaxInt64
	for _, l := range [...]struct {
		by   safety.Cause
		most dosing.Volume
	}{
		{safety.CauseDoseCap, min(cut(c.PerDose, part), dosing.FromMillilitres(p.PerSecond.Millilitres()*float64(c.OnTime)/float64(time.Second)))},
		{safety.CauseEffectCap, effect},
		{safety.CauseInTransitCap, transit},
		{safety.CauseHourlyCap, cut(c.PerHour, part*rolling)},
		{safety.CauseDailyCap, cut(c.PerDay, part*rolling)},
	} {
		if l.most < most {
			most, by = l.most, l.by
		}
	}
	return most, by
}
