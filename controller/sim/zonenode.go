package sim

import (
	"fmt"
	"time"

	"leat/controller"
	"leat/controller/payload"
	"leat/dosing"
	"leat/safety/ledger"
)

// zoneNode drives the pump of one zone by the schedule that leat sent last. It needs no lease
// and no clock: it counts the time of the day by its own tick.
type zoneNode struct {
	tank             dosing.TankID
	zone             int
	schedule, report string // topics
	boot             string
	bootedAt         time.Duration
	random           *stream

	kept    controller.ZoneSchedule // in its memory, through a reboot
	dayAt   time.Duration           // time of the day at bootedAt
	known   bool                    // that it was told the time since its boot
	unfit   bool                    // the water, as last heard
	skipped time.Duration           // since when a flood is due and kept from the bench; 0 = none is
	last    time.Duration           // time of the day, of the second before
	cause   string
	due     time.Duration // of the next report
}

const (
	zoneReportEvery = 10 * time.Second
	// zoneWaits is how long a flood may be kept from a bench for unfit water: then roots dry,
	// and the flood comes all the same.
	zoneWaits = 4 * time.Hour
	// zoneAlone is how long it waits after a boot for somebody who tells it the time.
	zoneAlone = time.Minute
)

func (f *Farm) addZoneNodes(topics *payload.Topics) {
	for i := range f.settings.Tanks {
		id := dosing.TankID(i)
		for k := range f.settings.Tanks[i].Zones {
			set := &f.settings.Tanks[i].Zones[k]
			if !set.Own.Stated() {
				continue
			}
			n := &zoneNode{tank: id, zone: k, schedule: topics.ZoneSchedule(id, set.Name), report: topics.ZoneReport(id, set.Name),
				random: newStream(f.seed, "zone "+f.settings.Safety.Tanks[i].Name+" "+set.Name)}
			n.start(0)
			f.zoneNodes = append(f.zoneNodes, n)
			f.routes.also(n.schedule, func(l *listener) { l.zone = n })
			f.routes.also(topics.Fit(id), func(l *listener) { l.fit = append(l.fit, n) })
		}
	}
}

// start boots the node: it knows its schedule, and not the time.
func (n *zoneNode) start(now time.Duration) {
	n.boot = fmt.Sprintf("%08x", uint32(n.random.uint64()>>32))
	n.bootedAt, n.dayAt, n.known, n.due = now, 0, false, 0
}

// RestartZone takes the power from a zone's node for a moment.
func (f *Farm) RestartZone(id dosing.TankID, zone int) {
	for _, n := range f.zoneNodes {
		if n.tank == id && n.zone == zone {
			n.start(f.now)
		}
	}
}

// take takes a schedule: a newer one, or the same again, which only tells the time.
func (n *zoneNode) take(f *network, body []byte) {
	s, err := payload.ParseZoneSchedule(body)
	if err != nil {
		f.unread++
		n.cause = "unreadable"
		return
	}
	id, kept := key(s.ID), key(n.kept.ID)
	switch set := &f.settings.Tanks[n.tank].Zones[n.zone]; {
	case id < kept:
		n.cause = "older than the last schedule"
		return
	case set.Kind == controller.ZoneFlood && len(s.Starts) == 0:
		n.cause = "a bench is not flooded all the time"
		return
	}
	n.cause = ""
	if id > kept {
		n.kept = s
	}
	if s.Boot == n.boot {
		n.dayAt = (s.DayTime - s.Tick%(24*time.Hour) + 24*time.Hour) % (24 * time.Hour)
		if !n.known {
			n.last = n.dayTime(f.now)
		}
		n.known = true
	}
	n.due = 0
}

func key(id ledger.OrderID) uint64 { return uint64(id.Epoch)<<32 | uint64(id.Number) }

// dayTime is the time of the day, as the node counts it.
func (n *zoneNode) dayTime(now time.Duration) time.Duration {
	return (n.dayAt + now - n.bootedAt + 240*time.Hour) % (24 * time.Hour)
}

// second runs the zone.
func (n *zoneNode) second(f *network) {
	z := &f.tanks[n.tank].zones[n.zone]
	if !n.known && f.now-n.bootedAt == zoneAlone && len(n.kept.Starts) > 0 {
		// Nobody tells it the time: it begins with a run rather than with a pause.
		n.dayAt = (n.kept.Starts[0] - zoneAlone + 24*time.Hour) % (24 * time.Hour)
		n.last = n.dayTime(f.now) - second
		n.known = true
	}
	if !n.known {
		n.tell(f, z)
		return
	}
	at := n.dayTime(f.now)
	begun := false
	for _, start := range n.kept.Starts {
		begun = begun || (start-n.last+24*time.Hour-1)%(24*time.Hour) < (at-n.last+24*time.Hour)%(24*time.Hour)
	}
	n.last = at
	if z.floods() {
		n.flood(f, z, begun)
	} else {
		z.rests = len(n.kept.Starts) > 0 && !n.within(at)
	}
	n.tell(f, z)
}

// tell reports now and then.
func (n *zoneNode) tell(f *network, z *zone) {
	if f.now >= n.due {
		n.due = f.now + zoneReportEvery
		f.publish(n.report, 0, false, payload.AppendZoneReport(nil, &controller.ZoneReport{Boot: n.boot, Tick: f.now - n.bootedAt, Runs: n.kept.ID, Phase: n.phase(z), Cause: n.cause}))
	}
}

// flood begins a flood that is due, unless the water is not fit for the bench.
func (n *zoneNode) flood(f *network, z *zone, begun bool) {
	if begun && n.skipped == 0 {
		n.skipped = f.now
	}
	if n.skipped == 0 || n.unfit && f.now-n.skipped < zoneWaits {
		return
	}
	n.skipped = 0
	if z.state == zoneIdle {
		z.next, z.runs = f.now, n.kept.Length
	}
}

// within says that a run is under way at a time of the day.
func (n *zoneNode) within(at time.Duration) bool {
	for _, start := range n.kept.Starts {
		if (at-start+24*time.Hour)%(24*time.Hour) < n.kept.Length {
			return true
		}
	}
	return false
}

func (n *zoneNode) phase(z *zone) controller.ZonePhase {
	switch {
	case z.floods() && (z.state == zoneFilling || z.state == zoneStanding), !z.floods() && !z.rests:
		return controller.ZoneRunning
	case z.floods() && z.state == zoneDraining:
		return controller.ZoneDraining
	case n.skipped > 0:
		return controller.ZoneSkipping
	}
	return controller.ZoneResting
}
