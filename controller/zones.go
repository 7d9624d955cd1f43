package controller

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"leat/dosing"
	"leat/safety"
	"leat/safety/ledger"
	"leat/safety/line"
)

// zones runs the zones that have no controller of their own: it sends each one's node what
// to run, day after day, and watches that the node does. A node needs no lease for that and
// keeps what it was sent last.
type zones struct {
	*station
	setpoints *setpoints
	epochs    *epochs
	of        [][]ranZone // by tank
	number    uint32
	looked    time.Duration
}

// ranZone is what is known of a zone that leat runs.
type ranZone struct {
	sent   ZoneSchedule
	began  time.Duration // when this schedule was first sent
	again  time.Duration // when it goes out again
	report ZoneReport
	heard  time.Duration
	ever   bool
}

const (
	zonesEvery = 5 * time.Second
	// zoneAgain is how long a node may take to say that it runs what it was sent, and
	// zoneAnew how often it is told the time of day anew.
	zoneAgain = 10 * time.Second
	zoneAnew  = time.Hour
	// zoneSilent is how long a node may be unheard, or run another schedule.
	zoneSilent = 2 * time.Minute
)

func newZones(s *station, sp *setpoints, ep *epochs) zones {
	z := zones{station: s, setpoints: sp, epochs: ep}
	for i := range s.settings.Tanks {
		z.of = append(z.of, make([]ranZone, len(s.settings.Tanks[i].Zones)))
	}
	return z
}

// begin follows changed settings; zones are told anew where theirs changed.
func (z *zones) begin() {
	for i := range z.of {
		if n := len(z.settings.Tanks[i].Zones); n != len(z.of[i]) {
			z.of[i] = make([]ranZone, n)
		}
	}
}

// tellAnew lets every node be told the time of the day again: the clock here was set.
func (z *zones) tellAnew() {
	for i := range z.of {
		for k := range z.of[i] {
			z.of[i][k].sent.Boot, z.of[i][k].again, z.looked = "", 0, 0
		}
	}
}

// follow sends what has changed and tells the watch of floods that come.
func (z *zones) follow(now dosing.Instant) {
	if age := now.Up - z.looked; z.looked != 0 && age >= 0 && age < zonesEvery {
		return
	}
	z.looked = now.Up
	for i := range z.of {
		for k := range z.of[i] {
			if w := z.watering(now, dosing.TankID(i), k); w.Stated() {
				z.run(now, dosing.TankID(i), k, w)
			}
		}
		words, out := z.floods(now, dosing.TankID(i))
		z.watch.FloodAhead(dosing.TankID(i), words, out)
	}
}

// watering is how a zone is to run now: by the stage of the crop, else by its own.
func (z *zones) watering(now dosing.Instant, id dosing.TankID, k int) Watering {
	set := &z.settings.Tanks[id]
	w := set.Zones[k].Own
	begun := set.Schedule.begun(now.Wall)
	for i := range begun {
		if zones := begun[i].Zones; k < len(zones) && zones[k].Stated() {
			w = zones[k]
		}
	}
	return w
}

// run sends a zone's schedule where it is new, where the node does not run it yet, and now
// and then for the time of day.
func (z *zones) run(now dosing.Instant, id dosing.TankID, k int, w Watering) {
	r := &z.of[id][k]
	starts := w.Starts(z.setpoints.day(id))
	switch {
	case r.sent.ID.Number == 0 || r.sent.ID.Epoch != z.epochs.epoch || r.sent.Length != w.Length || !slices.Equal(r.sent.Starts, starts):
		z.number++
		r.sent = ZoneSchedule{ID: ledger.OrderID{Epoch: z.epochs.epoch, Number: z.number}, Tank: id, Zone: k, Starts: starts, Length: w.Length}
		r.began = now.Up
		z.notice(Notice{Kind: NoticeChange, Tank: id, Text: fmt.Sprintf("schedule %s of %s: %s", r.sent.ID, z.settings.Tanks[id].Zones[k].Name, r.sent.Words())})
	case !z.follows(r) && now.Up >= r.again, now.Up-r.again >= zoneAnew:
	default:
		return
	}
	if !z.linkUp {
		return
	}
	r.again = now.Up + zoneAgain
	r.sent.DayTime, r.sent.Boot, r.sent.Tick = z.dayTime(id, now.Wall), "", 0
	if r.ever && now.Up-r.heard < zoneSilent {
		r.sent.Boot, r.sent.Tick = r.report.Boot, r.report.Tick+now.Up-r.heard
	}
	z.out.Schedules = append(z.out.Schedules, r.sent)
}

// follows says that the node runs what it was sent, and knows the time since its boot.
func (z *zones) follows(r *ranZone) bool {
	return r.ever && r.report.Runs == r.sent.ID && r.report.Boot == r.sent.Boot
}

// take notes what a zone's node says. A word about a zone that leat does not run is nobody's.
func (z *zones) take(now dosing.Instant, r *ZoneReport) {
	if int(r.Tank) >= len(z.of) || r.Zone < 0 || r.Zone >= len(z.of[r.Tank]) {
		return
	}
	own := &z.of[r.Tank][r.Zone]
	changed := own.report.Phase != r.Phase || own.report.Boot != r.Boot || own.report.Runs != r.Runs
	own.report, own.heard, own.ever = *r, now.Up, true
	if changed {
		z.looked = 0 // a bench that fills holds doses now, a new boot wants the time now
	}
}

// floods says in words why no dose may go in for the sake of a flood that is near, and
// whether water is out on a bench. A dose is given the time to mix before the next flood takes the
// water; where floods follow one another closely, a quarter of the time between them.
func (z *zones) floods(now dosing.Instant, id dosing.TankID) (words string, out bool) {
	for k := range z.of[id] {
		r := &z.of[id][k]
		if z.settings.Tanks[id].Zones[k].Kind != ZoneFlood || r.sent.ID.Number == 0 {
			continue
		}
		name := z.settings.Tanks[id].Zones[k].Name
		if fresh := r.ever && now.Up-r.heard < zoneSilent; fresh && (r.report.Phase == ZoneRunning || r.report.Phase == ZoneDraining) {
			out = true
			words = name + " is flooded"
			continue
		}
		left, gap := r.sent.next(z.dayTime(id, now.Wall))
		if begun := gap - left; begun >= 0 && begun < zoneAgain && len(r.sent.Starts) > 0 && words == "" {
			words = name + " is about to be flooded" // its node has yet to say so
		}
		if left < min(z.tanks[id].plant.MixingTime(), gap/4) && words == "" {
			words = fmt.Sprintf("%s is flooded at %s: a dose would not be mixed in by then", name, clock(z.dayTime(id, now.Wall)+left))
		}
	}
	return words, out
}

// next is how long it is until the next run begins, and how long the present pause lasts in all.
func (s *ZoneSchedule) next(at time.Duration) (left, gap time.Duration) {
	if len(s.Starts) == 0 {
		return wholeDay, wholeDay
	}
	before := s.Starts[len(s.Starts)-1] - wholeDay
	for _, start := range s.Starts {
		if start > at {
			return start - at, start - before
		}
		before = start
	}
	return s.Starts[0] + wholeDay - at, s.Starts[0] + wholeDay - before
}

// tell adds to the line of each tank what a person must know of its zones, and how they run.
func (z *zones) tell(now dosing.Instant, lines []*line.Line) {
	for i := range z.of {
		z.tellOf(now, dosing.TankID(i), lines[i])
	}
}

func (z *zones) tellOf(now dosing.Instant, id dosing.TankID, l *line.Line) {
	for k := range z.of[id] {
		r, zone := &z.of[id][k], &z.settings.Tanks[id].Zones[k]
		if r.sent.ID.Number == 0 {
			continue
		}
		l.Figure(zone.Name+" runs", r.words(now.Up, z.dayTime(id, now.Wall)))
		switch since := max(r.heard, r.began); {
		case r.report.Cause != "" && r.report.Runs != r.sent.ID && now.Up-r.began >= zoneAgain:
			l.Find(safety.CauseZoneSchedule, fmt.Sprintf("%s refuses its schedule: %s", zone.Name, r.report.Cause))
		case now.Up-since >= zoneSilent:
			l.Find(safety.CauseZoneSchedule, zone.Name+": its node is not heard; it should go on with what it was sent last")
		case r.report.Runs != r.sent.ID && now.Up-r.began >= zoneSilent:
			l.Find(safety.CauseZoneSchedule, zone.Name+": its node runs another schedule than it was sent")
		}
	}
}

// words say how a zone runs.
func (r *ranZone) words(up, at time.Duration) string {
	words := r.sent.Words()
	if !r.ever || up-r.heard >= zoneSilent {
		return words + "; its node is not heard"
	}
	words = r.report.Phase.String() + "; " + words
	if left, _ := r.sent.next(at); len(r.sent.Starts) > 0 {
		words += ", next at " + clock(at+left)
	}
	return words
}

// Words tell a schedule.
func (s *ZoneSchedule) Words() string {
	if len(s.Starts) == 0 {
		return "runs all the time"
	}
	if len(s.Starts) > 8 {
		return fmt.Sprintf("%d times a day for %s", len(s.Starts), lasts(s.Length))
	}
	var at []string
	for _, start := range s.Starts {
		at = append(at, clock(start))
	}
	return fmt.Sprintf("at %s for %s", strings.Join(at, ", "), lasts(s.Length))
}

// clock is a time of the day.
func clock(at time.Duration) string {
	at %= wholeDay
	return fmt.Sprintf("%02d:%02d", at/time.Hour, at%time.Hour/time.Minute)
}

func lasts(d time.Duration) string {
	if d%time.Minute == 0 {
		return fmt.Sprintf("%d min", d/time.Minute)
	}
	return fmt.Sprintf("%.0f s", d.Seconds())
}
