package campaign

import (
	"fmt"
	"math"
	"time"

	"leat/dosing"
	"leat/safety"
	"leat/safety/ledger"
)

// Violation is an invariant that did not hold, and when.
type Violation struct {
	Invariant int           `json:"invariant"`
	Seed      uint64        `json:"seed"`
	Night     int           `json:"night"`
	At        time.Duration `json:"at_ns"` // since the start of the night
	Text      string        `json:"text"`
}

func (v Violation) String() string {
	return fmt.Sprintf("invariant %d, seed %d, night %d, at %v: %s", v.Invariant, v.Seed, v.Night, v.At, v.Text)
}

// invariant is one rule of the design with its checker. A checker computes from the
// settings and the trace alone, not from what the gate computed, but for the gate's
// buffer floor, which the rules refer to.
type invariant struct {
	number int
	name   string
	check  func(t *trail)
}

// The invariants that are checked on every night. Number 30, that the same seed is
// the same night, is checked by playing one night in a hundred twice.
var invariants = []invariant{
	{2, "intent first", (*trail).intentFirst},
	{3, "ledger covers truth", (*trail).covers},
	{4, "dose cap", (*trail).doseCap},
	{5, "in-transit cap", (*trail).transitCap},
	{6, "rolling caps", (*trail).rollingCaps},
	{7, "fresh", (*trail).fresh},
	{8, "no dose while inhibited", (*trail).inhibited},
	{9, "direction", (*trail).direction},
	{10, "no fighting", (*trail).fighting},
	{14, "setpoint safe", (*trail).setpoint},
	{17, "fault-free envelope", (*trail).envelope},
	{20, "uncertain counted", (*trail).uncertain},
	{24, "in-transit never forgiven", (*trail).forgiven},
	{26, "no order while the link is closed", (*trail).linked},
	{28, "liveness", (*trail).liveness},
	{31, "never into the unknown", (*trail).unknown},
	{32, "whole blends", (*trail).wholeBlends},
	{33, "scope", (*trail).scope},
	{35, "one outlet", (*trail).oneOutlet},
	{36, "less beats more", (*trail).lessBeatsMore},
	{37, "live equals replayed", (*trail).replayed},
	{38, "a word doses nothing", (*trail).wordless},
	{40, "unseen reagent is bounded", (*trail).unseen},
	{41, "one sample latches nothing", (*trail).oneSample},
	{42, "reports never lower the count", (*trail).neverLowered},
}

// Checked lists the numbers of the invariants that are checked.
func Checked() []int {
	var all []int
	for _, i := range invariants {
		all = append(all, i.number)
		if i.number == 28 {
			all = append(all, 30)
		}
	}
	return all
}

// Check judges a trace by every invariant.
func Check(t *Trace) []Violation {
	w := newTrail(t)
	for _, i := range invariants {
		w.invariant = i.number
		i.check(w)
	}
	return w.found
}

// trail is a trace with what several checkers need of it.
type trail struct {
	*Trace
	invariant int
	found     []Violation
	doses     []tracked // in order of their orders
}

// tracked is a dose from its order to the end of its doubt.
type tracked struct {
	order  *Ordered
	pump   *dosing.Pump
	closed bool
	end    time.Duration
	mixing time.Duration // when its release law begins: an uncertain dose was given by the first doubt, or never will be
	volume dosing.Volume // what counts once closed
	raises []*Settled    // later words that raised it
}

func newTrail(t *Trace) *trail {
	w := &trail{Trace: t}
	ends, raises := map[ledger.OrderID]*Settled{}, map[ledger.OrderID][]*Settled{}
	for i := range t.Settled {
		if s := &t.Settled[i]; ends[s.ID] == nil {
			ends[s.ID] = s
		} else {
			raises[s.ID] = append(raises[s.ID], s)
		}
	}
	doubts := map[ledger.OrderID]time.Duration{}
	for _, d := range t.Doubts {
		doubts[d.ID] = d.At
	}
	for i := range t.Orders {
		o := &t.Orders[i]
		d := tracked{order: o, pump: &t.Settings.Safety.Pumps[o.Pump], volume: o.Volume, raises: raises[o.ID]}
		if s := ends[o.ID]; s != nil {
			d.closed, d.end, d.mixing, d.volume = true, s.At, s.At, s.Volume
			if at, ok := doubts[o.ID]; ok && s.Outcome != ledger.OutcomeConfirmed && s.Outcome != ledger.OutcomeWithdrawn {
				d.mixing = at
			}
		}
		w.doses = append(w.doses, d)
	}
	return w
}

const mostViolations = 20 // of one night: the first tells enough

func (w *trail) violate(at time.Duration, format string, args ...any) {
	if len(w.found) < mostViolations {
		w.found = append(w.found, Violation{Invariant: w.invariant, Seed: w.Seed, At: at - w.Begins, Text: fmt.Sprintf(format, args...)})
	}
}

func (w *trail) tank(id dosing.TankID) *safety.Tank { return &w.Settings.Safety.Tanks[id] }

// counted is the volume of a dose as the record has it at a moment, and what of it
// has not reached the probes.
func (d *tracked) counted(at time.Duration, plant *safety.Tank) (volume dosing.Volume, onWay float64, open bool) {
	if !d.closed || d.end > at {
		return d.order.Volume, d.order.Volume.Millilitres(), true
	}
	dose := dosing.Dose{Volume: d.volume, Up: d.mixing}
	for _, raise := range d.raises {
		if raise.At <= at {
			dose.Volume, dose.Up = raise.Volume, raise.At
		}
	}
	return dose.Volume, dose.Volume.Millilitres() * dose.Remaining(at, plant.DeadTime, plant.Lag), false
}

// onWay is what is on its way to a tank at a moment, per litre, without the dose
// numbered except.
type onWay struct {
	acid, base, doubtAcid, doubtBase float64 // meq/L
	ec                               float64
	forgotten                        float64 // meq/L that may count as mixed
	forgottenEC                      float64 // mS/cm
}

func (w *trail) onWay(id dosing.TankID, at time.Duration, except int, upTo int) (sum onWay) {
	plant := w.tank(id)
	longest := plant.DeadTime + 8*plant.Lag
	for i := upTo - 1; i >= 0; i-- {
		d := &w.doses[i]
		if d.order.Tank != id || i == except || d.order.At > at {
			continue
		}
		if d.closed && d.end+longest < at {
			break // doses end in the order in which they began: one at a time
		}
		_, ml, open := d.counted(at, plant)
		acid := ml * d.pump.AcidPerML / float64(plant.Quick())
		sum.ec += ml * d.pump.ECPerML / float64(plant.Quick())
		sum.forgottenEC += 1.001e-3 * d.volume.Millilitres() * d.pump.ECPerML / float64(plant.Quick())
		sum.forgotten += 1e-9 + 1.001e-3*math.Abs(d.volume.Millilitres()*d.pump.AcidPerML)/float64(plant.Quick())
		switch {
		case acid > 0:
			sum.acid += acid
			if open {
				sum.doubtAcid += acid
			}
		default:
			sum.base -= acid
			if open {
				sum.doubtBase -= acid
			}
		}
	}
	return sum
}

// credit is the most alkalinity that can be known to be unanswered: what truly came
// in during the last mixing time, a gauge's slack more, never above 0.30 pH.
func (w *trail) credit(o *Ordered) float64 {
	plant := w.tank(o.Tank)
	since, before := o.At-plant.MixingTime()-time.Minute, 0.0
	for i := len(w.Samples) - 1; i >= 0; i-- {
		if s := &w.Samples[i]; s.Tank == o.Tank && s.At <= since {
			before = s.ToppedUp
			break
		}
	}
	litres := o.ToppedUp - before + 0.01*float64(plant.Volume)
	return min(litres*plant.TopUp.Alkalinity/float64(plant.Quick()), 0.30*o.Floor)
}

// Slack of the sums: the gate reckons with the least plausible volume, which is at
// most a hundredth or so below the one that is configured while the tank is full.
const roundingSlack = 1e-6

func (w *trail) replayed() {
	for i := range w.Replays {
		if text := w.Replays[i].Live.Differs(&w.Replays[i].Past); text != "" {
			w.violate(w.Replays[i].At, "%s", text)
		}
	}
}

func (w *trail) intentFirst() {
	written := map[ledger.OrderID]uint64{}
	for _, x := range w.Written {
		written[x.ID] = x.Step
	}
	ordered := map[ledger.OrderID]time.Duration{}
	for i := range w.Orders {
		o := &w.Orders[i]
		ordered[o.ID] = o.At
		if step, ok := written[o.ID]; !ok || step > o.Step {
			w.violate(o.At, "order %v went out without an intent that was durable before", o.ID)
		}
	}
	for _, run := range w.Runs {
		if run.Ended {
			continue
		}
		if at, ok := ordered[run.Order]; !ok || at > run.At {
			w.violate(run.At, "a pump started for order %v, which never went out", run.Order)
		}
	}
}

// smallestExempt says that one smallest dose is let through whatever the floor: it
// is worth little as commissioned and nothing is on its way.
func (w *trail) smallestExempt(i int, sum onWay) bool {
	o, p, plant := w.doses[i].order, w.doses[i].pump, w.tank(w.doses[i].order.Tank)
	if o.Volume > p.Smallest {
		return false
	}
	commissioned := w.Curves[o.Tank].Buffer(float64(o.Target.PH)) * plant.BufferScale
	for _, in := range o.Inputs {
		if in.Quantity == dosing.QuantityPH && in.Present {
			commissioned = max(commissioned, w.Curves[o.Tank].Buffer(in.Value)*plant.BufferScale)
		}
	}
	worth := p.Smallest.Millilitres() * math.Abs(p.AcidPerML) / float64(plant.Quick())
	return worth <= 0.0525*commissioned && sum.acid <= 0.011*o.Floor && sum.base <= 0.011*o.Floor
}

func (w *trail) doseCap() {
	for i := range w.doses {
		d := &w.doses[i]
		o, p, plant := d.order, d.pump, w.tank(d.order.Tank)
		caps := w.Settings.Safety.Caps[o.Pump]
		if o.Volume > caps.PerDose || o.Run > caps.OnTime+time.Millisecond {
			w.violate(o.At, "%s of %s at once; the cap is %s in %v", o.Volume, p.Name, caps.PerDose, caps.OnTime)
		}
		litres := float64(plant.Quick())
		acid, ec := o.Volume.Millilitres()*math.Abs(p.AcidPerML)/litres, o.Volume.Millilitres()*p.ECPerML/litres
		if ec > 0.10*(1+roundingSlack) {
			w.violate(o.At, "a dose of %s worth %.3f mS/cm; at most 0.10", p.Name, ec)
		}
		room := 0.10 * o.Floor
		if p.AcidPerML > 0 {
			room += w.credit(o)
		}
		if acid > room*(1+roundingSlack) && !w.smallestExempt(i, w.onWay(o.Tank, o.At, i, i)) {
			w.violate(o.At, "a dose of %s worth %.4f meq/L; at most %.4f at the buffer floor", p.Name, acid, room)
		}
	}
}

func (w *trail) transitCap() {
	for i := range w.doses {
		d := &w.doses[i]
		o, p, plant := d.order, d.pump, w.tank(d.order.Tank)
		sum := w.onWay(o.Tank, o.At, i, i)
		litres := float64(plant.Quick())
		acid, ec := o.Volume.Millilitres()*p.AcidPerML/litres, o.Volume.Millilitres()*p.ECPerML/litres
		if p.Role == dosing.RoleStock && sum.ec+ec-sum.forgottenEC > 0.20*(1+roundingSlack) {
			w.violate(o.At, "%.5f mS/cm on its way; at most 0.20", sum.ec+ec)
		}
		room := 0.30 * o.Floor
		var net float64
		switch {
		case acid > 0:
			room += w.credit(o)
			net = sum.acid + acid - (sum.base - sum.doubtBase)
		case acid < 0:
			net = sum.base - acid - (sum.acid - sum.doubtAcid)
		default:
			continue // a neutral stock adds to neither side, whatever is on its way
		}
		if net-sum.forgotten > room*(1+roundingSlack) && !w.smallestExempt(i, sum) {
			w.violate(o.At, "%.4f meq/L net of %s on its way; at most %.4f at the buffer floor", net, p.Role, room)
		}
	}
}

func (w *trail) rollingCaps() {
	for i := range w.doses {
		o := w.doses[i].order
		plant := w.tank(o.Tank)
		caps := w.Settings.Safety.Caps[o.Pump]
		hour, day := dosing.Volume(0), dosing.Volume(0)
		for k := i; k >= 0; k-- {
			d := &w.doses[k]
			if d.order.Pump != o.Pump {
				continue
			}
			volume, _, open := d.counted(o.At, plant)
			if open || o.At-d.mixing < time.Hour {
				hour += volume
			}
			if open || o.At-d.mixing < 24*time.Hour {
				day += volume
			}
		}
		if hour > caps.PerHour || day > caps.PerDay {
			w.violate(o.At, "%s of %s in an hour, %s in a day; the caps are %s and %s", hour, w.doses[i].pump.Name, day, caps.PerHour, caps.PerDay)
		}
	}
}
