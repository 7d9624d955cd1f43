package loop

import (
	"math"

	"leat/dosing"
)

// What a titration found is worth the less the longer it is ago and the more water has come in since. Both
// rates are ours, by how fast phosphate and carbonate of a crop's water change; no measurement of many farms.
const (
	surestBuffer  = 0.2  // sd of ln(capacity) that is relied on, however sure the answers were
	agesPerDay    = 0.02 // variance of it that a day adds
	agesPerVolume = 0.05 // and that a whole volume of top-up adds
)

// Titrated is the buffer scale as a titration found it: the logarithm of true ÷ commissioned.
type Titrated dosing.Belief

// Begin lets the loops go on from it.
func (found Titrated) Begin(l *Loops) {
	l.version++
	l.ph.gain, l.ph.least, l.ph.dg, l.ph.vg = found.Mean, min(-ln3, found.Mean), 0, 0
	l.ph.gg = float64(found.Spread * found.Spread)
	l.ph.tuning.startGain = max(found.Spread, surestBuffer)
}

// Age lets the buffer scale be as unsure, at most, as it has become after hours and so many litres of top-up,
// and returns that spread; 0 = it says no more than what is believed without it.
func (found Titrated) Age(l *Loops, hours float64, came dosing.Litres) (spread float64) {
	least, before := max(found.Spread, surestBuffer), l.tank.StartSpread()
	volumes := float64(came) / float64(max(l.tank.Volume, 1))
	spread = math.Sqrt(float64(least*least) + float64(agesPerDay*max(hours, 0)/24) + float64(agesPerVolume*max(volumes, 0)))
	l.ph.tuning.startGain = min(spread, before)
	if spread >= before {
		return 0
	}
	return spread
}
