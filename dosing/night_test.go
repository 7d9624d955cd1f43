package dosing

import (
	"fmt"
	"math"
	"math/rand"
	"slices"
	"testing"
	"time"
)

// decider is a law on trial: what it wants to dose now, as a plan the pumps can
// carry out. The yardsticks see the plant itself or the last reading.
type decider interface {
	read(r Reading)
	decide(now Instant, target Target, busy bool) (Plan, bool)
	opened(d Dose, end time.Duration)
	closed(d Dose)
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
	lastHour           bool // both in band for the whole last hour
}

const nightLength = 10 * time.Hour

// night runs one scene under one law.
func night(s *scene, p *plant, totals *Totals, law decider, trace func(up time.Duration)) score {
	const tick = 5 * time.Second
	var sc score
	inBand := [2]int{}
	counted := 0
	crossed := [2]bool{}
	side := [2]float64{sign(s.startPH - float64(s.target.PH)), sign(s.startEC - float64(s.target.EC))}
	settledSince := [2]time.Duration{-1, -1}
	settle := [2]float64{600, 600}
	if math.Abs(s.startPH-float64(s.target.PH)) <= StartBand.PH {
		settle[0] = -1
	}
	if math.Abs(s.startEC-float64(s.target.EC)) <= StartBand.EC {
		settle[1] = -1
	}
	sc.lastHour = true
	var open Dose
	var busyUntil time.Duration
	var key uint64
	feed := func(q Quantity, v float64) {
		r, err := NewReading(0, q, v, Instant{Up: p.up}, 0, false)
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
		feed(QuantityFlood, b2f(flooded))
		feed(QuantityTopUp, b2f(p.topping))
		level := p.volume
		if flooded {
			level *= 0.75 // what the zone holds comes back while the switch is still on
		}
		feed(QuantityLevel, level)
		feed(QuantityPH, p.readPH())
		feed(QuantityEC, p.readEC())
		if p.up%(10*time.Second) != 0 {
			continue
		}
		if plan, ok := law.decide(Instant{Up: p.up}, target, open.Open); ok {
			key++
			open = Dose{Key: key, Pump: plan.Pump, Volume: plan.Volume, Up: p.up, Open: true}
			busyUntil = p.up + plan.Volume.RunTime(s.pumps[plan.Pump].PerSecond)
			totals.Count(open)
			law.opened(open, busyUntil)
			p.dose(plan.Pump, plan.Volume)
			sc.doses++
			meq := plan.Volume.Millilitres() * s.pumps[plan.Pump].AcidPerML
			if s.pumps[plan.Pump].Role != RoleStock {
				sc.acid += max(0, meq)
				sc.base += max(0, -meq)
			}
		}
		off := [2]float64{p.ph - float64(target.PH), p.EC() - float64(target.EC)}
		band := [2]float64{StartBand.PH, StartBand.EC}
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
			if p.up > nightLength-time.Hour && !inside {
				sc.lastHour = false
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

func newTrial(s *scene, totals *Totals) *loopsOnTrial {
	return &loopsOnTrial{NewLoops(0, s.tank, s.pumps, s.curve, totals), newGatekeeper(s, totals)}
}
func (t *loopsOnTrial) read(r Reading) { t.l.Read(r, QualityGood) }
func (t *loopsOnTrial) decide(now Instant, target Target, busy bool) (Plan, bool) {
	return t.l.Next(now, target, t.g.judge(now.Up, t.l.Estimate(now, target), t.l.ph.entering, target, busy))
}
func (t *loopsOnTrial) opened(d Dose, end time.Duration) { t.l.Opened(d); t.g.passed(d.Pump, end) }
func (t *loopsOnTrial) closed(d Dose)                    { t.l.Closed(d, d.Volume, true) }

func (s *scene) runLoops() score {
	totals := NewTotals(len(s.pumps), 1)
	law := newTrial(s, totals)
	sc := night(s, newPlant(s), totals, law, nil)
	e := law.l.Estimate(Instant{Up: nightLength}, s.target)
	sc.lnBuffer, sc.spread = e.LnBuffer, e.LnBufferSpread
	return sc
}

// timer is the common practice: every 5 min, one dose worth 0.10 pH at the
// commissioned buffer capacity if the last reading is more than 0.1 off, or 0.05
// mS/cm of blend if EC is more than 0.05 low; no caps.
type timer struct {
	s      *scene
	ph, ec float64
	owed   []Volume
	next   time.Duration
}

func (t *timer) read(r Reading) {
	switch r.Quantity() {
	case QuantityPH:
		t.ph = r.Value()
	case QuantityEC:
		t.ec = r.Value()
	}
}
func (t *timer) opened(Dose, time.Duration) {}
func (t *timer) closed(Dose)                {}
func (t *timer) decide(now Instant, target Target, busy bool) (Plan, bool) {
	if busy {
		return Plan{}, false
	}
	for i, v := range t.owed {
		if v > 0 {
			t.owed[i] = 0
			return Plan{Pump: PumpID(i), Volume: v}, true
		}
	}
	if now.Up < t.next {
		return Plan{}, false
	}
	t.next = now.Up + 5*time.Minute
	t.owed = make([]Volume, len(t.s.pumps))
	commissioned := t.s.curve.Buffer(float64(target.PH)) * t.s.tank.BufferScale
	blend := newBlend(t.s.pumps, stocksOf(t.s.pumps), t.s.litres)
	for i := range t.s.pumps {
		p := &t.s.pumps[i]
		if p.Role == RoleAcid && t.ph-float64(target.PH) > 0.1 || p.Role == RoleBase && float64(target.PH)-t.ph > 0.1 {
			t.owed[i] = max(p.Smallest, FromMillilitres(0.10*commissioned*t.s.litres/math.Abs(p.AcidPerML)))
		}
		if p.Role == RoleStock && float64(target.EC)-t.ec > 0.05 {
			t.owed[i] = max(p.Smallest, FromMillilitres(0.05*t.s.litres/blend.ecPerML*p.Share))
		}
	}
	return t.decide(now, target, false)
}

// clairvoyant knows the true state, pending doses, top-up and drift over θ + τ,
// and doses the whole need every 10 s; no caps, no future.
type clairvoyant struct {
	s    *scene
	p    *plant
	owed []Volume
}

func (c *clairvoyant) read(Reading)               {}
func (c *clairvoyant) opened(Dose, time.Duration) {}
func (c *clairvoyant) closed(Dose)                {}
func (c *clairvoyant) decide(_ Instant, target Target, busy bool) (Plan, bool) {
	if busy {
		return Plan{}, false
	}
	p, s := c.p, c.s
	acid, ec := p.plume[0], p.plume[1]
	for _, q := range p.queue {
		acid += q.acid
		ec += q.ec
	}
	ahead := (s.deadTime + s.lag).Hours()
	w := p.solution()
	h := math.Exp(-p.ph * math.Ln10)
	free := h * h / (h*h + h*5.0e-7)
	w.C = max(0, w.C+(s.co2PerHour*ahead*(0.0136-w.C*free)))
	now := p.alk / p.mixed
	settledAlk := now + (p.topAlk-acid)/p.volume + s.flux*ahead
	settledEC := (p.ec+ec+(p.volume-p.mixed)*0.1*s.topUpAlk)/p.volume - s.uptake*ahead
	want, buffer := w.alkalinity(float64(target.PH))
	blend := newBlend(s.pumps, stocksOf(s.pumps), s.litres)
	for i, v := range c.owed {
		if v > 0 {
			c.owed[i] = 0
			return Plan{Pump: PumpID(i), Volume: v}, true
		}
	}
	if need := float64(target.EC) - settledEC; need > deadBandEC+blend.smallest/2 {
		for _, id := range blend.stocks {
			c.owed[id] = max(s.pumps[id].Smallest, FromMillilitres(need*p.volume/blend.ecPerML*s.pumps[id].Share/s.pumpError[id]))
		}
		return c.decide(Instant{}, target, false)
	}
	need := settledAlk - want
	for i := range s.pumps {
		q := &s.pumps[i]
		if q.Role == RoleAcid && need > 0 || q.Role == RoleBase && need < 0 {
			least := q.Smallest.Millilitres() * math.Abs(q.AcidPerML) / p.volume
			if math.Abs(need) <= deadBandPH*buffer+least/2 {
				return Plan{}, false
			}
			return Plan{Pump: PumpID(i), Volume: max(q.Smallest, FromMillilitres(math.Abs(need)*p.volume/math.Abs(q.AcidPerML)/s.pumpError[i]))}, true
		}
	}
	return Plan{}, false
}

func stocksOf(pumps []Pump) []PumpID {
	var ids []PumpID
	for i := range pumps {
		if pumps[i].Role == RoleStock {
			ids = append(ids, PumpID(i))
		}
	}
	return ids
}

func uniform(r *rand.Rand, low, high float64) float64 { return low + r.Float64()*(high-low) }
func logUniform(r *rand.Rand, low, high float64) float64 {
	return math.Exp(uniform(r, math.Log(low), math.Log(high)))
}
func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

// standardNight draws one night of the set `standard` of the control
// specification, as far as this plant has it: constant temperature, EC that adds
// up. What the plant draws of carbonate, gas exchange and true totals is not
// passed on: the loops get one nominal curve.
//
// A night that `leat check` would refuse for its smallest dose (more than 0.05 pH
// at the commissioned buffer capacity) or its rate (more than 0.3 pH in the 10 s
// until the pumps stop by themselves) is redrawn; redrawn tells how often.
func standardNight(seed int64) (s *scene, redrawn int) {
	r := rand.New(rand.NewSource(seed))
	for {
		s, ok := drawStandard(r)
		s.seed = seed
		if ok {
			return s, redrawn
		}
		redrawn++
	}
}

func drawStandard(r *rand.Rand) (s *scene, passes bool) {
	s = &scene{}
	s.litres = logUniform(r, 20, 1000)
	s.water = water{P: logUniform(r, 0.3, 2.5), C: uniform(r, 0, 2), N: 0.1}
	s.topUpAlk = logUniform(r, 0.2, 5)
	s.evaporates = logUniform(r, 0.001, 0.02)
	worth := logUniform(r, 0.003, 0.05)
	wrong := logUniform(r, 1.0/3, 3)
	s.flux = uniform(r, -0.03, 0.1)
	s.co2PerHour = uniform(r, 0.05, 1)
	s.deadTime, s.lag = seconds(uniform(r, 20, 180)), seconds(uniform(r, 30, 300))
	s.phNoise, s.ecNoise = uniform(r, 0.005, 0.030), 0.005
	s.startPH = uniform(r, 5.4, 6.6)
	s.target = Target{PH: 5.8, EC: Conductivity(uniform(r, 0.8, 2.6))}
	s.startEC = float64(s.target.EC) * uniform(r, 0.6, 1)
	s.uptake = uniform(r, 0, 0.03)
	open := water{P: s.water.P, C: 0.0136 * (1 + 5.0e-7/math.Exp(-5.8*math.Ln10)), N: 0.1}
	trueBuffer := open.Buffer(5.8)
	nominal := water{P: 1.2, C: 0.2, N: 0.1}
	s.curve = nominal
	s.tank = Tank{Volume: Litres(s.litres), DeadTime: s.deadTime, Lag: s.lag, BufferScale: wrong * trueBuffer / nominal.Buffer(5.8),
		TopUp: Water{Alkalinity: s.topUpAlk, EC: Conductivity(0.1 * s.topUpAlk)}, PHNoise: s.phNoise, ECNoise: s.ecNoise}
	run := uniform(r, 5, 40)
	// Acid of 0.5 meq/mL; its anion brings 0.05 mS/cm per meq/L beyond what the
	// bicarbonate it drives out carried.
	reagent := func(role Role, group Group, strength float64) Pump {
		small := worth * trueBuffer * s.litres / math.Abs(strength)
		return Pump{Role: role, Group: group, AcidPerML: strength, ECPerML: 0.05 * math.Abs(strength),
			Smallest: Volume(small * 1000), PerSecond: max(1, Volume(0.10*trueBuffer*s.litres/math.Abs(strength)/run*1000))}
	}
	small := logUniform(r, 0.001, 0.01) // mS/cm
	stock := func(group Group, ec, acid float64) Pump {
		return Pump{Role: RoleStock, Group: group, Share: 0.5, MacroIon: true, AcidPerML: acid, ECPerML: ec,
			Smallest: Volume(small * s.litres / ec * 1000), PerSecond: max(1, Volume(0.10*s.litres/ec/run*1000))}
	}
	s.pumps = []Pump{reagent(RoleAcid, GroupAcid, 0.5), reagent(RoleBase, GroupBase, -0.5),
		stock(GroupCalcium, 0.2, -0.002), stock(GroupSulfate, 0.16, 0.01)}
	for range s.pumps {
		s.pumpError = append(s.pumpError, uniform(r, 0.85, 1.15))
	}
	return s, worth/wrong <= 0.05 && 0.10/run*10/wrong <= 0.3
}

// farmNight draws a night of the demonstration farm: a row of nine stocks at
// 1 L/min with nitric acid and potassium hydroxide, on the large tank (38 % acid
// at 40 mL/min) or on the one for young plants (diluted acid). It starts at pH 6.6
// and 60 % of the EC setpoint, with top-up of 2 meq/L and two floods.
func farmNight(seed int64, large bool) *scene {
	r := rand.New(rand.NewSource(seed))
	s := &scene{seed: seed, litres: 180, startPH: 6.6, target: Target{PH: 5.8, EC: 2.0}, startEC: 1.2, topUpAlk: 2,
		phNoise: 0.01, ecNoise: 0.005, evaporates: uniform(r, 0.002, 0.01), flux: uniform(r, -0.02, 0.06),
		uptake: uniform(r, 0, 0.02), co2PerHour: uniform(r, 0.05, 0.4)}
	acid, rate, least := 0.5, 60.0, 1.0 // meq/mL, mL/min, mL
	if large {
		s.litres, acid, rate, least = 1400, 7.4, 40, 0.5
	}
	s.water = water{P: uniform(r, 0.8, 2), C: uniform(r, 0.3, 1), N: 0.3}
	s.deadTime, s.lag = seconds(uniform(r, 20, 60)), seconds(uniform(r, 30, 120))
	nominal := water{P: 1.3, C: 0.3, N: 0.3}
	s.curve = nominal
	open := s.water
	open.C = 0.04
	s.tank = Tank{Volume: Litres(s.litres), DeadTime: s.deadTime, Lag: s.lag,
		BufferScale: logUniform(r, 1.0/3, 3) * open.Buffer(5.8) / nominal.Buffer(5.8),
		TopUp:       Water{Alkalinity: 2, EC: 0.2}, PHNoise: s.phNoise, ECNoise: s.ecNoise}
	reagent := func(role Role, group Group, strength float64) Pump {
		return Pump{Role: role, Group: group, AcidPerML: strength, ECPerML: 0.05 * math.Abs(strength),
			Smallest: FromMillilitres(least), PerSecond: FromMillilitres(rate / 60)}
	}
	s.pumps = []Pump{reagent(RoleAcid, GroupAcid, acid), reagent(RoleBase, GroupBase, -acid)}
	for _, q := range []struct {
		group           Group
		share, acid, ec float64
		macro           bool
	}{
		{GroupCalcium, 0.30, -0.002, 0.22, true}, {GroupNeutral, 0.16, 0, 0.24, true}, {GroupNeutral, 0.05, 0, 0.2, true},
		{GroupSulfate, 0.12, 0, 0.2, true}, {GroupSulfate, 0.14, 0, 0.15, true}, {GroupSulfate, 0.12, 0.02, 0.16, true},
		{GroupCalcium, 0.05, 0.004, 0.25, true}, {GroupChelate, 0.03, 0, 0.02, false}, {GroupChelate, 0.03, 0, 0.02, false},
	} {
		s.pumps = append(s.pumps, Pump{Role: RoleStock, Group: q.group, Share: q.share, MacroIon: q.macro,
			AcidPerML: q.acid, ECPerML: q.ec, Smallest: FromMillilitres(s.litres / 70), PerSecond: Litre / 60})
	}
	for range s.pumps {
		s.pumpError = append(s.pumpError, uniform(r, 0.85, 1.15))
	}
	for _, hour := range []float64{uniform(r, 0.3, 3), uniform(r, 4, 8)} {
		s.floods = append(s.floods, flood{start: seconds(math.Floor(hour * 3600)), length: 10 * time.Minute})
	}
	return s
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

func TestStandardNightsKeepToTheBand(t *testing.T) {
	const nights = 400
	var ours, common, seer []score
	redrawn := 0
	for seed := range int64(nights) {
		s, again := standardNight(seed)
		redrawn += again
		ours = append(ours, s.runLoops())
		totals := NewTotals(len(s.pumps), 1)
		common = append(common, night(s, newPlant(s), totals, &timer{s: s}, nil))
		p := newPlant(s)
		seer = append(seer, night(s, p, NewTotals(len(s.pumps), 1), &clairvoyant{s: s, p: p, owed: make([]Volume, len(s.pumps))}, nil))
	}
	f, c, k := summarise(ours), summarise(common), summarise(seer)
	t.Logf("%d nights, %d drawn again", nights, redrawn)
	t.Logf("loops:       %v", f)
	t.Logf("timer:       %v", c)
	t.Logf("clairvoyant: %v", k)
	t.Logf("pH IAE ÷ clairvoyant %.2f, ÷ timer %.2f; EC IAE ÷ timer %.2f; counter-reagent ÷ clairvoyant %.2f",
		f.phIAE/k.phIAE, f.phIAE/c.phIAE, f.ecIAE/c.ecIAE, f.counter/k.counter)
}
