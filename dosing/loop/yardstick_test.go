package loop

import (
	"math"
	"time"

	"leat/dosing"
)

// timer is the common practice: every 5 min, one dose worth 0.10 pH at the
// commissioned buffer capacity if the last reading is more than 0.1 off, or 0.05
// mS/cm of blend if EC is more than 0.05 low; no caps.
type timer struct {
	s      *scene
	ph, ec float64
	owed   []dosing.Volume
	next   time.Duration
}

func (t *timer) read(r dosing.Reading) {
	switch r.Quantity() {
	case dosing.QuantityPH:
		t.ph = r.Value()
	case dosing.QuantityEC:
		t.ec = r.Value()
	}
}
func (t *timer) opened(dosing.Dose, time.Duration) {}
func (t *timer) closed(dosing.Dose)                {}
func (t *timer) decide(now dosing.Instant, target dosing.Target, busy bool) (dosing.Plan, bool) {
	if busy {
		return dosing.Plan{}, false
	}
	for i, v := range t.owed {
		if v > 0 {
			t.owed[i] = 0
			return dosing.Plan{Pump: dosing.PumpID(i), Volume: v}, true
		}
	}
	if now.Up < t.next {
		return dosing.Plan{}, false
	}
	t.next = now.Up + 5*time.Minute
	t.owed = make([]dosing.Volume, len(t.s.pumps))
	commissioned := t.s.curve.Buffer(float64(target.PH)) * t.s.tank.BufferScale
	blend := newBlend(t.s.pumps, stocksOf(t.s.pumps), t.s.litres)
	for i := range t.s.pumps {
		p := &t.s.pumps[i]
		if p.Role == dosing.RoleAcid && t.ph-float64(target.PH) > 0.1 || p.Role == dosing.RoleBase && float64(target.PH)-t.ph > 0.1 {
			t.owed[i] = max(p.MinDose, dosing.FromMillilitres(0.10*commissioned*t.s.litres/math.Abs(p.AcidPerML)))
		}
		if p.Role == dosing.RoleStock && float64(target.EC)-t.ec > 0.05 {
			t.owed[i] = max(p.MinDose, dosing.FromMillilitres(0.05*t.s.litres/blend.ecPerML*p.Share))
		}
	}
	return t.decide(now, target, false)
}

// perfectKnowledge knows the true state, pending doses, top-up and drift over θ + τ,
// and doses the whole need every 10 s; no caps, no future.
type perfectKnowledge struct {
	s    *scene
	p    *plant
	owed []dosing.Volume
}

func (c *perfectKnowledge) read(dosing.Reading)               {}
func (c *perfectKnowledge) opened(dosing.Dose, time.Duration) {}
func (c *perfectKnowledge) closed(dosing.Dose)                {}
func (c *perfectKnowledge) decide(_ dosing.Instant, target dosing.Target, busy bool) (dosing.Plan, bool) {
	if busy {
		return dosing.Plan{}, false
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
			return dosing.Plan{Pump: dosing.PumpID(i), Volume: v}, true
		}
	}
	if need := float64(target.EC) - settledEC; need > deadBandEC+blend.smallest/2 {
		for _, id := range blend.stocks {
			c.owed[id] = max(s.pumps[id].MinDose, dosing.FromMillilitres(need*p.volume/blend.ecPerML*s.pumps[id].Share/s.pumpError[id]))
		}
		return c.decide(dosing.Instant{}, target, false)
	}
	need := settledAlk - want
	for i := range s.pumps {
		q := &s.pumps[i]
		if q.Role == dosing.RoleAcid && need > 0 || q.Role == dosing.RoleBase && need < 0 {
			least := q.MinDose.Millilitres() * math.Abs(q.AcidPerML) / p.volume
			if math.Abs(need) <= deadBandPH*buffer+least/2 {
				return dosing.Plan{}, false
			}
			return dosing.Plan{Pump: dosing.PumpID(i), Volume: max(q.MinDose, dosing.FromMillilitres(math.Abs(need)*p.volume/math.Abs(q.AcidPerML)/s.pumpError[i]))}, true
		}
	}
	return dosing.Plan{}, false
}

func stocksOf(pumps []dosing.Pump) []dosing.PumpID {
	var ids []dosing.PumpID
	for i := range pumps {
		if pumps[i].Role == dosing.RoleStock {
			ids = append(ids, dosing.PumpID(i))
		}
	}
	return ids
}
