package sim

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"leat/dosing"
)

// Fault is one thing that can go wrong, in the words of a grower.
type Fault struct {
	Name string
	Text string
	Row  int // of the table of faults that leat rehearse -rules prints; 0 = none of them
	// Outside says that the farm cannot do it: whoever runs the broker or the daemon
	// does.
	Outside bool

	stays  bool // until somebody repairs it, though a person can end it
	begin  func(f *Farm, i *injection)
	second func(f *Farm, i *injection) // while it lasts; may be nil
	end    func(f *Farm, i *injection) // nil: it does not end by itself
}

// Stays says that it does not pass by itself: what is worn, blocked, broken or wrongly filled is so
// in the morning, too.
func (f *Fault) Stays() bool { return f.end == nil || f.stays }

// Mends says whether the fault of a name can be ended at all.
func Mends(name string) bool {
	return slices.ContainsFunc(faults, func(f Fault) bool { return f.Name == name && f.end != nil })
}

// Injection is a fault at a time and a place.
type Injection struct {
	Fault string
	At    time.Duration // uptime
	For   time.Duration // 0 = to the end
	Tank  dosing.TankID
	// Pump, for faults of a pump; nil = the first of the kind the fault is about.
	Pump *dosing.PumpID
}

type injection struct {
	Injection
	fault  *Fault
	begun  bool
	ended  bool
	pump   *pump
	tank   *tank
	node   *node
	due    time.Duration
	count  int
	amount float64
}

// Faults is what can be injected.
func Faults() []Fault { return append([]Fault(nil), faults...) }

// Inject plans a fault.
func (f *Farm) Inject(in Injection) error {
	for i := range faults {
		if faults[i].Name != in.Fault {
			continue
		}
		if int(in.Tank) >= len(f.tanks) {
			return fmt.Errorf("fault %s: no tank %d; the station has %d", in.Fault, in.Tank, len(f.tanks))
		}
		planned := &injection{Injection: in, fault: &faults[i], tank: f.tanks[in.Tank]}
		if in.Pump != nil {
			if int(*in.Pump) >= len(f.pumps) {
				return fmt.Errorf("fault %s: no pump %d; the station has %d", in.Fault, *in.Pump, len(f.pumps))
			}
			planned.pump = f.pumps[*in.Pump]
		}
		f.injections = append(f.injections, planned)
		return nil
	}
	names := make([]string, len(faults))
	for i := range faults {
		names[i] = faults[i].Name
	}
	return fmt.Errorf("no fault %q; there are: %s", in.Fault, strings.Join(names, ", "))
}

// faultsSecond begins, carries on and ends what is planned.
func (f *Farm) faultsSecond() {
	for _, i := range f.injections {
		if !i.begun && f.now >= i.At {
			i.begun = true
			f.divide()
			if i.fault.begin != nil {
				i.fault.begin(f, i)
			}
		}
		if !i.begun || i.ended {
			continue
		}
		if i.fault.second != nil {
			i.fault.second(f, i)
		}
		if i.For > 0 && f.now >= i.At+i.For {
			i.ended = true
			if i.fault.end != nil {
				i.fault.end(f, i)
			}
		}
	}
}

// deeds are what people and misfortune do at the farm.
type deeds struct {
	*site
	network *network
}

// pumpOf is the pump the fault is about: the one named, or the first of the role
// that serves the tank; nil if there is none, and then nothing goes wrong.
func (f *deeds) pumpOf(i *injection, role dosing.Role) *pump {
	if i.pump != nil {
		return i.pump
	}
	for _, p := range f.pumps {
		if p.set.Role == role && p.set.ServesTank(i.tank.id) {
			i.pump = p
			return p
		}
	}
	return nil
}

// nodeOf is the node of the fault's pump, or the first one.
func (f *deeds) nodeOf(i *injection) *node {
	if i.node == nil && len(f.nodes) > 0 {
		i.node = f.nodes[0]
		if p := f.pumpOf(i, dosing.RoleAcid); p != nil && int(p.id) < len(f.routes.pumpNodes) {
			i.node = f.nodes[f.routes.pumpNodes[p.id]]
		}
	}
	return i.node
}

// eachProbe visits the probes of this quantity that belong to the fault's tank.
func (f *deeds) eachProbe(i *injection, q dosing.Quantity, visit func(p *probe)) {
	for _, p := range f.probes {
		if p.set.Quantity == q && (p.set.Tank == i.tank.id || p.set.Tank == dosing.AllTanks) {
			visit(p)
		}
	}
}

// Reboot cuts a node's power for a moment: its pumps stop at once, and it comes
// back with another boot id and a fresh tick.
func (f *deeds) Reboot(n int) {
	if n >= 0 && n < len(f.nodes) {
		if r := f.nodes[n].running; r != nil {
			f.tell(r, true)
		}
		f.nodes[n].start(f.now, bootTakes)
		f.nodes[n].announce = true
	}
}

// LimitRun sets the longest run that a pump's node allows.
func (f *deeds) LimitRun(p dosing.PumpID, longest time.Duration) {
	n := f.nodes[f.routes.pumpNodes[p]]
	own := n.pumps[p]
	own.onTime = longest
	n.pumps[p] = own
}

// PressStop presses or releases the hard-wired stop: no pump has power meanwhile.
func (f *deeds) PressStop(pressed bool) {
	f.stopPressed = pressed
	if pressed {
		f.network.haltForSupply()
	}
}

// Flood starts the tank's next flood now.
func (f *deeds) Flood(id dosing.TankID) {
	t := f.tanks[id]
	for i := range t.zones {
		if t.zones[i].floods() && t.zones[i].state == zoneIdle {
			t.zones[i].next = f.now + 1
			return
		}
	}
}

// AddByHand pours a volume of a pump's liquid into a tank, past every pump.
func (f *deeds) AddByHand(id dosing.TankID, p dosing.PumpID, volume dosing.Volume) {
	poured := water(f.pumps[p].liquid, volume.Litres())
	for _, t := range f.tanks[id].waters() {
		t.book.added.add(poured)
		t.entered.add(poured)
	}
}

// Drain takes a share of a tank's water out.
func (f *deeds) Drain(id dosing.TankID, share float64) {
	for _, t := range f.tanks[id].waters() {
		t.drain(min(share*t.litres(), 0.9*t.bulk.litres))
	}
}

// Replace drains a share of a tank and fills it up with its source water.
func (f *deeds) Replace(id dosing.TankID, share float64) {
	for _, t := range f.tanks[id].waters() {
		litres := min(share*t.litres(), 0.9*t.bulk.litres)
		t.drain(litres)
		fresh := water(t.topUpWater(), litres)
		t.book.toppedUp.add(fresh)
		t.bulk.add(fresh)
	}
}

// IntoStandard takes a probe out of its tank and puts it into a standard at 25 °C.
func (f *deeds) IntoStandard(id dosing.InputID, value float64) {
	for _, p := range f.probes {
		if p.id == id {
			p.inStandard = true
			if p.standard = p.wire.sendsPH(value, 25); p.set.Quantity == dosing.QuantityEC {
				p.standard = p.wire.sendsEC(value, value, 25)
			}
		}
	}
}

// IntoTank puts a probe back.
func (f *deeds) IntoTank(id dosing.InputID) {
	for _, p := range f.probes {
		p.inStandard = p.inStandard && p.id != id
	}
}

// Refill fills a container with what belongs in it.
func (f *deeds) Refill(id dosing.PumpID) {
	p := f.pumps[id]
	p.liquid = p.belongs
	p.left = p.set.Container
	if p.left <= 0 {
		p.left = fullUnknown
	}
}
