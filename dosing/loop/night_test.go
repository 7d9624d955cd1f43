package loop

import (
	"fmt"
	"math"
	"slices"
	"time"

	"leat/dosing"
)

// decider is a law on trial: what it wants to dose now, as a plan the pumps can
// carry out. The baselines see the plant itself or the last reading.
type decider interface {
	read(r dosing.Reading)
	decide(now dosing.Instant, target dosing.Target, busy bool) (dosing.Plan, bool)
	opened(d dosing.Dose, end time.Duration)
	closed(d dosing.Dose)
}

// score is one night's figures by the definitions of the control specification:
// on true values every 10 s, hours 1 to 10.
type score struct {
	phIn, ecIn         float64 // share of time in the start band
	phIAE, ecIAE       float64 // pH·h, mS/cm·h
	phOver, ecOver     float64 // beyond the target, away from the start
	phSettle, ecSettle float64 // minutes; -1 = started inside
	acid, base         float64 // meq given
	doses              int
	lnBuffer, spread   float64
	lastHour           float64 // share of the last hour with both in band
}

const nightLength = 10 * time.Hour

// night runs one scene under one law.
func night(s *scene, p *plant, totals *dosing.Totals, law decider, trace func(up time.Duration)) score {
	const tick = 5 * time.Second
	var sc score
	inBand := [2]int{}
	counted := 0
	crossed := [2]bool{}
	side := [2]float64{sign(s.startPH - float64(s.target.PH)), sign(s.startEC - float64(s.target.EC))}
	settledSince := [2]time.Duration{-1, -1}
	settle := [2]float64{600, 600}
	if math.Abs(s.startPH-float64(s.target.PH)) <= dosing.StartBand.PH {
		settle[0] = -1
	}
	if math.Abs(s.startEC-float64(s.target.EC)) <= dosing.StartBand.EC {
		settle[1] = -1
	}
	lastIn, lastAll := 0, 0
	var open dosing.Dose
	var busyUntil time.Duration
	var key uint64
	feed := func(q dosing.Quantity, v float64) {
		r, err := dosing.NewReading(0, q, v, dosing.Instant{Up: p.up}, 0, false)
		if err != nil {
			panic(err)
		}
		law.read(r)
	}
	for p.up < nightLength {
		p.step(tick)
		target := s.target
		if s.retarget != nil {
			target = s.retarget(p.up)
		}
		if open.Open && p.up >= busyUntil {
			totals.Settle(open.Pump, open.Key, open.Volume, p.up)
			open.Open = false
			law.closed(open)
		}
		flooded := false
		for _, f := range s.floods {
			flooded = flooded || p.up >= f.start && p.up < f.start+f.length
		}
		feed(dosing.QuantityFlood, b2f(flooded))
		feed(dosing.QuantityTopUp, b2f(p.topping))
		level := p.volume
		if flooded {
			level *= 0.75 // what the zone holds comes back while the switch is still on
		}
		feed(dosing.QuantityLevel, level)
		feed(dosing.QuantityPH, p.readPH())
		feed(dosing.QuantityEC, p.readEC())
		if p.up%(10*time.Second) != 0 {
			continue
		}
		if plan, ok := law.decide(dosing.Instant{Up: p.up}, target, open.Open); ok {
			key++
			open = dosing.Dose{Key: key, Pump: plan.Pump, Volume: plan.Volume, Up: p.up, Open: true}
			busyUntil = p.up + plan.Volume.RunTime(s.pumps[plan.Pump].PerSecond)
			totals.Count(open)
			law.opened(open, busyUntil)
			p.dose(plan.Pump, plan.Volume)
			sc.doses++
			meq := plan.Volume.Millilitres() * s.pumps[plan.Pump].AcidPerML
			if s.pumps[plan.Pump].Role != dosing.RoleStock {
				sc.acid += max(0, meq)
				sc.base += max(0, -meq)
			}
		}
		off := [2]float64{p.ph - float64(target.PH), p.EC() - float64(target.EC)}
		band := [2]float64{dosing.StartBand.PH, dosing.StartBand.EC}
		over := [2]*float64{&sc.phOver, &sc.ecOver}
		for i := range off {
			if off[i]*side[i] <= 0 {
				crossed[i] = true
			}
			if crossed[i] {
				*over[i] = max(*over[i], -off[i]*side[i])
			}
			inside := math.Abs(off[i]) <= band[i]
			switch {
			case !inside:
				settledSince[i] = -1
			case settledSince[i] < 0:
				settledSince[i] = p.up
			case settle[i] == 600 && p.up-settledSince[i] >= 30*time.Minute:
				settle[i] = settledSince[i].Minutes()
			}
			if p.up > time.Hour && inside {
				inBand[i]++
			}
		}
		if p.up > nightLength-time.Hour {
			lastAll++
			if math.Abs(off[0]) <= band[0] && math.Abs(off[1]) <= band[1] {
				lastIn++
			}
		}
		if p.up > time.Hour {
			counted++
			sc.phIAE += math.Abs(off[0]) / 360
			sc.ecIAE += math.Abs(off[1]) / 360
		}
		if trace != nil {
			trace(p.up)
		}
	}
	sc.phIn, sc.ecIn = float64(inBand[0])/float64(counted), float64(inBand[1])/float64(counted)
	sc.lastHour = float64(lastIn) / float64(lastAll)
	sc.phSettle, sc.ecSettle = settle[0], settle[1]
	return sc
}

func sign(x float64) float64 {
	if x < 0 {
		return -1
	}
	return 1
}

func b2f(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// loopsOnTrial is the law of this package behind the test's gate.
type loopsOnTrial struct {
	l *Loops
	g *gatekeeper
}

func newTrial(s *scene, totals *dosing.Totals) *loopsOnTrial {
	return &loopsOnTrial{NewLoops(0, s.tank, s.pumps, s.curve, totals), newGatekeeper(s, totals)}
}
func (t *loopsOnTrial) read(r dosing.Reading) { t.l.Read(r, dosing.QualityGood) }
func (t *loopsOnTrial) decide(now dosing.Instant, target dosing.Target, busy bool) (dosing.Plan, bool) {
	return t.l.Next(now, target, t.g.judge(now.Up, t.l.Estimate(now, target), t.l.ph.entering, target, busy))
}
func (t *loopsOnTrial) opened(d dosing.Dose, end time.Duration) {
	t.l.Opened(d)
	t.g.passed(d.Pump, end)
}
func (t *loopsOnTrial) closed(d dosing.Dose) { t.l.Closed(d, d.Volume, true) }

func (s *scene) runLoops() score {
	totals := dosing.NewTotals(len(s.pumps), 1)
	law := newTrial(s, totals)
	sc := night(s, newPlant(s), totals, law, nil)
	e := law.l.Estimate(dosing.Instant{Up: nightLength}, s.target)
	sc.lnBuffer, sc.spread = e.LnBuffer, e.LnBufferSpread
	return sc
}

// quantile of the nearest rank.
func quantile(x []float64, q float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	sorted := slices.Clone(x)
	slices.Sort(sorted)
	return sorted[min(len(sorted)-1, int(q*float64(len(sorted))))]
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

// figures of a set of nights.
type figures struct {
	phMean, phP5, ecMean, ecP5                 float64
	phIAE, ecIAE                               float64
	overP95, overMax, ecOverP95, ecOverMax     float64
	settleP50, settleP95, ecSettle50, ecSettle float64
	counter, doses                             float64
}

func summarise(nights []score) figures {
	pick := func(f func(score) float64) []float64 {
		var x []float64
		for _, n := range nights {
			if v := f(n); v >= 0 {
				x = append(x, v)
			}
		}
		return x
	}
	ph, ec := pick(func(s score) float64 { return s.phIn }), pick(func(s score) float64 { return s.ecIn })
	over, ecOver := pick(func(s score) float64 { return s.phOver }), pick(func(s score) float64 { return s.ecOver })
	settle, ecSettle := pick(func(s score) float64 { return s.phSettle }), pick(func(s score) float64 { return s.ecSettle })
	f := figures{phMean: mean(ph), phP5: quantile(ph, 0.05), ecMean: mean(ec), ecP5: quantile(ec, 0.05),
		overP95: quantile(over, 0.95), overMax: slices.Max(over), ecOverP95: quantile(ecOver, 0.95), ecOverMax: slices.Max(ecOver),
		settleP50: quantile(settle, 0.5), settleP95: quantile(settle, 0.95),
		ecSettle50: quantile(ecSettle, 0.5), ecSettle: quantile(ecSettle, 0.95)}
	for _, n := range nights {
		f.phIAE += n.phIAE
		f.ecIAE += n.ecIAE
		f.counter += min(n.acid, n.base)
		f.doses += float64(n.doses) / float64(len(nights))
	}
	return f
}

func (f figures) String() string {
	return fmt.Sprintf("pH in band %.3f/%.3f, overshoot p95 %.3f max %.3f, settle %.1f/%.1f min, IAE %.1f, counter %.1f meq; "+
		"EC in band %.3f/%.3f, overshoot p95 %.3f max %.3f, settle %.1f/%.1f min, IAE %.2f; %.0f doses a night",
		f.phMean, f.phP5, f.overP95, f.overMax, f.settleP50, f.settleP95, f.phIAE, f.counter,
		f.ecMean, f.ecP5, f.ecOverP95, f.ecOverMax, f.ecSettle50, f.ecSettle, f.ecIAE, f.doses)
}
