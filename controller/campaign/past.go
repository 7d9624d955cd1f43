package campaign

import (
	"fmt"
	"math"
	"time"

	"leat/controller/sim"
	"leat/dosing"
	"leat/dosing/chem"
	"leat/safety/ledger"
)

// Past is what a station recorded: its ledger, and its readings by the minute. A
// rehearsed night begins with that ledger (setpoints, learned values, doses that
// count toward caps, what is owed and held) and has the water and the disturbances
// of a recorded night, as they can be told from readings and doses. Nothing of it
// is changed: each night runs on a copy.
type Past struct {
	Rows     *ledger.Memory
	Last     time.Time      // of the newest row
	Readings [][]PastMinute // by input of the settings, in order
	Doses    []PastDose     // in order
}

// PastMinute is the mean of a minute.
type PastMinute struct {
	At   time.Time
	Mean float64
}

// PastDose is what counted of a dose, at its settlement.
type PastDose struct {
	At         time.Time
	Tank, Pump string
	Volume     dosing.Volume
}

const (
	pastNight = 10 * time.Hour
	pastEdge  = 20 * time.Minute // over which start and end of a night are averaged
	pastShare = 0.8              // of its minutes must have been recorded
)

// begin makes a scene from a recorded night: 0 is the newest, then backward, and
// around again when there are no more.
func (p *Past) begin(f *Farm, s *Scene, night int) error {
	windows := p.windows(f)
	if len(windows) == 0 {
		return fmt.Errorf("the record holds no ten hours with pH, EC and level of every tank; let the daemon run a night first")
	}
	from := windows[night%len(windows)]
	s.record, s.wall = p.Rows, p.Last
	for i := range f.Settings.Safety.Tanks {
		// What was on its way when the record ended is not in this night's water: a
		// daemon that still counted on it would learn that doses do nothing.
		t := &f.Settings.Safety.Tanks[i].Tank
		if mixed := p.Last.Add(t.DeadTime + 8*t.TimeConstant); mixed.After(s.wall) {
			s.wall = mixed
		}
	}
	s.Options.StartHour = float64(from.Hour()) + from.Sub(from.Truncate(time.Hour)).Hours()
	if s.Options.StartHour == 0 {
		s.Options.StartHour = 24 // midnight; 0 stands for an evening
	}
	for i := range f.Settings.Safety.Tanks {
		plant, start, err := p.estimate(f, dosing.TankID(i), from)
		if err != nil {
			return err
		}
		s.Options.Plants, s.Options.Starts = append(s.Options.Plants, plant), append(s.Options.Starts, start)
	}
	return nil
}

// windows are the beginnings of the recorded nights, newest first.
func (p *Past) windows(f *Farm) (begins []time.Time) {
	first, last := time.Time{}, time.Time{}
	for _, minutes := range p.Readings {
		if n := len(minutes); n > 0 {
			if first.IsZero() || minutes[0].At.Before(first) {
				first = minutes[0].At
			}
			if end := minutes[n-1].At.Add(time.Minute); end.After(last) {
				last = end
			}
		}
	}
	for from := last.Add(-pastNight); !first.IsZero() && !from.Before(first); from = from.Add(-pastNight) {
		whole := true
		for i := range f.Settings.Safety.Tanks {
			for _, q := range []dosing.Quantity{dosing.QuantityPH, dosing.QuantityEC, dosing.QuantityLevel} {
				minutes := p.of(f, dosing.TankID(i), q, from, from.Add(pastNight))
				_, begins := meanOf(minutes, from, from.Add(pastEdge))
				_, ends := meanOf(minutes, from.Add(pastNight-pastEdge), from.Add(pastNight))
				whole = whole && begins && ends && float64(len(minutes)) >= pastShare*pastNight.Minutes()
			}
		}
		if whole {
			begins = append(begins, from)
		}
	}
	return begins
}

// of are the minutes of a tank's first input of a quantity in [from, to).
func (p *Past) of(f *Farm, id dosing.TankID, q dosing.Quantity, from, to time.Time) (within []PastMinute) {
	for i := range f.Settings.Safety.Inputs {
		if in := &f.Settings.Safety.Inputs[i]; in.Tank != id || in.Quantity != q || in.NotFitted != "" || i >= len(p.Readings) {
			continue
		}
		for _, m := range p.Readings[i] {
			if !m.At.Before(from) && m.At.Before(to) {
				within = append(within, m)
			}
		}
		return within
	}
	return nil
}

// estimate tells a night's disturbances from its balance: what changed, less what
// was dosed and what top-up brought, is what roots and air did. One value for the
// night each; the exchange of CO2 is part of the acid's.
func (p *Past) estimate(f *Farm, id dosing.TankID, from time.Time) (sim.Plant, sim.Start, error) {
	tank := &f.Settings.Safety.Tanks[id]
	to, hours := from.Add(pastNight), pastNight.Hours()
	edges := func(q dosing.Quantity) (begin, end float64) {
		minutes := p.of(f, id, q, from, to)
		begin, _ = meanOf(minutes, from, from.Add(pastEdge))
		end, _ = meanOf(minutes, to.Add(-pastEdge), to)
		return begin, end
	}
	ph, phEnd := edges(dosing.QuantityPH)
	ec, ecEnd := edges(dosing.QuantityEC)
	level, levelEnd := edges(dosing.QuantityLevel)
	curve, err := chem.NewCurve(tank.Expected(), referenceTemp)
	if err != nil {
		return sim.Plant{}, sim.Start{}, err
	}
	volume := float64(tank.Volume)
	acid, salt := 0.0, 0.0
	for _, d := range p.Doses {
		if d.Tank != tank.Name || d.At.Before(from) || !d.At.Before(to) {
			continue
		}
		for i := range f.Settings.Safety.Pumps {
			if q := &f.Settings.Safety.Pumps[i]; q.Name == d.Pump {
				acid += d.Volume.Millilitres() * q.AcidPerML / volume
				salt += d.Volume.Millilitres() * q.ECPerML / volume
			}
		}
	}
	topUp := p.toppedUp(f, id, from, to)
	lost := max(level-levelEnd+topUp, 0)
	scale := tank.BufferScale
	if !(scale > 0) {
		scale = 1
	}
	plant := sim.DrawPlant(f.Settings, id, 0)
	plant.StartShare = min(max(level/plant.Litres, 0.5), 1)
	plant.Dark, plant.CO2Exchange, plant.ZoneExchange = 1, 0, nil
	plant.Evaporation = min(lost/volume/hours, 0.2)
	plant.BaseFlux = (curve.AcidNeeded(ph, phEnd)*scale + acid - topUp/volume*tank.TopUp.Alkalinity) / hours
	concentrated := ec*lost/volume - topUp/volume*(ec-float64(tank.TopUp.EC))
	plant.Uptake = max((concentrated+salt-(ecEnd-ec))/hours, 0)
	if warm, ok := meanOf(p.of(f, id, dosing.QuantityTemperature, from, to), from, to); ok {
		plant.Celsius, plant.CelsiusSwing = warm, 0
	}
	for _, x := range []float64{plant.BaseFlux, plant.Uptake, plant.Evaporation, ph, ec} {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return plant, sim.Start{}, fmt.Errorf("tank %s: the night of %s does not add up", tank.Name, from.Format(time.DateTime))
		}
	}
	return plant, sim.Start{PH: ph, EC: ec}, nil
}

// toppedUp is how many litres came in while the valve was seen open. Without a
// word of the valve the level must do: rises beyond a hundredth of the tank.
func (p *Past) toppedUp(f *Farm, id dosing.TankID, from, to time.Time) (litres float64) {
	open := map[int64]bool{}
	valve := p.of(f, id, dosing.QuantityTopUp, from, to)
	for _, m := range valve {
		if m.Mean > 0 {
			// The gauge follows within a minute.
			open[m.At.Unix()/60], open[m.At.Unix()/60+1] = true, true
		}
	}
	level := p.of(f, id, dosing.QuantityLevel, from, to)
	for i := 1; i < len(level); i++ {
		rise := level[i].Mean - level[i-1].Mean
		if len(valve) > 0 && open[level[i].At.Unix()/60] || len(valve) == 0 && rise > 0.01*float64(f.Settings.Safety.Tanks[id].Volume) {
			litres += rise
		}
	}
	return max(litres, 0)
}

// meanOf is the mean over the minutes in [from, to); false of none.
func meanOf(minutes []PastMinute, from, to time.Time) (v float64, ok bool) {
	sum, n := 0.0, 0
	for _, m := range minutes {
		if !m.At.Before(from) && m.At.Before(to) {
			sum += m.Mean
			n++
		}
	}
	return sum / float64(n), n > 0
}
