package controller_test

import (
	"slices"
	"time"

	"leat/controller"
	"leat/dosing"
	"leat/safety"
	"leat/safety/ledger"
)

// A trace is what an onlooker wrote down of a night: what the core was told and put
// out, step by step, and the truth of the farm. The checkers below know nothing of
// the gate: they count again from the trace.
type trace struct {
	settings *controller.Settings
	steps    int
	durable  map[ledger.OrderID]int // step in which the intent was said to be on disk
	orders   []traceOrder
	settled  map[ledger.OrderID]traceEnd
	doubted  map[ledger.OrderID]bool
	latches  []traceLatch
	clears   []traceClear
	samples  []traceSample
	blends   []traceBlend
	counted  [][]dosing.Volume // by tank and pump, as the settlements say
	farm     [][]dosing.Volume // by tank and pump, as the nodes counted
	due      [][]float64       // by tank and pump, see traceBlend
	begun    []dosing.Volume   // by tank, of all stocks: given, open and owed
	shared   []dosing.Volume   // what of it stands in due
	starts   int               // orders that nodes began
	faulty   bool
}

type traceOrder struct {
	id       ledger.OrderID
	step     int
	at       time.Duration
	tank     dosing.TankID
	pump     dosing.PumpID
	volume   dosing.Volume
	before   controller.TankView // the second before its intent
	litres   float64             // that circulated
	topUp    bool                // within the last mixing time
	hourUsed dosing.Volume       // this dose included
	dayUsed  dosing.Volume
	shown    dosing.Volume // the rolling hour that the core showed after it
}

type traceEnd struct {
	step    int
	at      time.Duration
	outcome ledger.Outcome
	volume  dosing.Volume
}

type traceLatch struct {
	at    time.Duration
	tank  dosing.TankID
	scope safety.Scope
	pump  string
	cause safety.Cause
}

type traceClear struct {
	at   time.Duration
	tank dosing.TankID
}

// traceSample is one tank at one second.
type traceSample struct {
	at       time.Duration
	tank     dosing.TankID
	mode     safety.Mode
	holds    int
	wordless int // holds without text, cause or age
	settled  controller.SettledView
	pH, ec   float64 // setpoints in force
	truePH   float64
	trueEC   float64
	running  int // pump that runs; -1 = none
}

// traceBlend is what one stock of one tank has been given and is owed.
type traceBlend struct {
	at          time.Duration
	tank        dosing.TankID
	given, owed []dosing.Volume
	due         []float64 // what the blends begun so far had for it, each by the shares of its moment, µL
}

// observe writes a trace of a rig from now on.
func observe(r *rig, faulty bool) *trace {
	s := &r.file.Settings
	t := &trace{settings: s, durable: map[ledger.OrderID]int{}, settled: map[ledger.OrderID]traceEnd{}, doubted: map[ledger.OrderID]bool{}, faulty: faulty}
	for range s.Tanks {
		t.counted = append(t.counted, make([]dosing.Volume, len(s.Safety.Pumps)))
		t.farm = append(t.farm, make([]dosing.Volume, len(s.Safety.Pumps)))
		t.due = append(t.due, make([]float64, len(s.Safety.Pumps)))
		t.begun, t.shared = append(t.begun, 0), append(t.shared, 0)
	}
	o := &onlooker{trace: t, rig: r, books: make([][]booked, len(s.Safety.Pumps)), open: map[ledger.OrderID]controller.TankView{},
		owed: map[string][]dosing.Volume{}, standing: map[traceLatch]bool{}}
	r.Seen = o.step
	return t
}

// onlooker fills a trace.
type onlooker struct {
	*trace
	rig      *rig
	books    [][]booked // by pump
	open     map[ledger.OrderID]controller.TankView
	owed     map[string][]dosing.Volume
	standing map[traceLatch]bool
	last     *controller.View
	topUp    [2]time.Duration
}

type booked struct {
	id     ledger.OrderID
	tank   dosing.TankID
	at     time.Duration // from which on it ages; of an uncertain one the first doubt
	open   bool
	volume dosing.Volume
}

func (o *onlooker) step(now dosing.Instant, e *controller.Event, out *controller.Output) {
	o.steps++
	if intent, ok := e.Receipt.Intent(); ok && e.Kind == controller.EventDurable {
		o.durable[intent.Order()] = o.steps
	}
	if e.Kind == controller.EventRecorded && e.Change.Kind == ledger.ChangeClear {
		for i := range o.settings.Safety.Tanks {
			if o.settings.Safety.Tanks[i].Name == e.Change.Tank {
				o.clears = append(o.clears, traceClear{now.Up, dosing.TankID(i)})
			}
		}
	}
	for _, draft := range out.Append {
		o.draft(now, draft)
	}
	for _, order := range out.Orders {
		o.order(now, order)
	}
	for _, n := range out.Notices {
		if n.Kind == controller.NoticeDose && n.Active && n.Outcome == ledger.OutcomeUncertain {
			o.doubted[n.Order] = true
			for i := range o.books[n.Pump] {
				if b := &o.books[n.Pump][i]; b.id == n.Order {
					b.at = now.Up
				}
			}
		}
	}
	if e.Kind == controller.EventTick {
		o.second(now)
	}
}

func (o *onlooker) draft(now dosing.Instant, draft ledger.Draft) {
	switch d := draft.(type) {
	case ledger.Intent:
		p := d.Plan()
		o.begin(p.Tank, p.Pump, p.Volume)
		o.books[p.Pump] = append(o.books[p.Pump], booked{id: d.Order(), tank: p.Tank, at: now.Up, open: true, volume: p.Volume})
		if o.last != nil {
			o.open[d.Order()] = o.last.Tanks[p.Tank]
		}
	case ledger.Settlement:
		p := d.Plan()
		o.settled[d.Order()] = traceEnd{o.steps, now.Up, d.Outcome(), d.Volume()}
		o.counted[p.Tank][p.Pump] += d.Volume()
		o.begin(p.Tank, p.Pump, d.Volume()-p.Volume)
		for i := range o.books[p.Pump] {
			if b := &o.books[p.Pump][i]; b.id == d.Order() {
				b.open, b.volume = false, d.Volume()
				if d.Outcome() != ledger.OutcomeUncertain {
					b.at = now.Up
				}
			}
		}
	case ledger.Change:
		if d.Kind == ledger.ChangeOwed {
			if o.owed[d.Tank] == nil {
				o.owed[d.Tank] = make([]dosing.Volume, len(o.books))
			}
			for p := range o.settings.Safety.Pumps {
				if o.settings.Safety.Pumps[p].Name == d.Pump {
					for id := range o.settings.Safety.Tanks {
						if o.settings.Safety.Tanks[id].Name == d.Tank {
							o.begin(dosing.TankID(id), dosing.PumpID(p), d.Volume-o.owed[d.Tank][p])
						}
					}
					o.owed[d.Tank][p] = d.Volume
				}
			}
		}
	}
}

// begin notes that so much more of a stock was given, is open or is owed.
func (o *onlooker) begin(id dosing.TankID, pump dosing.PumpID, more dosing.Volume) {
	if o.settings.Safety.Pumps[pump].Role == dosing.RoleStock {
		o.begun[id] += more
	}
}

// share lays what was begun in this second to the stocks, by the shares that the
// view shows, or by hand where the tank has no recipe.
func (o *onlooker) share(id dosing.TankID) {
	more := float64(o.begun[id] - o.shared[id])
	o.shared[id] = o.begun[id]
	sum := 0.0
	shares := make([]float64, len(o.books))
	for p := range o.settings.Safety.Pumps {
		set := &o.settings.Safety.Pumps[p]
		if set.Role != dosing.RoleStock || !set.ServesTank(id) {
			continue
		}
		shares[p] = set.Share
		if ions := o.last.Tanks[id].Ions; ions != nil {
			shares[p] = 0
			for _, s := range ions.Shares {
				if s.Pump == set.Name {
					shares[p] = s.Share
				}
			}
		}
		sum += shares[p]
	}
	for p := range shares {
		o.due[id][p] += more * shares[p] / sum
	}
}

func (o *onlooker) used(pump dosing.PumpID, now, window time.Duration) (sum dosing.Volume) {
	for _, b := range o.books[pump] {
		if b.open || now-b.at < window {
			sum += b.volume
		}
	}
	return sum
}

func (o *onlooker) order(now dosing.Instant, order controller.Order) {
	plant := &o.settings.Safety.Tanks[order.Tank()]
	o.orders = append(o.orders, traceOrder{id: order.ID(), step: o.steps, at: now.Up, tank: order.Tank(), pump: order.Pump(), volume: order.Volume(),
		before: o.open[order.ID()], litres: o.rig.farm.Truth(order.Tank()).Litres, topUp: o.topUp[order.Tank()] > 0 && now.Up-o.topUp[order.Tank()] < plant.MixingTime()+time.Minute,
		hourUsed: o.used(order.Pump(), now.Up, time.Hour), dayUsed: o.used(order.Pump(), now.Up, 24*time.Hour), shown: o.rig.Core.View(now).Pumps[order.Pump()].Hour})
}

func (o *onlooker) second(now dosing.Instant) {
	o.last = o.rig.Core.View(now)
	running := -1
	if p, on := o.rig.farm.Running(); on {
		running = int(p)
	}
	for id := range o.last.Tanks {
		v, truth := &o.last.Tanks[id], o.rig.farm.Truth(dosing.TankID(id))
		if truth.TopUp {
			o.topUp[id] = now.Up
		}
		s := traceSample{at: now.Up, tank: dosing.TankID(id), mode: v.Mode, holds: len(v.Holds), settled: v.Settled, pH: v.PH.Working, ec: v.EC.Working,
			truePH: truth.PH, trueEC: truth.EC, running: running}
		standing := map[traceLatch]bool{}
		for i := range v.Holds {
			h := &v.Holds[i]
			if h.Text == "" || h.Clears == "" || h.Cause == safety.CauseNone || h.Since.Up > now.Up {
				s.wordless++
			}
			if h.Action != safety.Stop || h.Cause == safety.CauseOperatorStop {
				continue
			}
			l := traceLatch{tank: dosing.TankID(id), scope: h.Scope, pump: h.Pump, cause: h.Cause}
			standing[l] = true
			if !o.standing[l] {
				o.standing[l] = true
				l.at = now.Up
				o.latches = append(o.latches, l)
			}
		}
		for l := range o.standing {
			if l.tank == dosing.TankID(id) && !standing[l] {
				delete(o.standing, l)
			}
		}
		o.samples = append(o.samples, s)
		if o.begun[id] != o.shared[id] {
			o.share(dosing.TankID(id))
		}
		copy(o.farm[id], truth.Counted)
		if now.Up%(10*time.Minute) == 0 {
			b := traceBlend{at: now.Up, tank: dosing.TankID(id), given: slices.Clone(o.counted[id]), owed: make([]dosing.Volume, len(o.books)), due: slices.Clone(o.due[id])}
			copy(b.owed, o.owed[o.settings.Safety.Tanks[id].Name])
			for p := range o.books {
				for _, d := range o.books[p] {
					if d.open && d.tank == dosing.TankID(id) {
						b.given[p] += d.volume
					}
				}
			}
			o.blends = append(o.blends, b)
		}
	}
	o.starts = o.rig.farm.Starts()
}
