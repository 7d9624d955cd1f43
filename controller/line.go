package controller

import (
	"time"

	"leat/dosing"
	"leat/safety/line"
)

// lineEvery is how often the watched line is judged: what happens there takes minutes.
const lineEvery = 5 * time.Second

// lines is what is only watched around the tanks. It hands nothing to the loops or the gate.
type lines struct {
	*station
	of       []*line.Line
	readings []line.Reading // scratch
	looked   time.Duration
}

func newLines(s *station) lines {
	l := lines{station: s}
	l.begin()
	return l
}

// begin judges anew by the settings.
func (l *lines) begin() {
	l.of = l.of[:0]
	for i := range l.settings.Tanks {
		l.of = append(l.of, line.New(l.settings.Tanks[i].Line))
	}
}

// follow judges the line of each tank, and says whether it was time for that.
func (l *lines) follow(now dosing.Instant) (judged bool) {
	if age := now.Up - l.looked; age >= 0 && age < lineEvery {
		return false
	}
	l.looked = now.Up
	for i := range l.of {
		l.of[i].Update(now, l.read(dosing.TankID(i)))
	}
	return true
}

// read is what the inputs of a tank's line say now.
func (l *lines) read(id dosing.TankID) []line.Reading {
	l.readings = l.readings[:0]
	for i := range l.settings.Safety.Inputs {
		in := &l.settings.Safety.Inputs[i]
		if in.Tank != id || in.NotFitted != "" || !in.Quantity.Watched() && in.Quantity != dosing.QuantityTemperature && in.Quantity != dosing.QuantityFlood {
			continue
		}
		zone := -1
		if in.Quantity == dosing.QuantityZoneFlow || in.Quantity == dosing.QuantityZoneLevel {
			zone = in.Zone
		}
		last, quality, ok := l.watch.Input(dosing.InputID(i))
		l.readings = append(l.readings, line.Reading{Name: in.Name, Quantity: in.Quantity, Zone: zone, Value: last.Value(), Valid: ok && quality.MayDose()})
	}
	return l.readings
}
