package safety

import (
	"fmt"
	"math"
	"time"

	"leat/dosing"
)

// A quantity that stands beyond its start band answers when it moves toward its
// setpoint; after so long, what has arrived should have moved it by so much in the
// strongest buffer, the weakest stock and against all that plants do.
const (
	progressTime = 30 * time.Minute // and at least a mixing time: water full of carbonate moves slowly, but it moves
	movePH       = 0.05
	moveEC       = 0.05 // mS/cm
	enoughPH     = 0.20 // in the strongest buffer
	enoughEC     = 0.30 // mS/cm
	carbonate    = 1.2  // meq/L per pH that 2 mmol/L of carbonate nobody told of add to a buffer, closed against air, at its pK
	strongest    = 3.0  // times the commissioned buffer beside it
	leaving      = 1.3  // meq/L of acid that the same carbonate takes up as CO2 leaves, the pH standing still meanwhile
	againstPH    = 0.1  // meq/L/h
	againstEC    = 0.1  // mS/cm/h
)

// progress is a stretch in which a quantity stands on one side, outside its start band,
// and what is dosed against it brings it no nearer. A probe in held water shows that, and
// one that hangs in air. The fit of one pool lays it to plants that take as much as is
// given; nothing does that for long.
type progress struct {
	side  float64 // of the setpoint: above is 1
	value float64 // when the stretch began
	since time.Duration
	given float64 // since: acid less base in meq/L, or stock in mS/cm
	came  float64 // L of top-up that had ever come when it began
}

// stands follows the value and says whether it has stood for longer than least.
func (p *progress) stands(up time.Duration, value, target, band, move, came float64, least time.Duration) bool {
	side := math.Copysign(1, value-target)
	if math.Abs(value-target) < band || side != p.side || side*(p.value-value) >= move {
		*p = progress{side: side, value: value, since: up, came: came}
	}
	return up-p.since >= least
}

// checkProgress latches once so much has arrived without an answer that nothing credible
// explains it.
func (w *Watch) checkProgress(now dosing.Instant, t *tankState) {
	if !t.aimed {
		return
	}
	least := max(progressTime, t.plant.MixingTime())
	if g := &t.group[dosing.QuantityPH]; g.standing == standFit {
		p := &t.progressPH
		if p.stands(now.Up, g.smooth, float64(t.target.PH), dosing.StartBand.PH, movePH, t.water.came, least) {
			w.checkReagents(now, t, p, g.value)
		}
	}
	if g := &t.group[dosing.QuantityEC]; g.standing == standFit {
		p := &t.progressEC
		if p.stands(now.Up, g.smooth, float64(t.target.EC), dosing.StartBand.EC, moveEC, t.water.came, least) && p.side < 0 {
			w.checkStocks(now, t, p, g.value)
		}
	}
}

func (w *Watch) checkReagents(now dosing.Instant, t *tankState, p *progress, pH float64) {
	commissioned, _ := t.buffers()
	enough := float64(enoughPH * (float64(strongest*commissioned) + carbonate))
	arrived := float64(p.side*p.given) - float64(againstPH*(now.Up-p.since).Hours())
	if !(commissioned > 0) || !(arrived > enough) {
		return
	}
	s := sight{watch: w, now: now, tank: t}
	s.gather()
	name := "base"
	if p.side > 0 {
		name = "acid"
		arrived -= s.transit.acid + leaving + float64((t.water.came-p.came)*max(t.plant.TopUp.Alkalinity, 0))/s.volume
	} else {
		arrived -= s.transit.base
	}
	if arrived > enough {
		given := float64(p.side * p.given)
		*p = progress{}
		w.found(now, t, Finding{Cause: CauseNoResponse, Scope: ScopeReagents,
			Detail: fmt.Sprintf("%s worth %.2f pH has arrived and pH stands at %.2f: doubt the probe, its flow and its water before the pump", name, given/commissioned, pH)})
	}
}

func (w *Watch) checkStocks(now dosing.Instant, t *tankState, p *progress, ec float64) {
	arrived := p.given - float64(againstEC*(now.Up-p.since).Hours())
	if !(arrived > enoughEC) {
		return
	}
	s := sight{watch: w, now: now, tank: t}
	s.gather()
	arrived -= s.transit.ec + float64((t.water.came-p.came)*ec)/s.volume
	if arrived > enoughEC {
		*p = progress{}
		w.found(now, t, Finding{Cause: CauseNoResponse, Scope: ScopeNutrients,
			Detail: fmt.Sprintf("stock worth %.2f mS/cm has arrived and EC stands at %.2f: doubt the probe, its flow and its water before the pumps", arrived, ec)})
	}
}
