package safety

import (
	"math"
	"time"

	"leat/safety/response"
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
	driftZ   = 3.0 // by which a drift must stand out, and by as much it is taken to be less
	meanBins = 3   // bins of the track, sixteen to a mixing time, that make a mean
)

// evidence is what the readings have said since an account was last released.
type evidence struct {
	begun    bool
	before   response.Mean // of the readings from which an answer counts
	first    time.Duration // when that was
	since    float64       // given from then on
	credited float64       // of it, what a movement has shown already
	against  float64       // pH or mS/cm an hour, at least, by which the reading went the other way of late
	drifting when          // when that was
	stirred  span
	seen     int // pools of this class that the response test saw answered

	alive     response.Mean // of the readings since which it may have moved by itself
	aliveFrom time.Duration
	released  when
}

// span is the least and the greatest mean of the readings.
type span struct{ low, high response.Mean }

func (s *span) note(m response.Mean) {
	if !s.low.Ok || m.Value < s.low.Value {
		s.low = m
	}
	if !s.high.Ok || m.Value > s.high.Value {
		s.high = m
	}
}

// beyond says that the readings went from one to the other and no noise did that.
func (s *span) beyond(least float64) bool {
	return s.low.Ok && s.high.Value-s.low.Value >= max(least, spanZ*math.Sqrt(s.low.Variance+s.high.Variance))
}

// track is where an account's quantity is kept; nil in a tank that is not safe.
func (a *account) track(t *tankState) *response.Track {
	if t.responses == nil {
		return nil
	}
	return t.responses.Track(a.class)
}

// refer looks for answers against these readings from here on.
func (a *account) refer(m response.Mean, up time.Duration, since float64) {
	a.before, a.first, a.begun, a.stirred = m, up, m.Ok, span{}
	a.since, a.credited = since, 0
}

// follow looks for answers against these readings, the same doses counted.
func (a *account) follow(m response.Mean, up time.Duration) { a.before, a.first, a.credited = m, up, 0 }

// confirm looks for evidence. It is asked once for each new bin of readings; onWay is what
// the mixing law holds back of this class. It says whether the probe has shown itself alive.
func (a *account) confirm(t *tankState, up time.Duration, onWay, commissioned float64) bool {
	k := a.track(t)
	now := k.Bin(up)
	recent := k.Over(now-2*meanBins, now)
	if a.given <= 0 || !recent.Ok {
		return false
	}
	if !a.begun {
		a.refer(recent, up, a.given)
	}
	a.stirred.note(recent)
	back := float64(a.sign() * (a.before.Value - recent.Value))
	if back > ratchetZ*math.Sqrt(recent.Variance+a.before.Variance) || up-a.last > staleMixings*t.plant.MixingTime() {
		// It drifted the other way meanwhile, or moves so late that no dose did it: an
		// answer begins from where it stands now.
		a.follow(recent, up)
		a.drifted(t, k, up)
	}
	if a.pooled(t) || a.moved(t, up, onWay, commissioned) {
		a.answers, a.tests, a.tastes = a.answers+1, 0, tastesNear
		a.lnBuffer, a.spread = t.lnBuffer, max(t.spread, min(leastSpread, t.startSpread()))
		a.given = min(a.given, onWay)
		a.refer(k.Over(now-meanBins, now), up, a.given)
		return true
	}
	return a.live(t, recent, up, onWay)
}

// least is the least movement that counts.
func (a *account) least() float64 {
	if a.class == response.Stock {
		return movedEC
	}
	return movedPH
}

// pooled says that the response test saw a pool answered while the readings moved at all.
// Readings that stand still while doses go in fit two stories, of a loop that holds them
// against a drift and of a probe that sees nothing.
func (a *account) pooled(t *tankState) bool {
	seen := t.responses.Seen(a.class)
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
	if a.class == response.Stock {
		perMove, most = 1/movedECMost, 1
	} else if a.answers > 0 {
		perMove = max(perMove, float64(commissioned*math.Exp(a.lnBuffer-a.spread)))
	}
	if more := float64(a.overcome(t, by, up)*perMove) - a.credited; more > 0 {
		a.credited += more
		a.given = max(a.given-more, min(a.given, onWay))
	}
	now := k.Bin(up)
	earlier := k.Over(now-bins-response.BinsPerMixing/4, now-response.BinsPerMixing/4)
	return onWay < arrivedShare*a.since && up-a.last > t.plant.MixingTime()/2 && by >= float64(movedShare*a.since)/most &&
		earlier.Ok && float64(a.sign()*(earlier.Value-a.before.Value)) >= restShare*by
}

// drifted learns how fast the reading goes the other way, by the least that is beyond doubt.
func (a *account) drifted(t *tankState, k *response.Track, up time.Duration) {
	const apart = response.BinsPerMixing / 2
	now := k.Bin(up)
	from, to := k.Over(now-meanBins-apart, now-apart), k.Over(now-meanBins, now)
	if !from.Ok || !to.Ok {
		return
	}
	by := float64(a.sign()*(from.Value-to.Value)) - driftZ*math.Sqrt(from.Variance+to.Variance)
	if rate := by / k.Span(apart).Hours(); rate > max(a.drift(t, up), 0) {
		a.against = rate
		a.drifting.set(up)
	}
}

// drift is how fast the reading goes against the doses, as far as that is known and not long
// ago.
func (a *account) drift(t *tankState, up time.Duration) float64 {
	if !a.drifting.within(staleMixings*t.plant.MixingTime(), up) {
		return 0
	}
	return a.against
}

// overcome is the movement that the doses have made beside one that is seen: they have also
// stopped the drift that went before. A probe that turns has seen them, so at most as much
// again is believed of it.
func (a *account) overcome(t *tankState, by float64, up time.Duration) float64 {
	return by + min(float64(a.drift(t, up)*(up-a.first).Hours()), by)
}

// movement is how far the readings have moved the doses' way, if beyond doubt, and in how
// many bins that shows. The longer nothing more is given, the longer the means: a small
// answer in a strong buffer shows in the average and not in a reading.
func (a *account) movement(t *tankState, k *response.Track, up time.Duration) (bins int64, by float64) {
	now, since := k.Bin(up), k.Bin(a.first+t.plant.DeadTime)
	for _, bins := range [...]int64{meanBins, 8, 16, 32} {
		if now-bins < since {
			return 0, 0
		}
		m := k.Over(now-bins, now)
		by := float64(a.sign() * (m.Value - a.before.Value))
		if m.Ok && by >= max(a.least(), movedZ*math.Sqrt(m.Variance+a.before.Variance)) {
			return bins, by
		}
	}
	return 0, 0
}

// opposed says that the opposite of a reagent was given so lately that its doses may still move
// the reading.
func (t *tankState) opposed(a *account, up time.Duration) bool {
	opposite, has := a.class.Opposite()
	last := t.accounts[opposite].last
	return has && last > 0 && up-last < staleMixings*t.plant.MixingTime()
}

// live releases what has arrived where the reading moves the other way by itself, its doses
// arrived, as plants and air move it: a probe in held water shows no such thing. Once in a
// mixing time, so that swapped lines gain little by it before they are found.
func (a *account) live(t *tankState, recent response.Mean, up time.Duration, onWay float64) bool {
	mixing := t.plant.MixingTime()
	if onWay > aloneShare*a.given || t.opposed(a, up) {
		a.alive = response.Mean{} // its doses still move it, or those of its opposite
		return false
	}
	if !a.alive.Ok || up-a.aliveFrom > max(staleMixings*mixing, aloneLong) {
		a.alive, a.aliveFrom = recent, up
		return false
	}
	least := alonePH
	if a.class == response.Stock {
		least = aloneEC
	}
	if a.silent {
		least *= silentTimes
	}
	if late := up - a.aliveFrom - max(staleMixings*mixing, aloneWithin); late > 0 {
		least *= 1 + late.Hours()/(aloneLong-aloneWithin).Hours()
	}
	by, sd := float64(a.sign()*(a.alive.Value-recent.Value)), math.Sqrt(recent.Variance+a.alive.Variance)
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
