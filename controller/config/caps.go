package config

import (
	"fmt"
	"math"
	"strconv"
	"time"

	"leat/dosing"
	"leat/safety"
	"leat/safety/sizing"
)

// The limits, as sizing has them.
const (
	lease       = sizing.Lease
	hangPH      = sizing.HangPH
	hangEC      = sizing.HangEC
	smallestPH  = dosing.SmallestPH
	smallestEC  = dosing.SmallestEC
	transitPH   = dosing.TransitPH
	transitEC   = dosing.TransitEC
	enoughRatio = sizing.EnoughRatio
)

// caps fills what the file leaves out, so that a minimal file is safe and can
// still carry the worst demand, and checks what it states.
func (b *row) caps() {
	b.settings().Safety.StartSettling = b.layout.Station.StartSettling.or(0)
	slowest := time.Duration(0)
	for i := range b.gate().Tanks {
		slowest = max(slowest, b.gate().Tanks[i].MixingTime())
	}
	if b.gate().StartSettling == 0 {
		b.gate().StartSettling = slowest
	}
	if b.gate().StartSettling < slowest {
		b.fault("station.start_settling", quoted(b.layout.Station.StartSettling.text), fmt.Sprintf("is shorter than the mixing time of the slowest tank, %v", slowest), "wait at least that long: a dose may be under way")
	}
	for i := range b.gate().Pumps {
		b.gate().Caps = append(b.gate().Caps, b.pumpCaps(i))
	}
}

func (b *row) pumpCaps(i int) safety.Caps {
	in, p := &b.layout.Pumps[i], &b.gate().Pumps[i]
	path := "pump." + strconv.Itoa(i)
	b.file.nodeMax = append(b.file.nodeMax, in.NodeMax.or(0))
	c := safety.Caps{OnTime: in.OnTime.or(b.file.station(nil).OnTime(p))}
	if in.OnTime.stated && (c.OnTime < 100*time.Millisecond || c.OnTime > 10*time.Minute) {
		b.fault(join(path, "on_time_limit"), quoted(in.OnTime.text), "is out of range", "the longest run of one order, 0.1s to 10min")
		return c
	}
	b.nodeMax(path, in, p, c.OnTime)
	inRun := dosing.FromMillilitres(p.PerSecond.Millilitres() * c.OnTime.Seconds())
	c = b.file.station(nil).Defaults(i, c.OnTime)
	if in.DoseCap.stated {
		c.PerDose = volume(in.DoseCap)
	}
	if in.HourlyCap.stated {
		c.PerHour = volume(in.HourlyCap)
	}
	if in.DailyCap.stated {
		c.PerDay = volume(in.DailyCap)
	}
	// A stated limit moves the ones that are not: they stay in order.
	if !in.DoseCap.stated {
		c.PerDose = min(c.PerDose, c.PerHour)
	}
	if !in.DailyCap.stated {
		c.PerDay = max(c.PerDay, c.PerHour)
	} else if !in.HourlyCap.stated {
		c.PerHour = min(c.PerHour, c.PerDay)
	}
	b.checkCaps(i, path, in, p, c, inRun)
	return c
}

// nodeMax compares the longest run of an order with what the node is set to: it would
// refuse what is longer, again and again.
func (b *row) nodeMax(path string, in *pumpTable, p *dosing.Pump, onTime time.Duration) {
	if !in.NodeMax.stated {
		return
	}
	set := in.NodeMax.or(0)
	key := join(path, "node_max_on_time")
	switch {
	case set < 100*time.Millisecond || set > 10*time.Minute:
		b.fault(key, quoted(in.NodeMax.text), "is out of range", "what the node itself is set to, 0.1s to 10min")
	case onTime > set:
		b.fault(key, quoted(in.NodeMax.text), fmt.Sprintf("is less than the longest run of this configuration, %s: node %q would refuse its orders", onTime, p.Node),
			fmt.Sprintf("set node %q to %s for pump %q and state that here, or state on_time_limit = %q", p.Node, onTime, p.Name, set))
	}
}

func (b *row) checkCaps(i int, path string, in *pumpTable, p *dosing.Pump, c safety.Caps, inRun dosing.Volume) {
	switch {
	case p.MinDose > inRun:
		b.fault(join(path, "on_time_limit"), quoted(in.OnTime.text), fmt.Sprintf("allows %s mL, less than the smallest dose of %s mL", figure(inRun.Millilitres()), figure(p.MinDose.Millilitres())), "allow longer runs or state a smaller dose")
	case c.PerDose < p.MinDose:
		b.fault(join(path, "dose_cap"), quoted(in.DoseCap.text), fmt.Sprintf("is less than the smallest dose of %s mL", figure(p.MinDose.Millilitres())), "nothing could ever be dosed")
	case c.PerDose > inRun:
		b.fault(join(path, "dose_cap"), quoted(in.DoseCap.text), fmt.Sprintf("needs a run of %v, longer than on_time_limit, %v", c.PerDose.RunTime(p.PerSecond).Round(100*time.Millisecond), c.OnTime), fmt.Sprintf("at most \"%s mL\"", figure(inRun.Millilitres())))
	case c.PerHour < c.PerDose:
		b.fault(join(path, "hourly_cap"), quoted(in.HourlyCap.text), fmt.Sprintf("is less than dose_cap, %s mL", figure(c.PerDose.Millilitres())), "state at least that")
	case c.PerDay < c.PerHour:
		b.fault(join(path, "daily_cap"), quoted(in.DailyCap.text), fmt.Sprintf("is less than hourly_cap, %s mL", figure(c.PerHour.Millilitres())), "state at least that")
	}
	_, hour, day := b.file.station(nil).Caps(i)
	for _, stated := range []struct {
		key, why string
		value    measured[doseKind]
		safe     float64
	}{
		{"dose_cap", "more would move its largest tank by over 0.30 pH or 0.20 mS/cm at once", in.DoseCap, b.safeDose(p)},
		{"hourly_cap", "that is two and a half times what brings its tanks back from a pH a whole unit off, or an EC 1.2 mS/cm low, within the hour", in.HourlyCap, slack * hour.Millilitres()},
		{"daily_cap", "that is two and a half times such an hour one and a half times over and a day of the worst demand in [tank.demand]", in.DailyCap, slack * day.Millilitres()},
	} {
		if stated.value.stated && stated.value.value > stated.safe {
			b.fault(join(path, stated.key), quoted(stated.value.text), "is above the safe size", fmt.Sprintf("at most %q: %s", below(stated.safe)+" mL", stated.why))
		}
	}
	if p.Role != dosing.RoleStock && p.Container > c.PerDay {
		b.warn(join(path, "container"), fmt.Sprintf("holds %s mL, more than one day's cap of %s mL: a siphon could empty it into the tank; use a day container", figure(p.Container.Millilitres()), figure(c.PerDay.Millilitres())))
	}
}

// safeDose is what dose_cap may be at most, in mL: what may be in transit at
// all, by the commissioned buffer capacity of its largest tank. The gate judges
// each dose again for the tank it goes to, at its buffer floor.
func (b *row) safeDose(p *dosing.Pump) float64 {
	id := b.file.station(nil).Largest(p)
	v := float64(b.gate().Tanks[id].Quick())
	most := transitEC * v / p.ECPerML
	if p.Role != dosing.RoleStock {
		most = transitPH * b.file.plants[id].buffer * v / math.Abs(p.AcidPerML)
	}
	return most
}

// slack is how many times the derived cap a stated one may be.
const slack = 2.5
