package controller

import (
	"slices"
	"time"

	"leat/dosing"
	"leat/safety/ledger"
)

// Watering is how leat itself runs a zone. The zero Watering leaves the zone to its own
// controller. It cannot say "never": nothing in leat stops circulation, aeration or a film.
type Watering struct {
	ByDay, ByNight int           // runs, evenly over the day and over the night
	Length         time.Duration // of one run: of a flood, from the first water until its pump stops
	Always         bool          // runs without a pause
}

// Stated says that leat runs the zone.
func (w Watering) Stated() bool { return w.Always || w.Length > 0 }

const wholeDay = 24 * time.Hour

// Starts are the times of day at which runs begin, where the day lasts from begins to ends;
// the same time for both is a day without a night.
func (w Watering) Starts(begins, ends time.Duration) (starts []time.Duration) {
	if w.Always {
		return nil
	}
	day := (ends - begins + wholeDay) % wholeDay
	if day == 0 {
		day = wholeDay
	}
	spread := func(n int, from, long time.Duration) {
		for i := range n {
			at := from + long*time.Duration(i)/time.Duration(n)
			starts = append(starts, at.Truncate(time.Second)%wholeDay)
		}
	}
	spread(w.ByDay, begins, day)
	if day < wholeDay {
		spread(w.ByNight, ends, wholeDay-day)
	}
	slices.Sort(starts)
	return starts
}

// LongestPause is the longest time between two runs, where the day lasts from begins to ends.
func (w Watering) LongestPause(begins, ends time.Duration) (longest time.Duration) {
	starts := w.Starts(begins, ends)
	for i, at := range starts {
		next := starts[(i+1)%len(starts)]
		gap := (next - at + wholeDay) % wholeDay
		if gap == 0 {
			gap = wholeDay
		}
		longest = max(longest, gap-w.Length)
	}
	return longest
}

// ZoneSchedule is what a zone's node is to run, day after day, until it is told otherwise. It
// needs no lease: it goes on when the daemon is gone.
type ZoneSchedule struct {
	ID     ledger.OrderID
	Tank   dosing.TankID
	Zone   int
	Starts []time.Duration // times of the day; none = it runs all the time
	Length time.Duration   // of one run
	// Boot and Tick are the node's, at which it was DayTime of the day here: by them a node
	// without a clock of its own knows the time.
	Boot    string
	Tick    time.Duration
	DayTime time.Duration
}

// ZonePhase is what a zone's node says it does.
type ZonePhase uint8

// The phases of a zone.
const (
	ZoneUnknown  ZonePhase = iota
	ZoneResting            // between two runs
	ZoneRunning            // its pump runs
	ZoneDraining           // of a bench: water is still on it
	ZoneSkipping           // a flood is due, and kept from the bench since the water is not fit
)

var zonePhases = [...]string{"unknown", "resting", "running", "draining", "skipping"}

func (p ZonePhase) String() string {
	if int(p) < len(zonePhases) {
		return zonePhases[p]
	}
	return zonePhases[ZoneUnknown]
}

// ParseZonePhase finds a phase by name.
func ParseZonePhase(name string) (ZonePhase, bool) {
	i := slices.Index(zonePhases[:], name)
	return ZonePhase(max(i, 0)), i > 0
}

// ZoneReport is what a zone's node says of itself every few seconds.
type ZoneReport struct {
	Tank  dosing.TankID // from the topic, as Zone is
	Zone  int
	Boot  string
	Tick  time.Duration
	Runs  ledger.OrderID // the schedule that it runs; zero = none yet
	Phase ZonePhase
	Cause string // why it refused the schedule that it was sent last; empty = it did not
}
