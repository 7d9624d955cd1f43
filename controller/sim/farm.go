package sim

import (
	"fmt"
	"math"
	"time"

	"leat/controller"
	"leat/controller/payload"
	"leat/dosing"
	"leat/dosing/chem"
	"leat/safety"
)

// Send carries one message of the farm to the broker. The body holds until the call
// returns: who keeps it copies it.
type Send func(topic string, qos byte, retained bool, body []byte)

// Options is how a farm starts. The zero value is a farm at its setpoints with
// seed 0.
type Options struct {
	Seed         uint64
	StartPH      float64 // 0 = the setpoint
	StartECShare float64 // of the setpoint; 0 = 1
	Starts       []Start // by tank, in place of the two above
	StartHour    float64 // hour of the day at the start; 0 = 18, an evening; 24 = midnight
	PumpError    float64 // largest, as a share of the rate; 0 = 0.03, negative = none
	Quiet        bool    // no scatter, no plants, no floods, no air: only what is dosed
	Plants       []Plant // by tank, in place of drawn ones
	// Pace multiplies what plants take and evaporate; 0 = 1.
	Pace float64
	// Rest is how long the water stays as it starts: no plants, air or floods. A
	// daemon can come up and look meanwhile.
	Rest time.Duration
	// Liquids are what the containers truly hold, by pump, in mmol per L, in place of
	// what the settings say.
	Liquids []chem.Totals
	// DeadPumps lets every pump turn and move nothing.
	DeadPumps bool
	// Sensed says that nodes sense the current of their pumps, and call themselves busy while one draws any.
	Sensed bool
	// Water is computed elsewhere, for the first tank; nil = here.
	Water Water

	Fault    string        // see Faults; empty = none
	FaultAt  time.Duration // after the start
	FaultFor time.Duration // 0 = to the end
}

// Farm is one station with its tanks. It is not for concurrent use.
type Farm struct {
	*site
	network
	gauges
	deeds

	nextSecond time.Duration
	rest       time.Duration
	injections []*injection
}

// site is what stands on the farm and how it stands now. Every part sees it.
type site struct {
	settings *controller.Settings
	seed     uint64
	quiet    bool
	hour     float64
	now      time.Duration

	tanks  []*tank
	pumps  []*pump
	nodes  []*node
	probes []*probe
	routes routes

	zoneNodes []*zoneNode

	open        dosing.TankID // into which the last order went
	supplyCut   bool
	stopPressed bool
	wet         bool // the drip tray
	sensed      bool // nodes sense the current of their pumps
	starts      int  // orders that nodes began

	chance *stream // of the faults
	wild   []WildSample
	ran    func(Run)
}

const (
	forever     = time.Duration(math.MaxInt64)
	second      = time.Second
	fullUnknown = 20 * dosing.Litre // a container whose size is not stated
)

// New makes the farm of these settings. Wires say, for each input, how it is sent;
// inputs that are not fitted have an empty topic.
func New(settings *controller.Settings, topics *payload.Topics, wires []Wire, o Options) (*Farm, error) {
	if len(wires) != len(settings.Inputs()) {
		return nil, fmt.Errorf("simulated farm: %d wires for %d inputs; give one each", len(wires), len(settings.Inputs()))
	}
	st := &site{settings: settings, seed: o.Seed, quiet: o.Quiet, sensed: o.Sensed, hour: o.StartHour, chance: newStream(o.Seed, "faults")}
	f := &Farm{site: st, network: network{site: st}, gauges: gauges{site: st}, rest: o.Rest, nextSecond: second}
	f.deeds = deeds{st, &f.network}
	if f.hour == 0 {
		f.hour = 18
	}
	f.routes = routesOf(settings, topics)
	f.addPumps(o)
	f.addNodes()
	if err := f.addTanks(o); err != nil {
		return nil, err
	}
	if o.Water != nil {
		t := f.tanks[0]
		t.water, t.told = o.Water, make([]dosing.Volume, len(f.pumps))
		if f.outside(t, 0); f.err != nil {
			return nil, f.err
		}
	}
	f.addZoneNodes(topics)
	for i := range settings.Inputs() {
		set := &settings.Inputs()[i]
		if set.NotFitted == "" && wires[i].Topic != "" {
			f.probes = append(f.probes, f.newProbe(dosing.InputID(i), set, wires[i]))
		}
	}
	if o.Fault != "" {
		if err := f.Inject(Injection{Fault: o.Fault, At: o.FaultAt, For: o.FaultFor}); err != nil {
			return nil, err
		}
	}
	return f, nil
}

func (f *Farm) addPumps(o Options) {
	largest := o.PumpError
	if largest == 0 {
		largest = 0.03
	}
	if o.Quiet {
		largest = 0
	}
	for i := range f.settings.Pumps() {
		set := &f.settings.Pumps()[i]
		p := &pump{id: dosing.PumpID(i), set: set, random: newStream(o.Seed, "pump "+set.Name), liquid: liquidOf(set), left: set.Container}
		if i < len(o.Liquids) {
			p.liquid = o.Liquids[i]
		}
		p.belongs = p.liquid
		p.trouble.dead = o.DeadPumps
		if p.left <= 0 {
			p.left = fullUnknown
		}
		off := p.random.uniform(-1, 1)
		if largest < 0 {
			off = 0
		}
		p.rate = float64(set.PerSecond) / 1000 * (1 + float64(max(largest, 0)*off))
		f.pumps = append(f.pumps, p)
	}
}

// addNodes gives each node limits of its own: on-time as configured plus what the
// rounding of a run time may add, and by the hour a little more than the cap, so
// that a node is never what holds an honest dose back.
func (f *Farm) addNodes() {
	s := &f.settings.Safety
	for i := range s.Nodes {
		n := &node{id: safety.NodeID(i), name: s.Nodes[i].Name, full: s.Nodes[i].FullContract,
			random: newStream(f.seed, "node "+s.Nodes[i].Name), pumps: map[dosing.PumpID]ownLimit{}}
		n.start(0, 0)
		f.nodes = append(f.nodes, n)
	}
	for p, id := range s.PumpNode {
		if int(id) >= len(f.nodes) {
			continue
		}
		own := ownLimit{onTime: time.Minute, hourly: time.Hour}
		if p < len(s.Caps) {
			if t := s.Caps[p].OnTime; t > 0 {
				own.onTime = t + 100*time.Millisecond
			}
			if v := s.Caps[p].PerHour; v > 0 {
				own.hourly = (v + v/4).RunTime(s.Pumps[p].PerSecond)
			}
		}
		f.nodes[id].pumps[dosing.PumpID(p)] = own
	}
}

// Connected opens or closes the farm's link to the broker, which starts closed. While it is closed
// nothing is sent or received, and nothing is kept for later but the last report
// of each node, which goes out again when the link opens.
func (f *Farm) Connected(up bool) {
	if f.link.up == up {
		return
	}
	f.link.up = up
	f.link.in, f.link.out = nil, nil
	if !up {
		return
	}
	for _, n := range f.nodes {
		n.announce = true
	}
}

// Receive takes a message for the farm: an order, a lease, a stop or a cut.
// It may be called from within a Send: a daemon on the same thread answers at once.
func (f *Farm) Receive(topic string, body []byte, send Send) {
	outer := f.send
	f.send = send
	f.link.arrive(&f.network, topic, body)
	f.send = outer
}

// Advance runs the farm up to this uptime and sends what falls due, in order.
func (f *Farm) Advance(to time.Duration, send Send) {
	f.send = send
	for f.now < to {
		next := min(to, f.nextSecond, f.link.deadline())
		for _, n := range f.nodes {
			next = min(next, n.deadline(f.now))
		}
		next = max(next, f.now) // a shorter delay may have made a message overdue
		f.run(next - f.now)
		f.now = next
		f.link.release(&f.network)
		for _, n := range f.nodes {
			n.advance(&f.network)
		}
		if f.now == f.nextSecond {
			f.nextSecond += second
			f.everySecond()
		}
	}
	f.send = nil
}

// run lets the pumps run for d, in which nothing else changes.
func (f *Farm) run(d time.Duration) {
	if d <= 0 || f.supplyCut || f.stopPressed {
		return
	}
	for _, n := range f.nodes {
		if r := n.running; r != nil && n.up(f.now) && !f.pumps[r.pump].trouble.stuckOn {
			f.pumps[r.pump].run(d, r.shot, f.tanks[r.tank])
		}
	}
	for _, p := range f.pumps {
		if p.trouble.stuckOn {
			p.run(d, 1, f.tanks[f.open])
		}
	}
}

func (f *Farm) everySecond() {
	f.faultsSecond()
	if f.now > f.rest {
		for _, n := range f.zoneNodes {
			n.second(&f.network)
		}
	}
	for _, p := range f.pumps {
		p.drift(f.tanks[f.open])
	}
	five := f.now%exchangeEvery == 0
	for _, t := range f.tanks {
		if f.now <= f.rest {
			continue
		}
		if t.water != nil {
			if five {
				f.outside(t, exchangeEvery.Seconds())
			}
			continue
		}
		t.second(f.now)
		if five {
			f.fiveSeconds(t)
		}
		f.secondOfTwin(t, five)
	}
	if five {
		f.fold()
	}
	for _, p := range f.probes {
		p.second(&f.gauges, &f.network)
	}
	f.beat()
}

func (f *Farm) fiveSeconds(t *tank) {
	hour := math.Mod(f.hour+f.now.Hours(), 24)
	light := hour >= t.plant.LightFrom && hour < t.plant.LightUntil
	t.trouble.warmth += float64(t.trouble.heating * exchangeEvery.Hours())
	t.celsius = t.celsiusAt(hour)
	t.light = light
	aerate(t)
	if f.now%(10*time.Minute) == 0 {
		t.meetAir(f.now)
	}
	t.exchange(f.now, light)
	t.solve(f.now)
}

// celsiusAt is the temperature at an hour of the day: warmest at 15:00.
func (t *tank) celsiusAt(hour float64) float64 {
	return t.plant.Celsius + float64(t.plant.CelsiusSwing*swing((hour+15)/24)) + t.trouble.warmth
}

func (f *site) pumping() bool {
	for _, n := range f.nodes {
		if n.running != nil {
			return true
		}
	}
	return false
}
