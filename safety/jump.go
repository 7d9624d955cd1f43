package safety

import (
	"math"
	"slices"
	"time"

	"leat/dosing"
)

// jumpState follows a probe that jumped.
type jumpState struct {
	count int
	// How far above or below the last believed values a reading may lie, and by what
	// factor more for one that lasts, after the time without any.
	limit, fall, stretch float64
	value                float64
	at                   time.Duration
	steady               int
	since                time.Duration
}

// believe adds a reading to those that are believed.
func (i *inputState) believe(value float64, at time.Duration) {
	if !i.based {
		i.kept, i.founded = 0, at
	}
	if i.kept < lastsCount {
		i.recent[i.kept] = value
		i.kept++
	} else {
		i.recent = [lastsCount]float64{i.recent[1], i.recent[2], value}
	}
	sorted := i.recent
	slices.Sort(sorted[:i.kept])
	i.based, i.base, i.baseAt = true, middle(sorted[:i.kept]), at
}

// anew believes a value from since on, whatever was believed before.
func (i *inputState) anew(value float64, since time.Duration) {
	for n := range i.recent {
		i.recent[n] = value
	}
	i.jump = jumpState{}
	i.based, i.kept, i.founded, i.base, i.smooth = true, lastsCount, since, value, value
}

// near says that a value is no further than the limits from the newest reading that is
// believed, or from the median, to which a probe returns after one wild sample.
func (i *inputState) near(value, rise, fall float64) bool {
	for _, believed := range [...]float64{i.recent[i.kept-1], i.base} {
		if off := value - believed; off <= rise && -off <= fall {
			return true
		}
	}
	return false
}

// follow counts readings that are not believed, and those of them that agree.
func (j *jumpState) follow(value float64, at time.Duration, near float64) {
	if j.count > 0 && math.Abs(value-j.value) <= near {
		j.steady++
	} else {
		j.steady, j.since = 1, at
	}
	j.count++
	j.value, j.at = value, at
}

// lasts says that what is not believed has been said often and long enough.
func (j *jumpState) lasts(at time.Duration) bool {
	return j.steady >= lastsCount && at-j.since >= lastsFor
}

// jumps says whether a reading is kept; if not, with what quality it is discarded. One
// further off than a dose can take it within ten seconds, but no further than in the
// time since the last, is believed when it lasts; so is any that contradicts a value
// that was never proved, which may have been the wild one.
func (i *inputState) jumps(r dosing.Reading, value float64, at time.Duration, moving, watered bool) (keep bool, quality dosing.Quality) {
	j := &i.jump
	if j.count == 0 {
		j.limit = jumpLimit
		if moving {
			j.limit = jumpDosed
		}
		j.fall = j.limit
		if i.quantity == dosing.QuantityEC && !watered {
			j.fall = min(j.limit, max(fallLeast, float64(fallShare*i.base)))
		}
		j.stretch = max(1, float64(at-i.baseAt)/float64(jumpWithin))
	}
	if i.near(value, j.limit, j.fall) {
		*j = jumpState{}
		return true, 0
	}
	j.follow(value, at, jumpLimit*max(1, float64(at-j.at)/float64(jumpWithin)))
	proved := i.kept == lastsCount
	patient := j.fall
	if j.fall == j.limit || value > i.base {
		patient = max(j.limit, jumpDosed)
	}
	if j.lasts(at) && (!proved || i.near(value, j.limit*j.stretch, j.fall*j.stretch)) ||
		j.steady >= steadyCount && at-j.since >= steadyFor && i.near(value, max(j.limit, jumpDosed), patient) {
		i.anew(value, j.since)
		return true, 0
	}
	if j.count >= jumpsFail {
		i.last, i.seen, i.shown = r, true, true
		i.quality, i.fault, i.fits = dosing.QualityFailure, faultJump, 0
		return false, dosing.QualityFailure
	}
	if !proved {
		i.quality, i.fault, i.fits = dosing.QualityOutOfSpecification, faultJump, 0
	}
	return false, dosing.QualityOutOfSpecification
}

// leaps says that a level is further from the last than water moves, and has not stayed
// there. Until it does the level is not known, so that it holds at once.
func (i *inputState) leaps(r dosing.Reading, value float64, at time.Duration) bool {
	j := &i.jump
	if math.Abs(value-i.base) <= i.leap {
		*j = jumpState{}
		return false
	}
	j.follow(value, at, math.Inf(1)) // it need not stand still there: the tank may be running out
	if j.lasts(at) {
		i.anew(value, j.since)
		return false
	}
	i.last, i.seen, i.shown = r, true, true
	i.quality, i.fault, i.fits = dosing.QualityOutOfSpecification, faultLeap, 0
	return true
}
