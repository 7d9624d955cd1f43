package safety

import (
	"math"
	"time"

	"leat/dosing"
	"leat/safety/response"
)

// First doses. A buffer that has run down, lines that are swapped and a reagent that was
// refilled undiluted show in a small dose as well as in a large one, so the first after arming,
// service and a long pause are as small as a test. Far from the setpoint one must do, given half of its
// way; near it, where nothing is in haste, there are two unless one was answered.
const (
	tastesNear = 2
	nearPH     = 0.2
	pausedFor  = 2 * time.Hour // after which the next dose is a first one again
)

// tried says that the first doses are over.
func (a *account) tried(t *tankState) bool {
	return a.class == response.Stock || a.tastes >= tastesNear || a.tastes > 0 && t.off() >= nearPH
}

// off is how far the reading of pH stands from its setpoint.
func (t *tankState) off() float64 {
	return math.Abs(t.group[dosing.QuantityPH].smooth - float64(t.target.PH))
}

// taste is what a first dose leaves to be given.
func (a *account) taste(limit float64, own bool) float64 {
	given := a.tasting
	if own {
		given -= a.open + rounds*limit
	}
	return a.test(limit) - max(given, 0)
}

// tasted counts a first dose that has had its time to show.
func (a *account) tasted(t *tankState, up time.Duration) {
	wait := t.plant.DeadTime + t.plant.TimeConstant/2
	if t.off() < nearPH {
		wait = t.plant.DeadTime + t.plant.TimeConstant
	}
	switch {
	case up-a.last > pausedFor:
		a.tastes, a.tasting = 0, 0
	case a.tasting > 0 && up-a.last >= wait:
		a.tastes, a.tasting = min(a.tastes+1, tastesNear), 0
	}
}
