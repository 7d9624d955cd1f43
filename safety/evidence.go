package safety

import (
	"math"
	"time"
)

// What counts as a word of a probe that is alive in this water.
const (
	// A dose was seen when the mean reading moved its way by so much, and by so many
	// standard deviations of the two means.
	movedPH = 0.02
	movedEC = 0.012 // mS/cm
	movedZ  = 4.0
	// movedShare of what was commissioned it must be, too: no buffer is ten times that.
	movedShare = 0.1
	// movedECMost is how many times what it should a stock may do.
	movedECMost = 1.4
	// It has come to rest when less than arrivedShare is still on its way and restShare of
	// the movement was there a quarter of a mixing time ago: half-blocked circulation goes
	// on moving.
	arrivedShare = 0.1
	restShare    = 0.8
	// What moves staleMixings after the last dose was not that dose.
	staleMixings = 3

	// A reading that moves the other way by so much, by itself and in so long, comes from a
	// live probe as well; slower than that a probe wanders.
	alonePH     = 0.03 // pH
	aloneEC     = 0.015
	aloneShare  = 0.05
	aloneWithin = 30 * time.Minute
	// Over longer it must be more by so many times, in aloneLong twice as much.
	aloneLong = 2 * time.Hour
	// After tests that showed nothing it must be more by so many times: swapped lines move it the
	// other way, too.
	silentTimes = 2

	spanZ    = 5.0 // by which the least and greatest of many means lie apart by chance
	ratchetZ = 2.0 // beyond which a reference follows a drift; nearer it would gather noise
	meanBins = 3   // bins of the track, sixteen to a mixing time, that make a mean
)

// evidence is what the readings have said since an account was last released.
type evidence struct {
	begun    bool
	before   mean          // of the readings from which an answer counts
	first    time.Duration // when that was
	since    float64       // given from then on
	credited float64       // of it, what a movement has shown already
	stirred  span
	seen     int // pools of this class that the response test saw answered

	alive     mean // of the readings since which it may have moved by itself
	aliveFrom time.Duration
	released  when
}

// mean is an average of readings and how sure it is.
type mean struct {
	value, variance float64
	ok              bool
}

// span is the least and the greatest mean of the readings.
type span struct{ low, high mean }

func (s *span) note(m mean) {
	if !s.low.ok || m.value < s.low.value {
		s.low = m
	}
	if !s.high.ok || m.value > s.high.value {
		s.high = m
	}
}

// beyond says that the readings went from one to the other and no noise did that.
func (s *span) beyond(least float64) bool {
	return s.low.ok && s.high.value-s.low.value >= max(least, spanZ*math.Sqrt(s.low.variance+s.high.variance))
}

// bin is the bin of a moment.
func (t *track) bin(up time.Duration) int64 { return int64(up / t.width) }

// over averages the readings of the bins from one to before another.
func (t *track) over(from, to int64) mean {
	count, sum := 0.0, 0.0
	for index := max(from, 0); index < to; index++ {
		if b := &t.bins[uint64(index)%binCount]; b.index == index {
			count += b.count
			sum += b.sum
		}
	}
	if count < 2 {
		return mean{}
	}
	return mean{value: sum / count, variance: t.noise / count, ok: true}
}

// track is where an account's quantity is kept; nil in a tank that is not safe.
func (a *account) track(t *tankState) *track {
	switch {
	case t.responses == nil:
		return nil
	case a.class == classStock:
		return &t.responses.ec
	}
	return &t.responses.ph
}

// refer looks for answers against these readings from here on.
func (a *account) refer(m mean, up time.Duration, since float64) {
	a.before, a.first, a.begun, a.stirred = m, up, m.ok, span{}
	a.since, a.credited = since, 0
}

// follow looks for answers against these readings, the same doses counted.
func (a *account) follow(m mean, up time.Duration) { a.before, a.first, a.credited = m, up, 0 }

// confirm looks for evidence. It is asked once for each new bin of readings; onWay is what
// the mixing law holds back of this class. It says whether the probe has shown itself alive.
func (a *account) confirm(t *tankState, up time.Duration, onWay, commissioned float64) bool {
	k := a.track(t)
	now := k.bin(up)
	recent := k.over(now-2*meanBins, now)
	if a.given <= 0 || !recent.ok {
		return false
	}
	if !a.begun {
		a.refer(recent, up, a.given)
	}
	a.stirred.note(recent)
	back := float64(a.sign() * (a.before.value - recent.value))
	if back > ratchetZ*math.Sqrt(recent.variance+a.before.variance) || up-a.last > staleMixings*t.plant.MixingTime() {
		// It drifted the other way meanwhile, or moves so late that no dose did it: an
		// answer begins from where it stands now.
		a.follow(recent, up)
	}
	if a.pooled(t) || a.moved(t, up, onWay, commissioned) {
		a.answers, a.tests, a.tastes = a.answers+1, 0, tastesNear
		a.lnBuffer, a.spread = t.lnBuffer, max(t.spread, min(leastSpread, t.plant.StartSpread()))
		a.given = min(a.given, onWay)
		a.refer(k.over(now-meanBins, now), up, a.given)
		return true
	}
	return a.live(t, recent, up, onWay)
}

// least is the least movement that counts.
func (a *account) least() float64 {
	if a.class == classStock {
		return movedEC
	}
	return movedPH
}

// pooled says that the response test saw a pool answered while the readings moved at all.
// Readings that stand still while doses go in fit two stories, of a loop that holds them
// against a drift and of a probe that sees nothing.
func (a *account) pooled(t *tankState) bool {
	seen := t.responses.seen[a.class]
	if seen == a.seen || !a.stirred.beyond(a.least()) {
		return false
	}
	a.seen = seen
	return true
}

// moved releases as much as the readings have moved by, and says whether they have come to
// rest: then they have shown all that has arrived.
func (a *account) moved(t *tankState, up time.Duration, onWay, commissioned float64) bool {
	k := a.track(t)
	bins, by := a.movement(t, k, up)
	if by <= 0 {
		return false
	}
	perMove, most := float64(commissioned*a.weakest(t)), commissioned
	if a.class == classStock {
		perMove, most = 1/movedECMost, 1
	} else if a.answers > 0 {
		perMove = max(perMove, float64(commissioned*math.Exp(a.lnBuffer-a.spread)))
	}
	if more := float64(by*perMove) - a.credited; more > 0 {
		a.credited += more
		a.given = max(a.given-more, min(a.given, onWay))
	}
	now := k.bin(up)
	earlier := k.over(now-bins-binsPerMixing/4, now-binsPerMixing/4)
	return onWay < arrivedShare*a.since && up-a.last > t.plant.MixingTime()/2 && by >= float64(movedShare*a.since)/most &&
		earlier.ok && float64(a.sign()*(earlier.value-a.before.value)) >= restShare*by
}

// movement is how far the readings have moved the doses' way, if beyond doubt, and in how
// many bins that shows. The longer nothing more is given, the longer the means: a small
// answer in a strong buffer shows in the average and not in a reading.
func (a *account) movement(t *tankState, k *track, up time.Duration) (bins int64, by float64) {
	now, since := k.bin(up), k.bin(a.first+t.plant.DeadTime)
	for _, bins := range [...]int64{meanBins, 8, 16, 32} {
		if now-bins < since {
			return 0, 0
		}
		m := k.over(now-bins, now)
		by := float64(a.sign() * (m.value - a.before.value))
		if m.ok && by >= max(a.least(), movedZ*math.Sqrt(m.variance+a.before.variance)) {
			return bins, by
		}
	}
	return 0, 0
}

// opposed says that the opposite of a reagent was given so lately that its doses may still move
// the reading.
func (t *tankState) opposed(a *account, up time.Duration) bool {
	opposite, has := a.class.opposite()
	last := t.accounts[opposite].last
	return has && last > 0 && up-last < staleMixings*t.plant.MixingTime()
}

// live releases what has arrived where the reading moves the other way by itself, its doses
// arrived, as plants and air move it: a probe in held water shows no such thing. Once in a
// mixing time, so that swapped lines gain little by it before they are found.
func (a *account) live(t *tankState, recent mean, up time.Duration, onWay float64) bool {
	mixing := t.plant.MixingTime()
	if onWay > aloneShare*a.given || t.opposed(a, up) {
		a.alive = mean{} // its doses still move it, or those of its opposite
		return false
	}
	if !a.alive.ok || up-a.aliveFrom > max(staleMixings*mixing, aloneLong) {
		a.alive, a.aliveFrom = recent, up
		return false
	}
	least := alonePH
	if a.class == classStock {
		least = aloneEC
	}
	if a.silent {
		least *= silentTimes
	}
	if late := up - a.aliveFrom - max(staleMixings*mixing, aloneWithin); late > 0 {
		least *= 1 + late.Hours()/(aloneLong-aloneWithin).Hours()
	}
	by, sd := float64(a.sign()*(a.alive.value-recent.value)), math.Sqrt(recent.variance+a.alive.variance)
	switch {
	case by >= max(least, movedZ*sd):
		if a.released.within(mixing, up) {
			return false
		}
		a.given, a.tests = min(a.given, onWay), 0
		a.released.set(up)
		a.alive, a.aliveFrom = recent, up
		return true
	case by < -ratchetZ*sd:
		a.alive, a.aliveFrom = recent, up
	}
	return false
}
