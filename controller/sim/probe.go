package sim

import (
	"math"
	"strconv"
	"time"

	"leat/dosing"
	"leat/dosing/chem"
	"leat/safety"
)

// Wire is how an input is sent: as a plain number on its topic.
type Wire struct {
	Topic string
	// Factor turns the quantity's own unit into the one that is sent: 1000 for
	// µS/cm, 1 for mS/cm. 0 counts as 1.
	Factor float64
	// Compensation is how a pH or EC probe compensates temperature itself. Not stated
	// is perfect: the true pH, and the EC that the water truly has at 25 °C.
	Compensation dosing.Compensation
	Raw          bool // EC as with MethodNone
	// PerKelvin is by how much of its value at 25 °C the raw EC of this cell rises per
	// kelvin; 0 = as the conductivity of the water does.
	PerKelvin float64
	// Wander is the sd of a slow error that comes and goes within about two hours, in the
	// quantity's own unit: what a reference electrode does beside its scatter.
	Wander float64
}

// wanders is the time in which a probe's slow error forgets where it was.
const wanders = 2 * time.Hour

// probe sends one input.
type probe struct {
	id     dosing.InputID
	set    *safety.Input
	wire   Wire
	random *stream
	adrift *stream // of its slow error
	astray float64 // that error now
	noise  float64 // sd
	step   float64 // resolution
	lag    float64 // seconds of the sensor itself
	// near is the share of the way to the truth that the sensor goes in a period, with
	// the lag nearAt.
	near, nearAt float64
	period       time.Duration
	due          time.Duration

	shown   float64 // after the sensor's lag
	started bool
	sent    float64 // last value sent, in the quantity's unit
	body    []byte  // the same as it was sent
	trouble probeTrouble

	inStandard bool
	standard   float64 // what it sends there if it is perfect
}

// WildSample is one sample that said what was not so.
type WildSample struct {
	Input dosing.InputID
	At    time.Duration // uptime
	Value float64
}

// Wild is every wild sample that was sent so far.
func (f *gauges) Wild() []WildSample { return f.wild }

// probeTrouble is what faults do to a probe; the zero value is none.
type probeTrouble struct {
	frozen   bool // sends its last value for ever
	silent   bool
	fixed    float64
	isFixed  bool
	factor   float64 // of the value, less 1
	offset   float64
	perHour  float64 // drift of the offset
	since    time.Duration
	lag      float64 // seconds, in place of its own
	noise    float64 // of its noise, less 1
	withPump float64 // added while a pump runs
	// perKelvin is by how much too much it rises with temperature, as a share per kelvin
	// from 25 °C.
	perKelvin float64
	text      string  // sent in place of a number
	isWild    bool    // the next sample is wild,
	wild      float64 // and reads this
}

// Sensors of the kinds that a farm has: how much they scatter, how finely they
// read and how slowly they follow, where the settings do not say.
var sensors = [dosing.QuantityCount]struct{ noise, step, lag float64 }{
	dosing.QuantityPH:          {0.01, 0.01, 8},
	dosing.QuantityEC:          {0.005, 0.01, 4},
	dosing.QuantityTemperature: {0.05, 0.1, 30},
	dosing.QuantityLevel:       {0.5, 1, 2},
	dosing.QuantityRedox:       {2, 1, 20},
	dosing.QuantityStockLevel:  {0.005, 0.01, 0},

	dosing.QuantityOxygen:          {0.05, 0.1, 40},
	dosing.QuantityZoneFlow:        {0.3, 0.1, 2},
	dosing.QuantityZoneLevel:       {0.5, 1, 2},
	dosing.QuantityFilterPressure:  {0.5, 1, 1},
	dosing.QuantityLineFlow:        {0.2, 0.1, 2},
	dosing.QuantityUVIntensity:     {0.2, 0.1, 1},
	dosing.QuantityLampHours:       {0, 1, 0},
	dosing.QuantityUVTransmittance: {0.5, 1, 5},
}

func (f *Farm) newProbe(id dosing.InputID, set *safety.Input, wire Wire) *probe {
	kind := sensors[set.Quantity]
	p := &probe{id: id, set: set, wire: wire, random: newStream(f.seed, "input "+set.Name), adrift: newStream(f.seed, "wander "+set.Name), lag: kind.lag, period: set.Period}
	if p.period <= 0 {
		p.period = 5 * time.Second
	}
	// Senders do not start together, but on whole seconds: the plant moves by those.
	seconds := uint64(max(p.period/time.Second, 1))
	p.due = time.Duration(1+p.random.uint64()%seconds) * time.Second
	p.noise, p.step = kind.noise, kind.step
	if set.Noise > 0 {
		p.noise = set.Noise
	}
	if set.Step > 0 {
		p.step = set.Step
	}
	if f.quiet || set.Quantity.Switch() {
		p.noise = 0
	}
	if p.wire.Factor == 0 {
		p.wire.Factor = 1
	}
	return p
}

// second follows the true value and sends when it is time. A switch is sent at
// once when it changes, too.
func (p *probe) second(f *gauges, out *network) {
	if f.now < p.due {
		sudden := p.set.Quantity.Switch() && p.started && f.truthOf(p) != p.shown
		if !sudden {
			return
		}
	} else {
		p.due += p.period
	}
	p.follow(f.truthOf(p))
	p.stray()
	if p.trouble.silent {
		return
	}
	if p.trouble.text != "" {
		out.publish(p.wire.Topic, 0, false, []byte(p.trouble.text))
		return
	}
	if !p.trouble.frozen {
		p.sent = p.read(f)
	}
	p.body = strconv.AppendFloat(p.body[:0], p.sent*p.wire.Factor, 'f', p.digits(), 64)
	out.publish(p.wire.Topic, 0, false, p.body)
}

// follow moves what the sensor shows toward the truth by its lag.
func (p *probe) follow(truth float64) {
	lag := p.lag
	if p.trouble.lag > 0 {
		lag = p.trouble.lag
	}
	if !p.started || lag <= 0 || p.set.Quantity.Switch() {
		p.shown, p.started = truth, true
		return
	}
	if lag != p.nearAt {
		p.nearAt, p.near = lag, 1-fading(p.period.Seconds()/lag)
	}
	p.shown += float64((truth - p.shown) * p.near)
}

// stray moves the slow error on by a period.
func (p *probe) stray() {
	if p.wire.Wander > 0 {
		share := p.period.Seconds() / wanders.Seconds()
		p.astray += float64(math.Sqrt(2*share)*p.wire.Wander*p.adrift.gauss()) - float64(share*p.astray)
	}
}

// read is the value as the sensor gives it now: with scatter, with what is wrong
// with it, in steps of its resolution.
func (p *probe) read(f *gauges) float64 {
	t := &p.trouble
	noise := p.noise * (1 + t.noise)
	if f.stillAt(p) {
		noise *= 0.2 // water that stands scatters less
	}
	v := float64(p.shown*(1+t.factor)) + p.astray + t.offset + float64(t.perHour*(f.now-t.since).Hours()) + float64(noise*p.random.gauss())
	if t.perKelvin != 0 && int(p.set.Tank) < len(f.tanks) {
		v *= 1 + float64(t.perKelvin*(f.tanks[p.set.Tank].celsius-25))
	}
	if t.withPump != 0 && f.pumping() {
		v += t.withPump
	}
	if t.isFixed {
		v = t.fixed + float64(noise*p.random.gauss())
	}
	if t.isWild {
		t.isWild, v = false, t.wild
		f.wild = append(f.wild, WildSample{Input: p.id, At: f.now, Value: v})
	}
	if p.step > 0 && !p.set.Quantity.Switch() {
		v = math.Round(v/p.step) * p.step
	}
	if p.set.Quantity != dosing.QuantityTemperature && p.set.Quantity != dosing.QuantityRedox {
		v = max(v, 0)
	}
	return v
}

// digits is how many places the resolution needs in the unit that is sent.
func (p *probe) digits() int {
	step := p.step * p.wire.Factor
	if p.set.Quantity.Switch() {
		return 0
	}
	places := 0
	for ; places < 6 && step > 0 && step < 0.999; places++ {
		step *= 10
	}
	return places
}

// truthOf is what the input would read if it were perfect.
func (f *gauges) truthOf(p *probe) float64 {
	if p.inStandard {
		return p.standard
	}
	if p.set.Quantity == dosing.QuantityStop {
		return truth01(f.stopPressed)
	}
	if p.set.Quantity == dosing.QuantityStockLevel {
		if int(p.set.Pump) < len(f.pumps) {
			return f.pumps[p.set.Pump].left.Litres()
		}
		return 0
	}
	if p.set.Quantity == dosing.QuantityLeak {
		return truth01(f.wet)
	}
	if p.set.Tank == dosing.AllTanks || int(p.set.Tank) >= len(f.tanks) {
		return f.ofStation(p)
	}
	return f.tanks[p.set.Tank].truthOf(p, f)
}

// ofStation is a switch that stands for all tanks: it is on when one is, and the
// circulation when all are.
func (f *gauges) ofStation(p *probe) float64 {
	all, some := 1.0, 0.0
	for _, t := range f.tanks {
		v := t.truthOf(p, f)
		all, some = min(all, v), max(some, v)
	}
	if p.set.Quantity == dosing.QuantityCirculation || p.set.Quantity == dosing.QuantitySampleFlow {
		return all
	}
	return some
}

func (t *tank) truthOf(p *probe, f *gauges) float64 {
	// A probe in water that no longer moves goes on seeing that water.
	held := p.started && (t.speed+t.trouble.speed <= 0 || t.trouble.heldCell)
	if seen := t.state.Seen; seen != nil {
		factor, ok := chem.ISO7888(t.celsius)
		if !ok {
			factor = 1
		}
		switch p.set.Quantity {
		case dosing.QuantityPH:
			return p.wire.sendsPH(seen.PH, t.celsius)
		case dosing.QuantityEC:
			return p.wire.sendsEC(seen.EC25/factor, seen.EC25, t.celsius)
		}
	}
	if p.set.Quantity.Watched() {
		return watched(t, p.set, f.now)
	}
	switch p.set.Quantity {
	case dosing.QuantityPH:
		if held {
			return p.shown
		}
		return p.wire.sendsPH(t.now.PH, t.celsius)
	case dosing.QuantityEC:
		if held {
			return p.shown
		}
		return p.wire.sendsEC(t.now.EC, t.now.EC25, t.celsius)
	case dosing.QuantityTemperature:
		return t.celsius
	case dosing.QuantityLevel:
		return t.litres()
	case dosing.QuantityRedox:
		return 330 + t.trouble.redoxShift
	case dosing.QuantityCirculation:
		return truth01(t.speed+t.trouble.speed > 0.2)
	case dosing.QuantityFlood:
		return truth01(t.floodTold())
	case dosing.QuantityLight:
		return truth01(t.light)
	case dosing.QuantityTopUp:
		return truth01(t.topUp)
	case dosing.QuantitySampleFlow:
		return truth01(t.speed+t.trouble.speed > 0.2 && !t.trouble.heldCell)
	case dosing.QuantityOutlet:
		return truth01(f.outletOpen(t))
	}
	return 0
}

// stillAt says whether the probe stands in water that does not move.
func (f *gauges) stillAt(p *probe) bool {
	if p.set.Quantity != dosing.QuantityPH && p.set.Quantity != dosing.QuantityEC || int(p.set.Tank) >= len(f.tanks) {
		return false
	}
	t := f.tanks[p.set.Tank]
	return t.speed+t.trouble.speed <= 0
}

// sendsPH is what an electrode makes of a pH: one that is not told the temperature
// takes its voltage for that of an electrode at 25 °C.
func (w *Wire) sendsPH(ph, celsius float64) float64 {
	if w.Compensation.Method == dosing.MethodNone {
		return 7 + float64((ph-7)*chem.NernstSlope(celsius)/chem.NernstSlope(25))
	}
	return ph
}

// sendsEC is what a cell makes of a conductivity here and at 25 °C.
func (w *Wire) sendsEC(here, at25, celsius float64) float64 {
	if w.PerKelvin > 0 {
		here = at25 * (1 + float64(w.PerKelvin*(celsius-25)))
	}
	switch w.Compensation.Method {
	case dosing.MethodNone:
		return here
	case dosing.MethodLinear:
		return here / (1 + float64(w.Compensation.PerKelvin*(celsius-25)))
	case dosing.MethodISO7888:
		if factor, ok := chem.ISO7888(celsius); ok {
			return here * factor
		}
	}
	if w.Raw {
		return here
	}
	return at25
}

func truth01(on bool) float64 {
	if on {
		return 1
	}
	return 0
}
