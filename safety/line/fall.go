package line

import (
	"math"
	"time"
)

// soon is how near harm must be that a value which still is good is told of.
const soon = time.Hour

// A fall is measured over fallOver, by a sample a minute, and believed from fallLeast on.
const (
	fallOver  = 16             // samples
	fallEvery = time.Minute    //
	fallLeast = 5              // samples
	fallMuch  = 0.3            // mg/L that it must have fallen: more than scatter and a door's draught
	fallFar   = 24 * time.Hour // beyond it nothing is foreseen
)

// fall follows how fast a value falls.
type fall struct {
	at     [fallOver]time.Duration
	value  [fallOver]float64
	count  int
	newest time.Duration
}

// until is when the value reaches a floor at the fall of the last quarter of an hour:
// 0 = it stands below, negative = it does not fall, or not in sight.
func (f *fall) until(up time.Duration, value, floor float64) time.Duration {
	if f.count == 0 || up-f.newest >= fallEvery {
		copy(f.at[:], f.at[1:])
		copy(f.value[:], f.value[1:])
		f.at[fallOver-1], f.value[fallOver-1] = up, value
		f.newest, f.count = up, min(f.count+1, fallOver)
	}
	if value <= floor {
		return 0
	}
	rate, fell := f.rate()
	if f.count < fallLeast || fell < fallMuch || !(rate < 0) {
		return -1
	}
	left := (value - floor) / -rate * float64(time.Second)
	if !(left < float64(fallFar)) {
		return -1
	}
	return time.Duration(left)
}

// rate is the slope of the samples, per second, and by how much they fell along it.
func (f *fall) rate() (rate, fell float64) {
	n, t, v := float64(f.count), 0.0, 0.0
	for i := fallOver - f.count; i < fallOver; i++ {
		t += f.at[i].Seconds() / n
		v += f.value[i] / n
	}
	tt, tv := 0.0, 0.0
	for i := fallOver - f.count; i < fallOver; i++ {
		off := f.at[i].Seconds() - t
		tt += float64(off * off)
		tv += float64(off * (f.value[i] - v))
	}
	if !(tt > 0) {
		return 0, 0
	}
	rate = tv / tt
	return rate, math.Max(0, -rate*(f.at[fallOver-1]-f.at[fallOver-f.count]).Seconds())
}
