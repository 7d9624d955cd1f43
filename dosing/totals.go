package dosing

import (
	"math"
	"time"
)

// Dose is one dose as the ledger counts it. Open means that nobody knows yet how
// much of it was delivered: it then counts in full and is wholly in transit.
type Dose struct {
	Key    uint64 // order number; unique in one run of the ledger
	Tank   TankID
	Pump   PumpID
	Volume Volume
	Up     time.Duration // when it was released, or reported; negative for an earlier run
	Open   bool
	Hand   bool // by a person's word: it withholds, and speaks for no dose
}

// Totals counts what was dosed: rolling hour and day by pump, and what is still
// on its way to the probes. The caps are compared with nothing else.
type Totals struct {
	pumps []pumpTotals
	tanks [][]Dose // doses of each tank that may still be in transit

	state TotalsState
}

// TotalsState tells whether totals are still as they were when something was made from
// them.
type TotalsState struct {
	Changes   uint64 // counts and settlements so far
	Forgotten uint64 // doses that had wholly arrived, so far
}

// State is how far the totals have come.
func (t *Totals) State() TotalsState { return t.state }

type pumpTotals struct {
	doses           []Dose // ascending by Up
	fromHour        int    // first dose inside the last hour
	fromDay         int
	hour, day, ever Volume
}

const day = 24 * time.Hour

// NewTotals makes empty totals for a row of pumps that serves some tanks.
func NewTotals(pumps, tanks int) *Totals {
	return &Totals{pumps: make([]pumpTotals, pumps), tanks: make([][]Dose, tanks)}
}

// Count adds a dose. Doses come in order of their Up; an earlier one (a report
// that came late, a replay) is counted as of the newest, which keeps it in the
// windows longer, never shorter.
func (t *Totals) Count(d Dose) {
	t.state.Changes++
	p := &t.pumps[d.Pump]
	counted := d
	if n := len(p.doses); n > 0 && counted.Up < p.doses[n-1].Up {
		counted.Up = p.doses[n-1].Up
	}
	p.doses = append(p.doses, counted)
	p.hour += d.Volume
	p.day += d.Volume
	p.moved(&d, d.Volume)
	t.tanks[d.Tank] = append(t.tanks[d.Tank], d)
}

// Spend counts a volume in the hour and day of a pump and nowhere else: no dose of it
// is known, in no tank.
func (t *Totals) Spend(pump PumpID, volume Volume, up time.Duration) {
	t.state.Changes++
	p := &t.pumps[pump]
	p.advance(up)
	p.put(Dose{Pump: pump, Volume: volume, Up: up})
}

// Settle closes the dose with this key at volume and starts its release law, and
// its hour and day, at up. It reports whether the dose was known.
func (t *Totals) Settle(pump PumpID, key uint64, volume Volume, up time.Duration) bool {
	return t.SettleDoubted(pump, key, volume, up, up)
}

// SettleDoubted closes a dose of which no word came. Its release law starts at the first
// doubt, for by then it had been delivered or never will be; its hour and day start when it
// was given up, which is all that the ledger tells a later run.
func (t *Totals) SettleDoubted(pump PumpID, key uint64, volume Volume, doubted, up time.Duration) bool {
	t.state.Changes++
	found := t.pumps[pump].settle(key, volume, up)
	for tank := range t.tanks {
		for i := range t.tanks[tank] {
			if d := &t.tanks[tank][i]; d.Pump == pump && d.Key == key {
				d.Volume, d.Up, d.Open = volume, doubted, false
				return true
			}
		}
	}
	return found
}

// Void gives the hour and the day of a pump back what an entry by hand counted in
// them. It stays on its way to the probes for as long as it would have been.
func (t *Totals) Void(pump PumpID, key uint64) bool {
	p := &t.pumps[pump]
	for i := range p.doses {
		if d := &p.doses[i]; d.Hand && d.Key == key {
			t.state.Changes++
			return p.settle(key, 0, d.Up)
		}
	}
	return false
}

// settle moves the dose to where it belongs in time: its pump may have run as
// late as up, and a window that forgot it an hour after its intent would allow
// more than the cap in the hour that began with its delivery.
func (p *pumpTotals) settle(key uint64, volume Volume, up time.Duration) bool {
	i := len(p.doses) - 1
	for i >= 0 && p.doses[i].Key != key {
		i--
	}
	if i < 0 {
		return false
	}
	d := p.doses[i]
	p.moved(&d, volume-d.Volume)
	p.take(i)
	d.Volume, d.Up, d.Open = volume, max(d.Up, up), false
	p.put(d)
	return true
}

// take removes the dose at i from the list and from the windows it is in.
func (p *pumpTotals) take(i int) {
	if i >= p.fromHour {
		p.hour -= p.doses[i].Volume
	} else {
		p.fromHour--
	}
	if i >= p.fromDay {
		p.day -= p.doses[i].Volume
	} else {
		p.fromDay--
	}
	p.doses = append(p.doses[:i], p.doses[i+1:]...)
}

// put inserts a dose by its Up. One that belongs before the start of a window
// has left it already.
func (p *pumpTotals) put(d Dose) {
	i := len(p.doses)
	for i > 0 && p.doses[i-1].Up > d.Up {
		i--
	}
	p.doses = append(p.doses, Dose{})
	copy(p.doses[i+1:], p.doses[i:])
	p.doses[i] = d
	if i >= p.fromHour {
		p.hour += d.Volume
	} else {
		p.fromHour++
	}
	if i >= p.fromDay {
		p.day += d.Volume
	} else {
		p.fromDay++
	}
}

// Hour is what the pump dosed in the rolling hour before up.
func (t *Totals) Hour(pump PumpID, up time.Duration) Volume {
	t.pumps[pump].advance(up)
	return t.pumps[pump].hour
}

// Day is what the pump dosed in the rolling day before up.
func (t *Totals) Day(pump PumpID, up time.Duration) Volume {
	t.pumps[pump].advance(up)
	return t.pumps[pump].day
}

// moved adds to what the pump gave. What a person poured in never went through it.
func (p *pumpTotals) moved(d *Dose, volume Volume) {
	if !d.Hand {
		p.ever += volume
	}
}

// Ever is all that was counted for the pump, entries by hand aside.
func (t *Totals) Ever(pump PumpID) Volume { return t.pumps[pump].ever }

// advance lets doses leave the windows. One that is still open leaves none: it may
// be delivered at any moment.
func (p *pumpTotals) advance(up time.Duration) {
	for p.fromHour < len(p.doses) && p.doses[p.fromHour].Up <= up-time.Hour && !p.doses[p.fromHour].Open {
		p.hour -= p.doses[p.fromHour].Volume
		p.fromHour++
	}
	for p.fromDay < len(p.doses) && p.doses[p.fromDay].Up <= up-day && !p.doses[p.fromDay].Open {
		p.day -= p.doses[p.fromDay].Volume
		p.fromDay++
	}
	// Forgetting in blocks keeps the memory flat over years of doses.
	if p.fromDay > 1024 {
		p.doses = append(p.doses[:0], p.doses[p.fromDay:]...)
		p.fromHour -= p.fromDay
		p.fromDay = 0
	}
}

// goneAfter is when a settled dose is no longer in transit: less than 0.1 % of
// it is then unmixed.
const goneAfter = 7

// Remaining is the share of a dose that has not reached the probes: all of it
// for the dead time, then an exponential decay with the mixing lag.
func (d *Dose) Remaining(up, deadTime, lag time.Duration) float64 {
	age := up - d.Up
	if d.Open || age <= deadTime {
		return 1
	}
	if lag <= 0 {
		return 0
	}
	return Exponential(-float64(age-deadTime) / float64(lag))
}

// EachInTransit calls visit for each dose of the tank that is still on its way,
// with the millilitres that have not yet been seen by the probes. It forgets the
// doses that are settled at up, so up is never in the future. Visit keeps no pointer.
func (t *Totals) EachInTransit(tank TankID, up, deadTime, lag time.Duration, visit func(d *Dose, remainingML float64)) {
	doses, kept := t.tanks[tank], 0
	for i := range doses {
		d := &doses[i]
		if !d.Open && up-d.Up > deadTime+goneAfter*lag {
			t.state.Forgotten++
			continue
		}
		if kept < i {
			doses[kept] = *d
		}
		kept++
		visit(d, float64(d.Volume.Millilitres()*d.Remaining(up, deadTime, lag)))
	}
	t.tanks[tank] = doses[:kept]
}

// SeeInTransit calls visit as EachInTransit does, and forgets nothing: how long a dose is
// remembered does not depend on who looks.
func (t *Totals) SeeInTransit(tank TankID, up, deadTime, lag time.Duration, visit func(d *Dose, remainingML float64)) {
	for i := range t.tanks[tank] {
		if d := &t.tanks[tank][i]; d.Open || up-d.Up <= deadTime+goneAfter*lag {
			visit(d, float64(d.Volume.Millilitres()*d.Remaining(up, deadTime, lag)))
		}
	}
}

// InTransit sums what is on its way to the tank: acid in meq/L (positive lowers
// pH) and base in meq/L (a positive amount), and EC in mS/cm, in the quick water.
func (t *Totals) InTransit(tank TankID, pumps []Pump, plant Tank, up time.Duration) (acid, base, ec float64) {
	volume := float64(plant.Quick())
	if !(volume > 0) {
		// Of a tank of unknown size nothing is known to be little.
		return math.Inf(1), math.Inf(1), math.Inf(1)
	}
	t.EachInTransit(tank, up, plant.DeadTime, plant.TimeConstant, func(d *Dose, ml float64) {
		p := &pumps[d.Pump]
		effect := float64(ml*p.AcidPerML) / volume
		if effect > 0 {
			acid += effect
		} else {
			base -= effect
		}
		ec += float64(ml*p.ECPerML) / volume
	})
	return acid, base, ec
}
