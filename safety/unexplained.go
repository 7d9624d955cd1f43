package safety

import (
	"fmt"
	"math"
	"time"

	"leat/dosing"
)

// What a tank may do by itself, and how far beyond that it must go before a pump is
// believed to run without an order.
const (
	unexplainedEvery = 5 * time.Second
	// Roots that take ammonium and what nitrifies it give off acid up to 0.15, and what
	// lives in the water may lift pH by 0.5 (the list of faults' shock), meq/L/h.
	unexplainedSour  = 0.25
	unexplainedSharp = 0.5
	// Evaporation of a twentieth an hour of a strong solution, and as much again.
	unexplainedEC = 0.25 // mS/cm/h
	// Beyond that: twice the error that mixing in another time than commissioned can make
	// of a full in-transit cap, and what somebody may pour in for a correction.
	unexplainedDown = 0.5 // pH
	// Upward fresh alkaline water comes in as well, a drying probe drifts to 7, and from 1.5
	// above the setpoint on nothing is dosed in any case.
	unexplainedUp     = 2.0 // pH
	unexplainedECUp   = 0.3 // mS/cm
	unexplainedECGain = 1.6 // the most that a dose of stock does ÷ predicted
	// What a stock five times too strong can do with all that may be in transit; a pump
	// that runs on does more.
	unexplainedStrong = 0.5 // mS/cm
)

// unexplained follows the lowest and highest acid need and the highest EC that doses and
// the tank's own drift explain. Each is carried on by what may have happened since and
// drawn after the readings, so that it is always the worst of all earlier moments: a
// fall that nothing explains shows within minutes, whenever it began.
//
// It works in acid needed at the commissioned capacity, in which doses add up, with all
// that is in transit counted as if it had arrived.
type unexplained struct {
	any       bool
	at        time.Duration
	low, high float64       // meq/L
	most      float64       // mS/cm
	sour      float64       // given since at, meq/L of acid
	sharp     float64       // the same of base, positive
	rich      float64       // the same of EC, mS/cm
	came      float64       // L of top-up that had ever come at that time
	scale     float64       // the greatest of the weakest buffer scales since anything on its way was given
	until     time.Duration // nothing is judged before: somebody poured something in
	doubt     dosing.Timer  // since when a reading lies beyond them
	doubted   Scope         // what that holds
}

// expect notes a dose, in the least water there may be that it works in at once. What is
// to bring the setpoint nearer is counted in all the water.
func (t *tankState) expect(volume dosing.Volume, pump *dosing.Pump) {
	perLitre := volume.Millilitres() / float64(t.plant.QuickOf(min(t.plant.MinVolume, t.plant.Volume)))
	acid, ec := float64(perLitre*pump.AcidPerML), float64(perLitre*pump.ECPerML)
	t.unexplained.sour += max(acid, 0)
	t.unexplained.sharp += max(-acid, 0)
	t.unexplained.rich += max(ec, 0)
	inAll := volume.Millilitres() / float64(t.plant.Volume)
	t.progressPH.given += float64(inAll * pump.AcidPerML)
	t.progressEC.given += float64(inAll * pump.ECPerML)
	t.warmth.given += float64(inAll * pump.ECPerML)
}

// checkUnexplained latches when pH or EC moves as no dose and no plant moves it: a welded
// contact, a siphon, a second hand. The pump that does it obeys no order, so the core
// cuts the supply of all of them.
func checkUnexplained(w *Watch, now dosing.Instant, t *tankState) {
	a := &t.unexplained
	t.doubtUnexplained(now, a.doubt.Running && !t.latched.has(CauseTooStrong))
	pH, ec := &t.group[dosing.QuantityPH], &t.group[dosing.QuantityEC]
	away := w.on(t, dosing.QuantityFlood, now.Up) || t.flood.Within(t.plant.PlumeTime(), now.Up)
	if t.mode != ModeArmed || t.unsafe != "" || pH.standing != standFit || ec.standing != standFit || away ||
		t.group[dosing.QuantityLevel].standing != standFit || t.group[dosing.QuantityCirculation].standing != standFit || t.group[dosing.QuantityCirculation].adverse ||
		t.operator.Maintenance || t.operator.Cleaning || t.doubt.why != "" || now.Up < a.until {
		// While leat only observes, other hands may dose; water that is in doubt or just
		// had something poured in has a stop or a wait of its own.
		*a = unexplained{until: a.until}
		t.doubtUnexplained(now, false)
		return
	}
	if a.any && now.Up-a.at < unexplainedEvery {
		return
	}
	hours := (now.Up - a.at).Hours()
	if hours > 0.1 {
		a.any = false // a gap says nothing
	}
	weakest := t.weakestScale()
	sight := sight{watch: w, now: now, tank: t}
	sight.gather()
	need := t.responses.AcidNeeded
	sour, sharp := sight.transit.acid/weakest, sight.transit.base/weakest
	low, high := need(pH.smooth)-sour, need(pH.smooth)+sharp
	most := ec.smooth + float64(unexplainedECGain*sight.transit.ec)
	if a.any {
		a.low -= (float64(unexplainedSour*hours) + a.sour) / weakest
		a.high += (float64(unexplainedSharp*hours) + a.sharp + float64((t.water.came-a.came)*max(t.plant.TopUp.Alkalinity, 0))/sight.volume) / weakest
		a.most += float64(unexplainedEC*hours) + float64(unexplainedECGain*a.rich)
		// Half of the allowance must be movement: a buffer that is believed weaker at once is none.
		if a.scale = max(a.scale, weakest); sour+sharp == 0 {
			a.scale = weakest
		}
		if need(pH.smooth-unexplainedDown/2)-sight.transit.acid/a.scale > a.low {
			low = math.Inf(1)
		}
		if need(pH.smooth+unexplainedUp/2)+sight.transit.base/a.scale < a.high {
			high = math.Inf(-1)
		}
		if w.beyond(now, t, low, high, most) {
			a.carry(now.Up, t.water.came)
			return // what may be one wild sample is no bound for those that follow
		}
	} else {
		a.low, a.high, a.most = math.Inf(-1), math.Inf(1), math.Inf(1)
	}
	a.low, a.high = max(a.low, need(pH.smooth-unexplainedDown)-sour), min(a.high, need(pH.smooth+unexplainedUp)+sharp)
	a.most = min(a.most, most+unexplainedECUp)
	a.any = true
	a.carry(now.Up, t.water.came)
}

// carry notes that the bounds stand as of now.
func (a *unexplained) carry(up time.Duration, came float64) {
	a.at, a.sour, a.sharp, a.rich, a.came = up, 0, 0, 0, came
}

// beyond says whether a reading lies outside what is explained. It holds at once, and
// latches when it lasts.
func (w *Watch) beyond(now dosing.Instant, t *tankState, low, high, most float64) bool {
	a := &t.unexplained
	pH, ec := t.group[dosing.QuantityPH].value, t.group[dosing.QuantityEC].value
	strong := most < a.most+unexplainedStrong && t.lastRole[dosing.RoleStock].within(2*t.plant.MixingTime(), now.Up)
	q, is := dosing.QuantityPH, low < a.low || high > a.high
	if !is && most > a.most {
		q, is = dosing.QuantityEC, true
	}
	lasts := w.persists(&a.doubt, t, q, is, now.Up)
	if a.doubted = ScopeTank; q == dosing.QuantityEC && strong {
		a.doubted = ScopeNutrients
	}
	t.doubtUnexplained(now, is && !t.latched.has(CauseTooStrong))
	switch {
	case !lasts:
	case low < a.low:
		w.runsAway(now, t, fmt.Sprintf("pH of %s fell to %.2f; doses and plants explain no such fall", t.plant.Name, pH))
	case high > a.high:
		w.runsAway(now, t, fmt.Sprintf("pH of %s rose to %.2f; doses, plants and top-up explain no such rise", t.plant.Name, pH))
	case strong:
		w.latch(now, &t.cells, CauseTooStrong, t.id, 0, fmt.Sprintf("EC rose to %.2f mS/cm, further than %.1f times what was dosed", ec, unexplainedECGain))
	default:
		w.runsAway(now, t, fmt.Sprintf("EC of %s rose to %.2f mS/cm; doses and evaporation explain no such rise", t.plant.Name, ec))
	}
	return is
}

// doubtUnexplained holds while a reading lies beyond what is explained.
func (t *tankState) doubtUnexplained(now dosing.Instant, on bool) {
	t.put(now, CauseUnexplainedChange, on, "a moment so far")
	if on {
		t.as(CauseUnexplainedChange, Hold, t.unexplained.doubted)
	}
}

// runsAway stops every tank of the row: the supply that is cut is that of all pumps.
func (w *Watch) runsAway(now dosing.Instant, t *tankState, detail string) {
	if t.latched.has(CauseUnexplainedChange) {
		return
	}
	for i := range w.tanks {
		w.latch(now, &w.tanks[i].cells, CauseUnexplainedChange, dosing.TankID(i), 0, detail)
	}
}
