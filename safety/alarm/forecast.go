package alarm

import (
	"math"
	"strconv"
	"time"
)

// Forecasts of what has no time: NotInSight does not happen at the present drift, and of
// what was Unforeseen nothing was ever read.
const (
	NotInSight time.Duration = -1
	Unforeseen time.Duration = -2
)

// horizon is how far a forecast reaches: a drift estimated over hours says nothing
// about next week.
const horizon = 7 * 24 * time.Hour

// Leaves forecasts when a value leaves the band around its target if it goes on
// drifting as now and nothing is dosed. Value, target and half-width are in the
// quantity's unit, drift in that unit per hour. 0 means outside now, NotInSight
// never within a week. A NaN cannot be shown to be inside, so it counts as outside.
func Leaves(value, target, halfBand, driftPerHour float64) time.Duration {
	off := value - target
	if !(math.Abs(off) <= halfBand) || math.IsNaN(driftPerHour) {
		return 0
	}
	room := halfBand - off
	if driftPerHour < 0 {
		room = halfBand + off
	}
	hours := room / math.Abs(driftPerHour)
	if !(hours < horizon.Hours()) {
		return NotInSight
	}
	return time.Duration(hours * float64(time.Hour))
}

// Sooner is the earlier of two forecasts.
func Sooner(a, b time.Duration) time.Duration {
	switch {
	case a < 0 && b < 0:
		return max(a, b)
	case a < 0:
		return b
	case b < 0:
		return a
	}
	return min(a, b)
}

// forecastWords says when the bands are left, for the text of an alarm.
func forecastWords(leavesWarn, leavesHarm time.Duration) string {
	switch {
	case leavesHarm == 0:
		return "pH or EC is outside its harm band"
	case leavesHarm > 0:
		return "pH or EC leaves its harm band in " + roughly(leavesHarm)
	case leavesWarn == 0:
		return "pH or EC is outside its warn band"
	case leavesWarn > 0:
		return "pH or EC leaves its warn band in " + roughly(leavesWarn)
	}
	return ""
}

// roughly is a duration as a person says it.
func roughly(d time.Duration) string {
	switch {
	case d < 2*time.Minute:
		return "a minute or two"
	case d < 2*time.Hour:
		return strconv.Itoa(int(math.Round(d.Minutes()))) + " min"
	case d < 48*time.Hour:
		return strconv.Itoa(int(math.Round(d.Hours()))) + " h"
	}
	return strconv.Itoa(int(math.Round(d.Hours()/24))) + " days"
}
