package sim

import (
	"slices"
	"time"

	"leat/controller/payload"
	"leat/dosing"
	"leat/dosing/chem"
	"leat/safety/ledger"
)

// Run is what a pump truly did: told when it starts (Ended false) and when it ends.
type Run struct {
	Order   ledger.OrderID
	Pump    dosing.PumpID
	Tank    dosing.TankID
	Volume  dosing.Volume // ordered
	Started time.Duration
	Ended   bool
	At      time.Duration
}

// Tell has every start and end of a pump's run told to ran.
func (f *deeds) Tell(ran func(Run)) { f.ran = ran }

func (f *site) tell(r *run, ended bool) {
	if f.ran != nil {
		f.ran(Run{Order: r.order, Pump: r.pump, Tank: r.tank, Volume: r.volume, Started: r.started, Ended: ended, At: f.now})
	}
}

// Bulk is the true pH and EC (mS/cm at 25 °C) of the bulk, without the cost of Truth.
func (f *gauges) Bulk(id dosing.TankID) (ph, ec float64) {
	t := f.tanks[id]
	return t.now.PH, t.now.EC25
}

// Celsius is the water's temperature.
func (f *gauges) Celsius(id dosing.TankID) float64 { return f.tanks[id].celsius }

// Litres is what circulates, as the level gauge counts.
func (f *gauges) Litres(id dosing.TankID) float64 { return f.tanks[id].litres() }

// Flooded says whether a flood bench of the tank is filling, standing or draining.
func (f *gauges) Flooded(id dosing.TankID) bool { return f.tanks[id].flooding() }

// Circulating says whether the tank's water moves.
func (f *gauges) Circulating(id dosing.TankID) bool {
	t := f.tanks[id]
	return t.speed+t.trouble.speed > 0.2
}

// Dose lets a pump run for a volume at its commissioned rate, past daemon, order
// and lease: for laws on trial that are only a rule. It reports false while a pump
// runs.
func (f *deeds) Dose(p dosing.PumpID, id dosing.TankID, volume dosing.Volume) bool {
	if f.pumping() || volume <= 0 {
		return false
	}
	n := f.nodes[f.routes.pumpNodes[p]]
	n.lease = forever
	n.begin(f.network, command{pump: p, volume: volume, run: volume.RunTime(f.pumps[p].set.PerSecond)}, id)
	return true
}

// Pumping says whether a pump runs now.
func (f *gauges) Pumping() bool { return f.pumping() }

// Rate is what a pump truly delivers, as a share of its commissioned rate.
func (f *gauges) Rate(p dosing.PumpID) float64 {
	return f.pumps[p].rate * 1000 / float64(f.pumps[p].set.PerSecond)
}

// Need is what a tank truly needs: the strong acid in meq/L (negative: base) and
// the conductivity in mS/cm (negative: too much) that bring the water to these
// setpoints once all that is on its way has mixed, with plants and air going on as
// now for ahead. It is exact but for what air and plants do to one another
// meanwhile. It reports false where the chemistry finds no answer.
func (f *gauges) Need(id dosing.TankID, ph, ec float64, ahead time.Duration) (acid, conductivity float64, ok bool) {
	t := f.tanks[id]
	all := t.settled()
	totals := all.perLitre()
	hours := ahead.Hours()
	share := 1.0
	if !t.light {
		share = t.plant.Dark
	}
	totals = totals.Add(t.appetite(share, totals), -hours)
	totals.DIC += (t.gas - t.now.Species[chem.CO2]) * t.gasExchange(all.litres) * hours
	for _, x := range []*float64{&totals.NO3, &totals.NH4, &totals.P, &totals.K, &totals.Ca, &totals.Mg, &totals.SO4, &totals.DIC} {
		*x = max(*x, 0)
	}
	c := chem.Conditions{TempC: t.now.TempC}
	acid, err := t.rest.AcidFor(&totals, ph, c)
	if err != nil {
		return 0, 0, false
	}
	var r chem.Result
	c.FixedPH, c.OnlyHere = ph, true
	if err := t.rest.Solve(&totals, c, &r); err != nil {
		return 0, 0, false
	}
	return acid, ec - r.EC*t.ratio, true
}

// Buffer is the true buffer capacity of the bulk now, meq/L per pH.
func (f *gauges) Buffer(id dosing.TankID) float64 { return f.tanks[id].now.Buffer }

// ToppedUp is how many litres of top-up have entered the tank.
func (f *gauges) ToppedUp(id dosing.TankID) float64 { return f.tanks[id].book.toppedUp.litres }

// PlainFormat is how a simulated probe sends a quantity: the number alone, in the
// quantity's own unit.
func PlainFormat(q dosing.Quantity) payload.Format {
	unit, err := payload.ParseUnit(q, q.Unit())
	if err != nil {
		return payload.Format{} // reads nothing
	}
	return payload.Format{Kind: payload.KindPlain, Unit: unit}
}

// Shown is what the first probes of a tank's pH and EC show, without their scatter.
func (f *gauges) Shown(id dosing.TankID) (ph, ec float64) {
	for _, p := range slices.Backward(f.probes) {
		shown := p.shown
		if p.trouble.isFixed {
			shown = p.trouble.fixed
		}
		switch {
		case p.set.Tank != id:
		case p.set.Quantity == dosing.QuantityPH:
			ph = shown
		case p.set.Quantity == dosing.QuantityEC:
			ec = shown
		}
	}
	return ph, ec
}
