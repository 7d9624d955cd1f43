package sizing

import "leat/dosing"

// Of a valve that tops a tank up.
const (
	pulseShare = 0.01  // of the volume, one pulse where none is stated
	blindShare = 0.005 // of the volume that a gauge may not tell from nothing
	blindSums  = 2     // so often pulses may not show before the valve is stopped
	waterTimes = 1.5   // the worst use of water, at least, by the hour and the day
)

// pulses are the caps of a valve where none are stated: a hundredth of the tank at once, in an hour
// the whole band and four hours of the worst use, in a day what the worst day uses and a half more.
func (s *Station) pulses(id dosing.TankID) (dose, hour, day dosing.Volume) {
	t := &s.Settings.Tanks[id]
	litres := func(l float64) dosing.Volume { return dosing.FromMillilitres(1000 * l) }
	v, perHour := float64(t.Volume), s.Plants[id].Demand.Water*float64(t.Volume)
	band := float64(t.TopUpBand.High - t.TopUpBand.Low)
	hour = litres(band + 4*perHour)
	return litres(pulseShare * v), hour, max(hour, litres(band+24*waterTimes*perHour))
}

// Valve is what a valve may let into its tank when something goes wrong, in litres, and what it can
// carry, in litres per hour.
type Valve struct {
	Hang  float64 // a run that no order ended
	Blind float64 // pulses that a gauge that sticks does not show, until the valve is stopped
	Room  float64 // from where top-up ends to the overflow
	// PerHour is what its caps carry for hours, Worst the worst use of water.
	PerHour, Worst float64
}

// Valve sizes pump i, a valve, against its tank.
func (s *Station) Valve(i int, id dosing.TankID) Valve {
	p, c, t := &s.Settings.Pumps[i], &s.Settings.Caps[i], &s.Settings.Tanks[id]
	v, part := float64(t.Volume), s.factor(i)
	rolling := part * s.halved(id)
	return Valve{
		Hang:    p.PerSecond.Litres() * s.Hang(i).Seconds(),
		Blind:   blindSums * (part*c.PerDose.Litres() + blindShare*v),
		Room:    float64(t.TopUpBand.Overflow - t.TopUpBand.High),
		PerHour: rolling * min(c.PerHour.Litres(), c.PerDay.Litres()/24),
		Worst:   s.Plants[id].Demand.Water * v,
	}
}

// Refusal is why leat check refuses the valve; empty if it does not.
func (v Valve) Refusal() string {
	switch {
	case !(v.Hang+v.Blind <= v.Room):
		return "a valve that hangs makes the tank run over"
	case !(v.PerHour >= waterTimes*v.Worst):
		return "the valve cannot carry the worst use of water"
	}
	return ""
}
