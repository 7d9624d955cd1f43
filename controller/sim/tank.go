package sim

import (
	"math"
	"time"

	"leat/dosing"
	"leat/dosing/chem"
	"leat/safety"
)

// tank is the true water of one tank. A dose enters the pipe, passes the dead
// time, then mixes into the bulk with the lag; what the probes and the plants
// meet is the bulk.
type tank struct {
	id    dosing.TankID
	set   *safety.Tank
	plant Plant

	bulk    parcel
	plume   parcel  // past the dead time, still mixing
	pipe    []pulse // within the dead time, oldest first
	entered parcel  // since the last second

	// flow is the seconds for which the circulation has run at full speed: the dead
	// time and the lag pass only as water moves.
	flow  float64
	speed float64 // of the circulation; 1 = as commissioned
	// mixed is the share of what is mixing that is mixed in a second, at the speed
	// mixedAt.
	mixed, mixedAt float64

	zones      []zone
	oxygen     float64     // mg/L
	uptake     chem.Totals // mmol/L per hour in the light
	uptakeDark chem.Totals // in the dark, where that is no share of it
	celsius    float64
	light      bool
	topUp      bool

	solver     chem.Solver
	air        chem.Solver
	rest       chem.Solver
	now        chem.Result
	ratio      float64 // EC at 25 °C ÷ EC here
	ratioUntil time.Duration
	unsolved   int     // speciations that failed; the result before holds on
	gas        float64 // CO2 dissolved in water that has come to rest with the room, mmol/L

	delivered []dosing.Volume // by pump
	counted   []dosing.Volume // the same by the nodes' own counts
	book      book
	trouble   trouble

	twin *tank // the same water without the doses since the first fault; nil before it

	water Water           // somebody else's; nil = ours
	state WaterState      // its newest
	told  []dosing.Volume // by pump, what it has been told of
	flood bool            // as it says
}

// pulse is what entered in one second.
type pulse struct {
	at float64 // on the flow clock
	parcel
}

// book keeps every mole and litre that crosses the border of the tank.
type book struct {
	start, dosed, toppedUp, added, taken, drained parcel
	gasIn                                         float64 // mmol of carbon
	evaporated                                    float64 // L
}

// trouble is what faults do to a tank; the zero value is none.
type trouble struct {
	speed      float64     // of the circulation less 1: -1 = off
	fluxMore   float64     // meq/L per hour of base, day and night
	leak       float64     // L per minute to the floor
	dilution   float64     // share per hour that flows through from a leaking valve
	valveOpen  bool        // top-up stuck open
	valveShut  bool        // top-up fails closed
	source     chem.Totals // top-up water in place of its own, if sourceSet
	sourceSet  bool
	noDrain    bool    // a flood bench keeps most of its water
	warmth     float64 // °C above what it should be
	heating    float64 // °C per hour more
	scale      float64 // share of calcium and phosphate that falls out per hour
	shortCut   float64 // share of each dose that reaches the probes at once
	heldCell   bool    // the probes' cell is closed
	filmOff    bool
	airOff     bool    // no air stone bubbles
	clogs      float64 // kPa more across the filter each hour
	clogged    float64 // and so far
	lampWeak   float64 // share of its light that the UV lamp has lost
	outletShut bool
	redoxShift float64
}

// second moves water for one second.
func (t *tank) second(now time.Duration) {
	if t.entered.litres > 0 {
		if s := t.trouble.shortCut; s > 0 {
			t.bulk.add(t.entered.take(s))
		}
		t.pipe = append(t.pipe, pulse{t.flow, t.entered})
		t.entered = parcel{}
	}
	if speed := max(t.speed+t.trouble.speed, 0); speed > 0 {
		t.mix(speed)
	}
	t.flowThrough()
	for i := range t.zones {
		t.zones[i].second(t, now)
	}
}

// mix moves what is on its way by one second at this speed.
func (t *tank) mix(speed float64) {
	t.flow += speed
	gone := 0
	for gone < len(t.pipe) && t.flow-t.pipe[gone].at >= t.plant.DeadTime.Seconds() {
		t.plume.add(t.pipe[gone].parcel)
		gone++
	}
	if gone > 0 {
		t.pipe = append(t.pipe[:0], t.pipe[gone:]...)
	}
	if t.plume.litres > 0 {
		if speed != t.mixedAt {
			t.mixedAt, t.mixed = speed, 1-fading(speed/t.plant.TimeConstant.Seconds())
		}
		t.plume.pour(&t.bulk, t.mixed)
		if t.plume.litres < 1e-9 {
			t.plume.pour(&t.bulk, 1)
		}
	}
}

// flowThrough moves what valves, leaks and zones move in one second.
func (t *tank) flowThrough() {
	if t.topUp {
		t.letIn(water(t.topUpWater(), t.plant.Litres*t.plant.TopUpFlow/60))
	}
	if d := t.trouble.dilution; d > 0 {
		litres := d * t.plant.Litres / 3600
		t.letIn(water(t.topUpWater(), litres))
		t.drain(litres)
	}
	if t.trouble.leak > 0 {
		t.drain(t.trouble.leak / 60)
	}
	if over := t.litres() - 1.25*t.plant.Litres; over > 0 {
		t.drain(over) // the overflow
	}
}

func (t *tank) letIn(p parcel) {
	t.book.toppedUp.add(p)
	t.plume.add(p)
}

func (t *tank) drain(litres float64) { t.book.drained.add(t.bulk.takeLitres(litres)) }

func (t *tank) topUpWater() chem.Totals {
	if t.trouble.sourceSet {
		return t.trouble.source
	}
	return t.plant.TopUp
}

// litres is what the gauge is calibrated for: all water but what stands in flood
// benches. Film and raft zones hold their level, so they count as circulating.
func (t *tank) litres() float64 {
	sum := t.bulk.litres + t.plume.litres + t.entered.litres
	for i := range t.pipe {
		sum += t.pipe[i].litres
	}
	for i := range t.zones {
		if !t.zones[i].floods() {
			sum += t.zones[i].water.litres
		}
	}
	return sum
}

// all is every drop that belongs to the tank.
func (t *tank) all() parcel {
	sum := t.settled()
	for i := range t.zones {
		if t.zones[i].floods() {
			sum.add(t.zones[i].water)
		}
	}
	return sum
}

// settled is the water as it will be when all that is on its way has mixed, flood
// benches left out.
func (t *tank) settled() parcel {
	sum := t.bulk
	sum.add(t.plume)
	sum.add(t.entered)
	for i := range t.pipe {
		sum.add(t.pipe[i].parcel)
	}
	for i := range t.zones {
		if !t.zones[i].floods() {
			sum.add(t.zones[i].water)
		}
	}
	return sum
}

// exchangeEvery is how often plants, air and film take their share: the bulk
// changes by parts in ten thousand meanwhile.
const exchangeEvery = 5 * time.Second

// exchange is five seconds of plants, air, zones and water level.
func (t *tank) exchange(now time.Duration, light bool) {
	hours := exchangeEvery.Hours()
	share := 1.0
	if !light {
		share = t.plant.Dark
	}
	t.feed(hours, share)
	evaporation := float64(share * t.plant.Evaporation)
	if night := t.plant.InDark; night != nil && !light {
		evaporation = night.Evaporation
	}
	if loss := float64(evaporation * t.plant.Litres * hours); loss < 0.5*t.bulk.litres {
		t.bulk.litres -= loss
		t.book.evaporated += loss
	}
	t.breathe(hours)
	if s := t.trouble.scale; s > 0 {
		t.fallOut(s * hours)
	}
	for i := range t.zones {
		t.zones[i].exchange(t, now)
	}
	t.float()
}

// breathe lets CO2 pass between water and room, each water where it stands: dissolved
// CO2 tends to what the room's air holds in balance. Of a zone's carbonate as much is
// CO2 as of the bulk's, which saves a speciation for each zone; their pH is the same but
// for what passes between two exchanges.
func (t *tank) breathe(hours float64) {
	dissolved, share := t.now.Species[chem.CO2], 1.0
	if carbon := t.bulk.ions.DIC / t.bulk.litres; carbon > 0 {
		share = min(dissolved/carbon, 1)
	}
	t.book.gasIn += t.bulk.breathe(t.gas-dissolved, t.plant.CO2Exchange, hours)
	for i := range t.zones {
		if z := &t.zones[i]; z.water.litres > 0 {
			t.book.gasIn += z.water.breathe(t.gas-share*z.water.ions.DIC/z.water.litres, z.gas, hours)
		}
	}
}

// breathe takes in the CO2, mmol, that a parcel lacks of the air's balance, or gives it off.
func (p *parcel) breathe(lacks, rate, hours float64) (in float64) {
	if rate <= 0 {
		return 0
	}
	in = float64(lacks * rate * hours * p.litres)
	in = max(in, -0.5*p.ions.DIC)
	p.ions.DIC += in
	return in
}

// gasExchange is the mean rate of all water that circulates, per hour.
func (t *tank) gasExchange(litres float64) float64 {
	mean := t.plant.CO2Exchange
	for i := range t.zones {
		if z := &t.zones[i]; !z.floods() {
			mean += float64((z.gas - t.plant.CO2Exchange) * z.water.litres / litres)
		}
	}
	return mean
}

// fallOut removes calcium phosphate.
func (t *tank) fallOut(share float64) {
	amount := float64(share) * min(t.bulk.ions.Ca, t.bulk.ions.P)
	lost := chem.Totals{Ca: amount, P: amount}
	t.bulk.ions = t.bulk.ions.Add(lost, -1)
	t.book.drained.ions = t.book.drained.ions.Add(lost, 1)
}

// float opens and closes the top-up valve by the level. While a flood is out the
// low level means nothing.
func (t *tank) float() {
	switch {
	case t.trouble.valveOpen:
		t.topUp = true
	case t.trouble.valveShut || t.plant.TopUpFlow <= 0 || t.flooding():
		t.topUp = false
	case t.topUp:
		t.topUp = t.litres() < t.plant.Litres
	default:
		t.topUp = t.litres() < t.plant.Litres*(1-t.plant.TopUpStep)
	}
}

// flooding says whether a bench is filling, standing or draining.
func (t *tank) flooding() bool {
	if t.water != nil {
		return t.flood
	}
	for i := range t.zones {
		if t.zones[i].state != zoneIdle {
			return true
		}
	}
	return false
}

// floodTold is what the flood's switch says.
func (t *tank) floodTold() bool {
	if !t.plant.FloodUntold {
		return t.flooding()
	}
	for i := range t.zones {
		if state := t.zones[i].state; state == zoneFilling || state == zoneStanding {
			return true
		}
	}
	return false
}

// solve computes what the bulk is now. A composition beyond the model leaves the
// result as it was and counts.
//
// Two savings, each worth a quarter of the night: the temperature goes in steps of
// 0.02 K, so that constants are computed once in some minutes (5e-5 pH), and the
// ratio of EC at 25 °C to EC here, which takes a second speciation, once a minute.
func (t *tank) solve(now time.Duration) {
	var r chem.Result
	totals := t.bulk.perLitre()
	here := chem.Conditions{TempC: math.Round(within(t.celsius, chem.MinTempC, chem.MaxTempC)*50) / 50}
	here.OnlyHere = here.TempC == t.now.TempC && now < t.ratioUntil
	if err := t.solver.Solve(&totals, here, &r); err != nil {
		t.unsolved++
		return
	}
	if here.OnlyHere {
		r.EC25 = r.EC * t.ratio
	} else {
		t.ratio, t.ratioUntil = r.EC25/r.EC, now+time.Minute
	}
	t.now = r
}

// meetAir computes how much CO2 the water holds at rest with the room.
func (t *tank) meetAir(now time.Duration) {
	var r chem.Result
	totals := t.bulk.perLitre()
	c := chem.Conditions{TempC: within(t.celsius, chem.MinTempC, chem.MaxTempC), Open: true, CO2Atm: t.plant.roomCO2(now), OnlyHere: true}
	if err := t.air.Solve(&totals, c, &r); err != nil {
		t.unsolved++
		return
	}
	t.gas = r.Species[chem.CO2]
}

func within(x, low, high float64) float64 { return min(max(x, low), high) }
