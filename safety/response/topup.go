package response

import (
	"math"
	"time"

	"leat/dosing"
)

// topUpWatch sees from the level how much water came in. A level scatters, and the least of an hour's
// readings lies below the water by most of that: a rise counted from there would be litres that never
// came, and in 180 L of water as many as a top-up brings. So the level is a mean, and where a valve says
// when water comes, the rise begins at the level at which it opened.
type topUpWatch struct {
	volume     float64
	level      level
	has        bool
	from       float64 // the level that the next rise is counted from
	low        float64 // the lowest since the last rise, from which on water may have come: a valve may say so late
	lowAt      time.Duration
	hasValve   bool
	valveUntil time.Duration // a rise counts as top-up until then
	flood      dosing.Flood  // and never while water is away on a bench
}

// valveTail is how long a slow level may lag behind its valve, longestRise how long
// ago a rise can have begun that is noticed now, sureRise the share of the volume beyond
// which a rise is none of the sensor's.
const (
	valveTail   = 2 * time.Minute
	longestRise = 30 * time.Minute
	sureRise    = 0.01
)

// ordered takes the begin and the end of an order to our own valve, which says when water comes
// as the contact of another's does.
func (w *topUpWatch) ordered(runs bool, up time.Duration) {
	w.hasValve, w.valveUntil = true, up+valveTail
	if runs {
		w.valveUntil = dosing.Never
	}
}

func newTopUpWatch(t *dosing.Tank) topUpWatch {
	return topUpWatch{volume: float64(t.Volume), level: level{over: min(longestLevel, t.MixingTime()/8), leap: leapingLevel * float64(t.Volume)}}
}

// read returns the litres of top-up that became certain with this reading, and since
// when they came.
func (w *topUpWatch) read(up time.Duration, q dosing.Quantity, value float64) (litres float64, began time.Duration) {
	switch q {
	case dosing.QuantityTopUp:
		w.hasValve = true
		if value > 0.5 {
			w.valveUntil = up + valveTail
		}
	case dosing.QuantityFlood:
		if value > 0.5 {
			w.flood.Out(up)
		}
	case dosing.QuantityLevel:
		w.flood.Level(value, dosing.Litres(w.volume), up)
		w.level.add(up, value)
		now := w.level.mean
		if !w.has || now < w.low || w.flood.Away() {
			w.has, w.low, w.lowAt = true, now, up
		}
		if w.low == now || w.hasValve && up >= w.valveUntil {
			w.from = now
		}
		if now-w.from >= float64(sureRise*w.volume) {
			return w.count(up)
		}
	}
	return 0, 0
}

// soFar returns what has come in, and since when, of a rise that read has not returned
// yet. Where a valve says that it is top-up, that is counted before doses are judged:
// in a tank that mixes fast the last percent has worked long before it is complete.
func (w *topUpWatch) soFar(up time.Duration) (litres float64, began time.Duration) {
	if !w.hasValve || up >= w.valveUntil || w.flood.Away() || !(w.level.mean > w.from) {
		return 0, 0
	}
	return w.count(up)
}

// count ends a rise here.
func (w *topUpWatch) count(up time.Duration) (litres float64, began time.Duration) {
	litres, began = w.level.mean-w.from, max(w.lowAt, up-longestRise)
	w.from, w.low, w.lowAt = w.level.mean, w.level.mean, up
	return litres, began
}

// level is the running mean of a level sensor and what that is unsure by.
type level struct {
	over  time.Duration // time constant of the mean
	leap  float64       // L between two readings that are another level and no scatter
	has   bool
	last  float64
	at    time.Duration
	mean  float64
	noise float64       // variance of one reading, from successive differences
	part  float64       // of the last reading in the mean
	lag   time.Duration // by which the mean follows a level that rises evenly
}

const (
	longestLevel = 20 * time.Second
	leapingLevel = 0.05 // of the volume
)

func (l *level) add(up time.Duration, value float64) {
	if d := value - l.last; !l.has || math.Abs(d) > l.leap {
		l.mean, l.part, l.lag = value, 1, 0
	} else {
		l.noise += (float64(d*d)/2 - l.noise) / 32
		l.part = 1 - math.Exp(-float64(up-l.at)/float64(l.over))
		if l.lag = 0; l.part > 0 {
			l.lag = time.Duration(float64(up-l.at) * (1 - l.part) / l.part)
		}
		l.mean += float64(l.part * (value - l.mean))
	}
	l.has, l.last, l.at = true, value, up
}

// variance is by how much the mean is off, L².
func (l *level) variance() float64 { return l.noise * l.part / (2 - l.part) }
