package loop

import (
	"math"
	"math/rand"
	"time"

	"leat/dosing"
)

// water is a titratable solution of the tests: carbonate, phosphate and ammonia,
// mmol/L, by charge balance. It is written for the tests alone, so that the law
// is not judged by the chemistry it steers with. Constants: 25 °C, ionic
// strength about 0.02 (Davies applied to pK 6.35, 10.33, 2.15, 7.20, 9.25).
type water struct{ P, C, N float64 }

func (w water) alkalinity(ph float64) (alk, buffer float64) {
	h := math.Exp(-ph * math.Ln10)
	const k1, k2 = 5.0e-7, 7.0e-11
	const p1, p2 = 8.9e-3, 1.0e-7
	const kn = 5.6e-10
	const kw = 1.3e-14
	d := h*h + h*k1 + k1*k2
	a1, a2 := h*k1/d, k1*k2/d
	ca := a1 + 2*a2
	cb := a1 + 4*a2 - ca*ca
	e := h*h + h*p1 + p1*p2
	b0, b2 := h*h/e, p1*p2/e
	pa := b2 - b0
	pb := b0 + b2 - pa*pa
	n := kn / (kn + h)
	oh, hh := 1000*kw/h, 1000*h
	alk = w.C*ca + w.P*pa + w.N*n + oh - hh
	buffer = math.Ln10 * (w.C*cb + w.P*pb + w.N*n*(1-n) + oh + hh)
	return alk, buffer
}

// ph solves for the pH of an alkalinity from a guess.
func (w water) ph(alk, guess float64) float64 {
	p := guess
	for range 30 {
		a, b := w.alkalinity(p)
		step := max(-0.5, min(0.5, (alk-a)/b))
		p = max(2, min(11, p+step))
		if math.Abs(step) < 1e-7 {
			break
		}
	}
	return p
}

// Titration of the tests.
func (w water) AcidNeeded(from, to float64) float64 {
	a, _ := w.alkalinity(from)
	b, _ := w.alkalinity(to)
	return a - b
}

func (w water) PHAfter(from, acid float64) float64 {
	a, b := w.alkalinity(from)
	return w.ph(a-acid, max(3, min(10.5, from-acid/b)))
}

func (w water) Buffer(ph float64) float64 {
	_, b := w.alkalinity(ph)
	return b
}

// scene is one night's plant as it truly is, and as it was commissioned.
type scene struct {
	seed       int64
	litres     float64
	water      water   // at start
	startPH    float64 //
	startEC    float64
	target     dosing.Target
	co2PerHour float64 // gas exchange
	topUpAlk   float64
	evaporates float64 // share per hour
	flux       float64 // plant base, meq/L/h
	uptake     float64 // mS/cm/h
	deadTime   time.Duration
	lag        time.Duration
	phNoise    float64
	ecNoise    float64
	pumps      []dosing.Pump
	pumpError  []float64
	tank       dosing.Tank // as commissioned
	curve      dosing.Titration
	floods     []flood
	hold       func(up time.Duration) bool // everything held by something else
	retarget   func(up time.Duration) dosing.Target
}

// flood holds dosing from start for length.
type flood struct{ start, length time.Duration }

// plant is the tank of a scene: a dead time, a mixing lag, well mixed.
type plant struct {
	s       *scene
	random  *rand.Rand
	up      time.Duration
	volume  float64 // L, as the level shows
	mixed   float64 // L that have taken part in mixing
	alk     float64 // meq in all
	carbon  float64 // mmol
	ec      float64 // mS/cm × L
	ph      float64
	plume   [2]float64 // acid meq and EC past the dead time, not yet mixed
	queue   []pulse
	topAlk  float64 // meq and mmol of top-up not yet mixed
	topping bool
	given   []float64 // mL truly delivered, by pump
}

type pulse struct {
	at       time.Duration
	acid, ec float64
}

func newPlant(s *scene) *plant {
	p := &plant{s: s, random: rand.New(rand.NewSource(s.seed)), volume: s.litres, mixed: s.litres, ph: s.startPH,
		given: make([]float64, len(s.pumps))}
	alk, _ := s.water.alkalinity(s.startPH)
	p.alk, p.carbon, p.ec = alk*s.litres, s.water.C*s.litres, s.startEC*s.litres
	return p
}

func (p *plant) EC() float64 { return p.ec / p.mixed }

// solution is the mixed water now.
func (p *plant) solution() water {
	return water{P: p.s.water.P * p.s.litres / p.mixed, C: p.carbon / p.mixed, N: p.s.water.N}
}

// dose lets pump run now; what it gives works after the dead time.
func (p *plant) dose(id dosing.PumpID, v dosing.Volume) {
	q := &p.s.pumps[id]
	ml := v.Millilitres() * p.s.pumpError[id]
	p.given[id] += ml
	p.queue = append(p.queue, pulse{at: p.up + v.RunTime(q.PerSecond)/2 + p.s.deadTime, acid: ml * q.AcidPerML, ec: ml * q.ECPerML})
}

func (p *plant) step(dt time.Duration) {
	p.up += dt
	s, hours := p.s, dt.Hours()
	kept := p.queue[:0]
	for _, d := range p.queue {
		if d.at <= p.up {
			p.plume[0] += d.acid
			p.plume[1] += d.ec
			continue
		}
		kept = append(kept, d)
	}
	p.queue = kept
	mix := 1 - math.Exp(-float64(dt)/float64(s.lag))
	p.alk -= p.plume[0] * mix
	p.ec += p.plume[1] * mix
	p.plume[0] -= p.plume[0] * mix
	p.plume[1] -= p.plume[1] * mix

	lost := p.volume * s.evaporates * hours
	p.volume -= lost
	p.mixed -= lost
	p.topping = false
	if p.volume < 0.98*s.litres {
		add := 0.02 * s.litres
		p.volume += add
		p.topAlk += add * s.topUpAlk
		p.topping = true
	}
	in := (p.volume - p.mixed) * mix
	p.mixed += in
	p.ec += in * 0.1 * s.topUpAlk
	p.alk += p.topAlk * mix
	p.carbon += 1.05 * p.topAlk * mix
	p.topAlk -= p.topAlk * mix

	p.alk += s.flux * hours * p.mixed
	p.ec -= s.uptake * hours * p.mixed
	h := math.Exp(-p.ph * math.Ln10)
	free := h * h / (h*h + h*5.0e-7 + 5.0e-7*7.0e-11)
	p.carbon += s.co2PerHour * hours * (0.0136*p.mixed - p.carbon*free)
	p.ph = p.solution().ph(p.alk/p.mixed, p.ph)
}

func (p *plant) readPH() float64 {
	return math.Round((p.ph+p.random.NormFloat64()*p.s.phNoise)*100) / 100
}

func (p *plant) readEC() float64 {
	return max(0, math.Round((p.EC()+p.random.NormFloat64()*p.s.ecNoise)*100)/100)
}

// gatekeeper stands for the gate in these tests: the effect and in-transit caps
// of the gate at its own buffer floor, the waits between reagents and
// groups, one pump at a time. It knows nothing of the loops but m and s.
type gatekeeper struct {
	s      *scene
	totals *dosing.Totals
	acidAt time.Duration
	baseAt time.Duration
	groups [dosing.GroupCount]time.Duration
	limits []dosing.Volume
}

const never = -1000 * time.Hour

func newGatekeeper(s *scene, totals *dosing.Totals) *gatekeeper {
	g := &gatekeeper{s: s, totals: totals, acidAt: never, baseAt: never, limits: make([]dosing.Volume, len(s.pumps))}
	for i := range g.groups {
		g.groups[i] = never
	}
	return g
}

func (g *gatekeeper) judge(up time.Duration, e Estimate, entering float64, target dosing.Target, busy bool) []dosing.Volume {
	clear(g.limits)
	if busy {
		return g.limits
	}
	for _, f := range g.s.floods {
		if up >= f.start && up < f.start+f.length+g.s.tank.DeadTime+g.s.tank.TimeConstant {
			return g.limits
		}
	}
	if g.s.hold != nil && g.s.hold(up) {
		return g.limits
	}
	exponent := math.Min(e.LnBuffer, 0) - e.LnBufferSpread
	if e.Answered >= 3 {
		exponent = e.LnBuffer - 2*e.LnBufferSpread
	}
	ph := max(3.5, min(9.5, float64(e.MeasuredPH)))
	floor := g.s.curve.Buffer(ph) * g.s.tank.BufferScale * math.Min(math.Exp(exponent), 3)
	acid, base, ec := g.totals.InTransit(0, g.s.pumps, g.s.tank, up)
	alkalinity := min(entering, 0.30*floor)
	for i := range g.s.pumps {
		p := &g.s.pumps[i]
		most := math.Inf(1) // mL
		effect := math.Abs(p.AcidPerML) / g.s.litres
		counts := p.Role != dosing.RoleStock
		if counts {
			beyond := 0.0
			moving := acid - base
			if p.Role == dosing.RoleAcid {
				beyond = max(0, alkalinity)
			} else {
				moving = -moving
			}
			most = min(most, (0.10*floor+beyond)/effect, (0.30*floor+beyond-moving)/effect)
			if p.MinDose.Millilitres()*effect <= 0.05*g.s.curve.Buffer(ph)*g.s.tank.BufferScale && acid+base == 0 {
				most = max(most, p.MinDose.Millilitres())
			}
		} else {
			most = min(most, 0.10/(p.ECPerML/g.s.litres), (0.20-ec)/(p.ECPerML/g.s.litres))
		}
		off := math.Abs(float64(e.PH) - float64(target.PH))
		if p.Role == dosing.RoleAcid && up-g.baseAt < 20*time.Minute && off <= 0.15 ||
			p.Role == dosing.RoleBase && up-g.acidAt < 20*time.Minute && off <= 0.15 {
			continue
		}
		waits := false
		for other := range dosing.GroupCount {
			if !p.Group.MayMeet(other) && up-g.groups[other] < g.s.tank.PlumeTime() {
				waits = true
			}
		}
		if !waits {
			g.limits[i] = dosing.FromMillilitres(most)
		}
	}
	return g.limits
}

func (g *gatekeeper) passed(id dosing.PumpID, end time.Duration) {
	p := &g.s.pumps[id]
	switch p.Role {
	case dosing.RoleAcid:
		g.acidAt = end
	case dosing.RoleBase:
		g.baseAt = end
	}
	g.groups[p.Group] = end
}
