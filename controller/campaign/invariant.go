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

// Check judges a trace by every invariant.
func Check(t *Trace) []Violation {
	w := newTrail(t)
	for i := range rules {
		if rules[i].check != nil {
			w.invariant = rules[i].Number
			rules[i].check(w)
		}
	}
	return w.found
}

// trail is a trace with what several rules ask of it; a rule is a function of it.
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
	return dose.Volume, dose.Volume.Millilitres() * dose.Remaining(at, plant.DeadTime, plant.TimeConstant), false
}

// onWay is what is on its way to a tank at a moment, per litre, without the dose
// numbered except.
type onWay struct {
	acid, base, doubtAcid, doubtBase float64 // meq/L
	ec                               float64
	ofStocks                         float64 // meq/L of acid that stocks bring; below zero they bring base
	forgotten                        float64 // meq/L that may count as mixed
	forgottenEC                      float64 // mS/cm
}

func (w *trail) onWay(id dosing.TankID, at time.Duration, except int, upTo int) (sum onWay) {
	plant := w.tank(id)
	longest := plant.DeadTime + 8*plant.TimeConstant
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
		if d.pump.Role == dosing.RoleStock {
			sum.ofStocks += acid
		}
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

func liveIsReplayed(w *trail) {
	for i := range w.Replays {
		if text := w.Replays[i].Live.Differs(&w.Replays[i].Past); text != "" {
			w.violate(w.Replays[i].At, "%s", text)
		}
	}
}
