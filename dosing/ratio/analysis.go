package ratio

import (
	"fmt"
	"math"
	"time"

	"leat/dosing/blend"
)

// Another tank's sample, or one taken before a fill, has another EC than the probe:
// beyond this share an analysis is refused.
const otherWater = 0.25

// Judge says why an analysis is not to be believed for this tank, or what it leaves
// in doubt. Measured is the tank's EC now, 0 where it is not known.
func (t *Tank) Judge(a blend.Analysis, measured float64) (doubt string, err error) {
	checks, _ := blend.CheckAnalysis(a, 25)
	stated := 0
	for s, ok := range a.Stated {
		if ok && blend.Substance(s).Macro() && blend.Substance(s) != blend.NH4 {
			stated++
		}
	}
	if stated == 0 {
		return "", &blend.Refusal{Problem: "the analysis names none of NO3-N, P, K, Ca, Mg and S", Hint: "state what the laboratory measured, for example K=210 mg/L"}
	}
	for _, c := range checks {
		switch {
		case c.Verdict == blend.Repeat:
			return "", &blend.Refusal{Problem: c.Name + ": " + c.Text, Hint: "have the analysis repeated, or correct what was typed"}
		case c.Verdict == blend.Doubtful:
			doubt = c.Name + ": " + c.Text
		}
	}
	if measured > 0 && a.EC > 0 && !(math.Abs(a.EC/measured-1) <= otherWater) {
		return "", &blend.Refusal{Problem: fmt.Sprintf("the sample has EC %.2f and the tank's probe reads %.2f mS/cm", a.EC, measured),
			Hint: "that is other water: see that the sample is this tank's, or that the probe is right"}
	}
	return doubt, nil
}

// Analyse corrects the account by an analysis of a sample that was taken ago. What
// the tank holds and what its plants take are corrected together, each by its own
// uncertainty (a Kalman update of two states for each ion). What then lies between
// the ions and the EC that the probe reads now, measured, is laid to probe and
// chemistry; 0 where it is not known.
func (t *Tank) Analyse(a blend.Analysis, doubtful bool, wall time.Time, up, ago time.Duration, measured, pH float64) {
	off := labOff
	if doubtful {
		off = labDoubtful
	}
	then := t.content
	if taken := up - ago; taken < t.at-markEvery/2 {
		then = t.marks.nearest(taken, then)
	}
	for s := blend.NO3; s < blend.Carbon; s++ {
		if a.Stated[s] {
			t.correct(s, a.Content[s], then[s], square(off*a.Content[s])+square(labFloor*max(t.target[s], 0.1)))
		}
	}
	t.evenAppetite()
	t.close()
	t.analysed, t.started = wall, true
	if !(measured > 0) {
		measured, pH = a.EC, a.PH
	}
	if !(pH >= 4 && pH <= 9) {
		pH = t.plan.PH
	}
	t.closeCharge(pH)
	t.rescale(measured, pH)
	// Marks from before were of an account that is corrected now.
	t.marks = t.marks[:0]
	t.solved.known = false
}

// correct moves one ion and its appetite toward what was measured.
func (a *account) correct(s blend.Substance, measured, thought, variance float64) {
	prior := a.cc[s] + square(a.off[s])
	if !(prior > 0) {
		return
	}
	surprise, sum := measured-thought, prior+variance
	byContent, byAppetite := prior/sum, a.ca[s]/sum
	a.content[s] = max(a.content[s]+float64(byContent*surprise), 0)
	// Ammonium turns into nitrate by itself: what is missing says little of plants.
	if s != blend.NH4 {
		least, most := 0.0, 4*max(a.target[s]/a.plan.EC, strayFor(s))
		a.appetite[s] = min(max(a.appetite[s]+float64(byAppetite*surprise), least), most)
		a.aa[s] = max(a.aa[s]-float64(byAppetite*a.ca[s]), square(0.05*a.appetite[s]))
	}
	a.cc[s] = float64(prior * variance / sum)
	a.ca[s] = float64(a.ca[s] * variance / sum)
	a.off[s] = 0
}

// evenAppetite keeps the appetite worth one mS/cm for each mS/cm: only its
// proportions can be learned from an analysis.
func (a *account) evenAppetite() {
	was, is := weigh(a.target)/a.plan.EC, weigh(a.appetite)
	if !(was > 0 && is > 0) {
		return
	}
	by := was / is
	for s := blend.NO3; s < blend.Carbon; s++ {
		if s.Micro() {
			continue
		}
		a.appetite[s] *= by
		a.ca[s] *= by
		a.aa[s] *= by * by
	}
}

// close ends the running account and keeps the rates at which it ran.
func (a *account) close() {
	a.before = a.brought()
	a.acid, a.base, a.water, a.taken, a.stock = blend.Content{}, blend.Content{}, blend.Content{}, blend.Content{}, blend.Content{}
	a.meq, a.uptake = 0, 0
}

// rescale learns how this tank's probe and the chemistry differ.
func (a *account) rescale(measured, pH float64) {
	before := a.scale
	a.scale = 1
	if model, ok := a.conductivity(a.content, pH); ok && measured > 0 {
		a.scale = min(max(measured/model, 0.85), 1.15)
		return
	}
	a.scale = before
}

// rateUptake is the uptake, as a share of the tank's EC, by which a rate of the
// running account is as sure as that of the account before.
const rateUptake = 0.15

// brought is what acid, base and water bring for each mS/cm that plants take: the
// rate of the running account, eased in by that of the last.
func (a *account) brought() blend.Content {
	easing := rateUptake * a.plan.EC
	uptake := max(a.uptake, 0)
	var c blend.Content
	for s := blend.NO3; s < blend.Carbon; s++ {
		c[s] = (a.acid[s] + a.base[s] + a.water[s] + float64(a.before[s]*easing)) / (uptake + easing)
	}
	return c
}
