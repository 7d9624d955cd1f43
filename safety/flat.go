package safety

import (
	"time"
)

// roughness follows the variance of second differences, which a probe that drifts and a
// tank that is dosed hardly touch, however fast they go.
func (i *inputState) roughness(value float64, at time.Duration) {
	if i.noise <= 0 || !i.seen {
		return
	}
	if at-i.last.At().Up > i.limit {
		i.hasRise = false
		return
	}
	rise := value - i.last.Value()
	bend := rise - i.rise
	if i.rise = rise; !i.hasRise {
		i.hasRise = true
		return
	}
	// One jump is no noise: it counts for no more than its share.
	most := roughClip * i.noise
	bend = min(max(bend, -most), most)
	// The second difference of white noise has six times its variance.
	i.rough += float64((float64(bend*bend)/6 - i.rough) / roughMemory)
	factor := roughTimes
	if i.isRough {
		factor = roughCalm
	}
	i.isRough = !(i.rough <= float64(float64(factor*factor)*float64(i.noise*i.noise)))
}

// flatState follows the longest run of readings up to now that took at most two
// values, and in it the stretch of one value at its end. Counts fade over flatFor,
// so that an hour of life long ago does not hide that the probe froze since.
type flatState struct {
	limit        float64 // sd below which a run is flat
	a, b         float64 // a is the present value
	na, nb       float64
	since        time.Duration // start of the run
	stretchSince time.Duration // start of the stretch of a
	stretch      float64       // readings in it
	at           time.Duration
	any          bool
}

func (f *flatState) add(value float64, at time.Duration) {
	if gap := at - f.at; f.any && at-f.since > flatFor {
		keep := max(0, 1-float64(gap)/float64(flatFor))
		f.na = float64(f.na * keep)
		f.nb = float64(f.nb * keep)
	}
	switch {
	case !f.any:
		f.a, f.na, f.nb, f.since, f.stretchSince, f.stretch, f.any = value, 1, 0, at, at, 1, true
		f.b = value
	case value == f.a:
		f.na++
		f.stretch++
	case f.nb == 0 || value == f.b:
		f.a, f.b = value, f.a
		f.na, f.nb = f.nb+1, f.na
		f.stretchSince, f.stretch = at, 1
	default:
		// A third value: the run begins anew with the last stretch.
		f.a, f.b = value, f.a
		f.na, f.nb = 1, f.stretch
		f.since = f.stretchSince
		f.stretchSince, f.stretch = at, 1
	}
	f.at = at
}

// is says whether the probe has been flat for flatFor.
func (f *flatState) is(at time.Duration) bool {
	if f.stretch >= flatLeast && at-f.stretchSince >= flatFor {
		return true
	}
	n := f.na + f.nb
	if at-f.since < flatFor || n < flatLeast {
		return false
	}
	share := f.na / n
	variance := float64(share*(1-share)) * float64((f.a-f.b)*(f.a-f.b))
	return variance < float64(f.limit*f.limit)
}
