package response

import (
	"math"
	"time"

	"leat/dosing"
)

// How much is kept: readings are averaged in bins, sixteen to a mixing time, so
// that memory and the cost of a fit do not depend on how often a probe speaks.
const (
	BinsPerMixing = 16
	binCount      = 256 // a ring: 16 mixing times
	markCount     = 512
)

// bin is the readings of one stretch of time.
type bin struct {
	index int64 // which stretch since the process started
	count float64
	sum   float64
}

// Track is the recent readings of one quantity with what is known of its noise.
type Track struct {
	width time.Duration
	bins  [binCount]bin
	has   bool
	last  float64
	noise float64 // variance of one reading, from successive differences
	floor float64 // variance below which nothing is believed
}

func newTrack(width time.Duration, noise, least float64) Track {
	t := Track{width: width}
	t.floor = max(float64(noise*noise), float64(least*least))
	t.noise = t.floor
	t.clear()
	return t
}

// A reading that scatters by less than its own step stands still and then leaps to the next: means of
// it are off by up to half a step, together and for long. Steps are a hundredth of a pH or mS/cm.
const (
	quiet = 0.004
	grain = 0.005
)

// grain is the variance by which means of readings are off, however many there are.
func (t *Track) grain() float64 {
	if t.noise > quiet*quiet {
		return 0
	}
	return grain * grain
}

func (t *Track) clear() {
	for i := range t.bins {
		t.bins[i] = bin{index: -1}
	}
	t.has = false
}

// span is how far back readings are kept.
func (t *Track) span() time.Duration { return (binCount - 1) * t.width }

// tooOld says that a pool which began at first leaves no room before it in the
// ring for the drift before the doses.
func (t *Track) tooOld(first, now time.Duration) bool {
	return now-first > t.span()-4*BinsPerMixing*t.width
}

// add takes one reading.
func (t *Track) add(up time.Duration, value float64) {
	if !(math.Abs(value) < 1e9) || up < 0 {
		return
	}
	if t.has {
		d := value - t.last
		// Successive differences see the noise and not the drift. A jump is not noise.
		square := min(float64(d*d)/2, float64(25*t.noise))
		t.noise = max(t.noise+float64((square-t.noise)*(1.0/64)), t.floor)
	}
	t.has, t.last = true, value
	index := int64(up / t.width)
	b := &t.bins[uint64(index)%binCount]
	if b.index != index {
		*b = bin{index: index}
	}
	b.count++
	b.sum += value
}

// lately is the mean of the readings of the last bins up to a moment, at least the last one.
func (t *Track) lately(up time.Duration) float64 {
	count, sum := 0.0, 0.0
	for index := int64(up/t.width) - 2; index <= int64(up/t.width); index++ {
		if b := &t.bins[uint64(max(index, 0))%binCount]; b.index == index {
			count += b.count
			sum += b.sum
		}
	}
	if count == 0 {
		return t.last
	}
	return sum / count
}

// Mean is an average of readings and how sure it is.
type Mean struct {
	Value, Variance float64
	Ok              bool
}

// Bin is the bin of a moment.
func (t *Track) Bin(up time.Duration) int64 { return int64(up / t.width) }

// Span is how long so many bins are.
func (t *Track) Span(bins int64) time.Duration { return time.Duration(bins) * t.width }

// Over averages the readings of the bins from one to before another.
func (t *Track) Over(from, to int64) Mean {
	count, sum := 0.0, 0.0
	for index := max(from, 0); index < to; index++ {
		if b := &t.bins[uint64(index)%binCount]; b.index == index {
			count += b.count
			sum += b.sum
		}
	}
	if count < 2 {
		return Mean{}
	}
	return Mean{Value: sum / count, Variance: t.noise / count, Ok: true}
}

// mark is something that moves pH and EC: a dose, or top-up. Ph and ec are the
// settled changes predicted at the commissioned scale.
type mark struct {
	up    time.Duration
	began time.Duration // of top-up: when the water began to come
	pump  dosing.PumpID
	class Class
	acid  float64 // meq/L, positive = pH rises
	ec    float64 // mS/cm
	share float64 // of top-up: of the water
}

// marks are the recent marks in order of time.
type marks struct {
	list  [markCount]mark
	count int
}

func (m *marks) reset()       { m.count = 0 }
func (m *marks) kept() []mark { return m.list[:m.count] }

// add inserts a mark. Doses of one pump within one bin cannot be told apart and
// become one, which bounds the memory whatever the size of the doses.
func (m *marks) add(n mark, width time.Duration) {
	for i := m.count - 1; i >= 0 && n.up-m.list[i].up < width; i-- {
		if l := &m.list[i]; l.class == n.class && l.pump == n.pump {
			l.acid += n.acid
			l.ec += n.ec
			l.share += n.share
			return
		}
	}
	if m.count == markCount {
		copy(m.list[:], m.list[1:])
		m.count--
	}
	i := m.count
	for ; i > 0 && m.list[i-1].up > n.up; i-- {
		m.list[i] = m.list[i-1]
	}
	m.list[i] = n
	m.count++
}

// forget drops marks from before the kept readings; they have settled long ago.
func (m *marks) forget(before time.Duration) {
	n := 0
	for n < m.count && m.list[n].up < before {
		n++
	}
	if n > 0 {
		copy(m.list[:], m.list[n:m.count])
		m.count -= n
	}
}

// most is the pump that gave the largest part of a pool, and whether no other gave
// any.
func (m *marks) most(p *pool) (pump dosing.PumpID, only bool) {
	var sums [256]float64
	only = true
	first := true
	for i := range m.kept() {
		k := &m.list[i]
		if !p.has(k) || k.up < p.first {
			continue
		}
		sums[k.pump] += math.Abs(k.acid) + math.Abs(k.ec)
		if first {
			pump, first = k.pump, false
		}
		if k.pump != pump {
			only = false
		}
		if sums[k.pump] > sums[pump] {
			pump = k.pump
		}
	}
	return pump, only
}

// neighbours is the EC of all other stocks' doses since a time.
func (m *marks) neighbours(p *pool, since time.Duration) float64 {
	sum := 0.0
	for i := range m.kept() {
		if k := &m.list[i]; k.class == Stock && !p.has(k) && k.up >= since {
			sum += math.Abs(k.ec)
		}
	}
	return sum
}

// stocksSince is the EC that stocks were to bring since a time.
func (m *marks) stocksSince(since time.Duration) (sum float64) {
	for i := range m.kept() {
		if k := &m.list[i]; k.class == Stock && k.up >= since {
			sum += k.ec
		}
	}
	return sum
}

func (m *marks) sumEC(p *pool) float64 {
	sum := 0.0
	for i := range m.kept() {
		if k := &m.list[i]; p.has(k) && k.up >= p.first {
			sum += k.ec
		}
	}
	return sum
}
