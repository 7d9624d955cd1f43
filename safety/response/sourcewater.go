package response

import (
	"fmt"
	"math"
	"time"

	"leat/dosing"
)

// The top-up water is not always what was told: another well, a softener that ran out, a
// salty season. What it brings shows at each top-up, as the step in acid needed and EC
// beyond what evaporation, doses and plants explain: the filter that judges doses asks the
// same readings for what the water brought in place of what the doses did.
const (
	waterAlkalinity = 1.0 // meq/L more than was told, at least
	waterSalt       = 0.3 // mS/cm likewise
	waterTimes      = 0.5 // or that share of what was told, if more
	waterZ          = 3.0 // and that beyond doubt
	waterUneven     = 2   // times these where part of the water answers late: it takes the top-up in, too
	waterLeast      = 2   // top-ups that say harder: pH has a drift of its own, EC hardly
	waterFades      = 0.8 // weight of earlier top-ups at each new one

	waterBlur      = 0.3 // share of what it is believed to bring that may come at another moment
	waterUnknownPH = 3.0 // sd of what it brings beyond what was told, meq/L
	waterUnknownEC = 1.0 // mS/cm
	waterDoses     = 0.2 // sd of the ratio of acid and base whose usual answer is known
	waterStocks    = 0.1 // and of stocks: one ratio serves all that were given meanwhile, and each is off by itself
)

// told is what is believed of the top-up before it is asked, per litre of it.
type told struct{ brings, spread, blur float64 }

// excess is by how much the top-up brings more than was told, as a mean of the last ones.
type excess struct {
	weight, sum float64
	count       int // top-ups
	stands      bool
}

// add takes what one top-up brought beyond what was told, and what of that is no error.
func (e *excess) add(more, sd, least float64, topUps int) {
	if !(sd > 0) {
		return
	}
	e.count = min(e.count+1, topUps)
	e.weight = float64(e.weight*waterFades) + 1/float64(sd*sd)
	e.sum = float64(e.sum*waterFades) + more/float64(sd*sd)
	switch mean := e.sum / e.weight; {
	case float64(e.weight*(mean-least)*(mean-least)) > waterZ*waterZ && mean > least && e.count >= topUps:
		e.stands = true
	case mean < least/2:
		e.stands = false
	}
}

// mean is the mean excess.
func (e *excess) mean() float64 { return e.sum / e.weight }

// source is what the top-ups have shown of their water.
type source struct {
	due, asked time.Duration
	alkalinity excess
	salt       excess
}

// askWater asks what the last top-up brought, once it has mixed in.
func (r *Responses) askWater(up time.Duration) {
	s := &r.source
	if s.due == 0 || up < s.due {
		return
	}
	p, share := pool{class: topUpClass, gathered: gathered{first: dosing.Never}}, 0.0
	for i := range r.marks.kept() {
		if m := &r.marks.list[i]; m.class == topUpClass && m.up >= s.asked {
			p.first = min(p.first, m.began)
			share += m.share
		}
	}
	s.due, s.asked = 0, up
	if !(share > 0) || r.ph.tooOld(p.first, up) {
		return
	}
	q := r.question(&r.pools[Acid], up)
	q.pool, q.from, q.settled, q.weakest = &p, p.first, up-r.tank.MixingTime(), 1
	if acid := &r.pools[Acid]; acid.answers >= AnswersWant {
		q.otherSpread = waterDoses
	}
	does := does(r)
	misread := math.Sqrt(2*r.water.level.variance()) / float64(r.tank.Quick()) / share // of the litres
	uneven := 1.0
	if r.tank.Slow > 0 {
		uneven = waterUneven
	}
	alkalinity := max(r.tank.TopUp.Alkalinity, 0)
	q.water = &told{alkalinity, waterUnknownPH, waterBlur * max(alkalinity, waterAlkalinity/2)}
	if f := r.ph.answer(r.marks.kept(), &q); f.ok {
		s.alkalinity.add(f.water/does-alkalinity, math.Hypot(f.waterSD, f.water*misread)/does, float64(uneven*max(waterAlkalinity, float64(waterTimes*alkalinity))), waterLeast)
	}
	q.askEC()
	q.otherSpread = waterStocks
	salt, here := float64(r.tank.TopUp.EC), r.ec.last
	q.water = &told{salt - here, waterUnknownEC, float64(waterBlur * here)}
	if f := r.ec.answer(r.marks.kept(), &q); f.ok {
		s.salt.add(f.water+here-salt, math.Hypot(math.Hypot(f.waterSD, (here-salt)*misread), waterStocks*r.marks.stocksSince(p.first-2*r.tank.MixingTime())/share), float64(uneven*max(waterSalt, float64(waterTimes*salt))), 1)
	}
}

// does is how many times what was commissioned acid or base usually does, by what answered most. Where
// that is more, the buffer is weaker than told, and the same alkalinity does so many times as much.
func does(r *Responses) float64 {
	p := &r.pools[Acid]
	if base := &r.pools[Base]; base.answers > p.answers {
		p = base
	}
	if p.answers < AnswersWant {
		return 1
	}
	return max(1, math.Exp(p.usual))
}

// SourceWater says what the top-up of a tank brings beyond what was told; "" while it is
// as told.
func (r *Responses) SourceWater() string {
	if r == nil {
		return ""
	}
	s, told, words := &r.source, &r.tank.TopUp, ""
	if s.alkalinity.stands {
		words = fmt.Sprintf("its alkalinity is about %.1f meq/L, %.1f in the configuration", max(told.Alkalinity, 0)+s.alkalinity.mean(), told.Alkalinity)
	}
	if s.salt.stands {
		if words != "" {
			words += "; "
		}
		words += fmt.Sprintf("its EC is about %.1f mS/cm, %.2f in the configuration", float64(told.EC)+s.salt.mean(), float64(told.EC))
	}
	return words
}
