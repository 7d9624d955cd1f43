package campaign

import (
	"math"
	"strconv"
	"time"

	"leat/controller/sim"
	"leat/dosing"
	"leat/dosing/chem"
)

// Dead bands of the shipped law, which perfect-knowledge keeps too.
const (
	deadPH = 0.02
	deadEC = 0.01 // mS/cm
)

// trial plays a night under a law that is only a rule: no daemon, no gate and no
// caps, but the same pumps, smallest doses and holds (one pump at a time, what must
// not meet apart by the plume time, floods and their wait).
type trial struct {
	scene  *Scene
	farm   *sim.Farm
	tank   *dosing.Tank
	pumps  []dosing.Pump
	target dosing.Target
	curve  *chem.Curve

	now     time.Duration
	ph, ec  float64 // last readings
	celsius float64
	thermal *dosing.Thermal
	owed    [drawnPumps]dosing.Volume
	last    [dosing.GroupCount]time.Duration
	ever    [dosing.GroupCount]bool
	running dosing.PumpID
	busy    bool
	flooded time.Duration
	flood   bool
	score   Score
}

// rule says what to dose now; it is asked every ten seconds while no pump runs.
type rule interface {
	decide(t *trial)
}

// play runs a drawn night under a rule; a nil rule doses nothing.
func (s *Scene) play(r rule) (Score, error) {
	o := s.Options
	farm, err := sim.New(s.Settings, s.Topics, s.Wires, o)
	if err != nil {
		return Score{}, err
	}
	g := &s.Settings.Safety
	curve, err := chem.NewCurve(g.Tanks[0].Expected(), referenceTemp)
	if err != nil {
		return Score{}, err
	}
	thermal, err := dosing.NewThermal(g.Tanks[0].Expected())
	if err != nil {
		return Score{}, err
	}
	t := &trial{thermal: thermal, celsius: 22, scene: s, farm: farm, tank: &g.Tanks[0].Tank, pumps: g.Pumps, curve: curve,
		target: dosing.Target{PH: dosing.PH(s.Settings.Tanks[0].PH.Value), EC: dosing.Conductivity(s.Settings.Tanks[0].EC.Value)}}
	farm.Connected(true)
	farm.Advance(o.Rest, t.hear)
	follow := newScorer(s.Hours)
	ph, ec := farm.Bulk(0)
	follow.sample(0, ph, ec, t.target)
	for t.now < s.Hours {
		if r != nil {
			t.step(r)
		}
		t.now += sampleEvery
		farm.Advance(o.Rest+t.now, t.hear)
		ph, ec := farm.Bulk(0)
		follow.sample(t.now, ph, ec, t.target)
	}
	t.score.PH, t.score.EC = follow.ph.end(), follow.ec.end()
	t.score.Acid, t.score.Base, t.score.Unsolved = given(farm, g.Pumps, 0)
	return t.score, nil
}

// given is what truly entered a tank, meq of acid and of base.
func given(farm *sim.Farm, pumps []dosing.Pump, id dosing.TankID) (acid, base float64, unsolved int) {
	truth := farm.Truth(id)
	for i, v := range truth.Delivered {
		switch meq := v.Millilitres() * math.Abs(pumps[i].AcidPerML); pumps[i].Role {
		case dosing.RoleAcid:
			acid += meq
		case dosing.RoleBase:
			base += meq
		}
	}
	return acid, base, truth.Unsolved
}

// hear takes the readings that a rule uses, EC as a meter shows it: at 25 °C.
func (t *trial) hear(topic string, _ byte, _ bool, body []byte) {
	for i := range t.scene.Feeds {
		f := &t.scene.Feeds[i]
		if f.Topic != topic || f.Quantity > dosing.QuantityTemperature {
			continue
		}
		v, err := strconv.ParseFloat(string(body), 64)
		if err != nil {
			return
		}
		switch f.Quantity {
		case dosing.QuantityPH:
			t.ph = v
		case dosing.QuantityEC:
			if ec, ok := t.thermal.EC(f.Compensation, v, t.celsius); ok {
				t.ec = ec
			}
		case dosing.QuantityTemperature:
			t.celsius = v
		}
		return
	}
}

// step is one decision: holds first, then the rule, then what is owed.
func (t *trial) step(r rule) {
	if t.busy && !t.farm.Pumping() {
		t.busy = false
		group := t.pumps[t.running].Group
		t.last[group], t.ever[group] = t.now, true
	}
	if t.farm.Flooded(0) {
		t.flood, t.flooded = true, t.now
		return
	}
	if t.busy || t.flood && t.now-t.flooded < t.tank.DeadTime+t.tank.TimeConstant || !t.farm.Circulating(0) {
		return
	}
	r.decide(t)
	for p := range t.owed {
		if t.owed[p] > 0 && t.mayMeet(dosing.PumpID(p)) {
			if t.farm.Dose(dosing.PumpID(p), 0, t.owed[p]) {
				t.busy, t.running, t.owed[p] = true, dosing.PumpID(p), 0
				t.score.Doses++
			}
			return
		}
	}
}

func (t *trial) mayMeet(p dosing.PumpID) bool {
	for g := dosing.GroupNeutral; g < dosing.GroupCount; g++ {
		if t.ever[g] && !t.pumps[p].Group.MayMeet(g) && t.now-t.last[g] < t.tank.PlumeTime() {
			return false
		}
	}
	return true
}

// stocksOwed says whether a blend is not finished yet.
func (t *trial) stocksOwed() bool { return t.owed[calciumPump] > 0 || t.owed[sulfatePump] > 0 }

// commissioned is the buffer capacity as the daemon is told, meq/L per pH.
func (t *trial) commissioned() float64 {
	return t.curve.Buffer(float64(t.target.PH)) * t.tank.BufferScale
}

// oweReagent owes an amount of acid, or base where negative, in meq/L; rates is
// what the pump is known to deliver, as a share of its commissioned rate.
func (t *trial) oweReagent(amount float64, rate func(dosing.PumpID) float64) {
	p := acidPump
	if amount < 0 {
		p = basePump
	}
	t.owed[acidPump], t.owed[basePump] = 0, 0
	ml := math.Abs(amount) * float64(t.tank.Volume) / math.Abs(t.pumps[p].AcidPerML) / rate(p)
	t.owed[p] = max(t.pumps[p].MinDose, dosing.FromMillilitres(ml))
}

// oweBlend owes a whole blend worth so many mS/cm.
func (t *trial) oweBlend(worth float64, rate func(dosing.PumpID) float64) {
	ml := worth * float64(t.tank.Volume) / t.blendEC()
	for _, p := range []dosing.PumpID{calciumPump, sulfatePump} {
		t.owed[p] = max(t.pumps[p].MinDose, dosing.FromMillilitres(ml*t.pumps[p].Share/rate(p)))
	}
}

// blendEC is mS/cm of 1 mL of blend in 1 L.
func (t *trial) blendEC() float64 {
	return t.pumps[calciumPump].Share*t.pumps[calciumPump].ECPerML + t.pumps[sulfatePump].Share*t.pumps[sulfatePump].ECPerML
}

// smallestBlend is mS/cm of the smallest blend of which each stock can give its part.
func (t *trial) smallestBlend() float64 {
	least := math.Inf(1)
	for _, p := range []dosing.PumpID{calciumPump, sulfatePump} {
		least = min(least, t.pumps[p].MinDose.Millilitres()/t.pumps[p].Share)
	}
	return least * t.blendEC() / float64(t.tank.Volume)
}

func asStated(dosing.PumpID) float64 { return 1 }

// timer is the common practice: every 5 min, if the last reading is more than 0.1
// pH off, one dose worth 0.10 pH at the commissioned buffer capacity; if EC is more
// than 0.05 low, 0.05 mS/cm.
type timer struct{ next time.Duration }

func (r *timer) decide(t *trial) {
	if t.now < r.next {
		return
	}
	r.next = t.now + 5*time.Minute
	if off := t.ph - float64(t.target.PH); math.Abs(off) > 0.1 {
		t.oweReagent(math.Copysign(0.10*t.commissioned(), off), asStated)
	}
	if float64(t.target.EC)-t.ec > 0.05 && !t.stocksOwed() {
		t.oweBlend(0.05, asStated)
	}
}

// waitAndLook doses the whole error at the commissioned buffer capacity from 0.05 pH
// (0.025 mS/cm: half the start band too) on, waits one mixing time after the dose,
// looks again.
type waitAndLook struct{}

func (waitAndLook) decide(t *trial) {
	if off := t.ph - float64(t.target.PH); math.Abs(off) > 0.05 && t.mixed(acidPump, basePump) {
		t.oweReagent(off*t.commissioned(), asStated)
	}
	if low := float64(t.target.EC) - t.ec; low > 0.025 && t.mixed(calciumPump, sulfatePump) {
		t.oweBlend(low, asStated)
	}
}

// mixed says that nothing of these pumps is owed and that the last of it was given
// one mixing time ago.
func (t *trial) mixed(pumps ...dosing.PumpID) bool {
	for _, p := range pumps {
		g := t.pumps[p].Group
		if t.owed[p] > 0 || t.ever[g] && t.now-t.last[g] < t.tank.MixingTime() {
			return false
		}
	}
	return true
}

// perfectKnowledge doses, every ten seconds, the whole need at the true state: with all
// that is on its way, top-up that has entered, drift over θ + τ and the pumps' true
// rates. The same dead band, no caps, no future.
type perfectKnowledge struct{}

func (perfectKnowledge) decide(t *trial) {
	acid, ec, ok := t.farm.Need(0, float64(t.target.PH), float64(t.target.EC), t.tank.DeadTime+t.tank.TimeConstant)
	if !ok {
		return
	}
	p := acidPump
	if acid < 0 {
		p = basePump
	}
	q := &t.pumps[p]
	least := q.MinDose.Millilitres() * math.Abs(q.AcidPerML) / float64(t.tank.Volume)
	t.owed[acidPump], t.owed[basePump] = 0, 0
	if math.Abs(acid) > deadPH*t.farm.Buffer(0)+least/2 {
		t.oweReagent(acid, t.farm.Rate)
	}
	// The acid's anion is salt too.
	ec -= math.Abs(acid) / math.Abs(q.AcidPerML) * q.ECPerML
	if ec > deadEC+t.smallestBlend()/2 && !t.stocksOwed() {
		t.oweBlend(ec, t.farm.Rate)
	}
}
