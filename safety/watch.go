package safety

import (
	"time"

	"leat/dosing"
	"leat/safety/response"
)

// startSettle is how long after a start nothing is dosed when the configuration
// does not say: one mixing time of the slowest tank, at least this.
const startSettle = 30 * time.Second

// OperatorState is what people have entered for a tank.
type OperatorState struct {
	Paused      bool
	Maintenance bool // a probe or a pump is being calibrated or serviced
	Cleaning    bool
	Unconfirmed bool // nobody has confirmed that the tank holds nutrient solution
	Why         string
}

// Watch is the raw state of a station as the gate sees it, and the status table
// made from it. It trusts no controller: what it is told of doses, modes and
// learned values only ever narrows what the raw state allows. It owns the totals.
type Watch struct {
	settings  *Settings
	totals    *dosing.Totals
	started   time.Duration
	settle    time.Duration // start-up wait
	last      time.Duration // uptime of the last evaluation
	evaluated time.Duration // of the last one of every tank
	whole     time.Duration // of the last one of every row
	told      bool          // something that any row may read, since then
	backward  bool          // uptime ran backwards
	seeded    bool          // replayed doses have been looked through

	inputs     []inputState
	tanks      []tankState
	pumps      []pumpState
	nodes      []nodeState
	open       []dosing.Dose // doses that are neither settled nor given up
	linkUp     bool
	linkAt     time.Duration // when it last came up
	heard      time.Duration // when anything last arrived
	quiet      time.Duration // how long nothing at all may arrive
	ledger     LedgerState
	other      bool
	otherWords string

	latches    []Trip // since the last NewLatches
	tankChecks *[CauseCount]tankCheck
	pumpChecks *[CauseCount]pumpCheck
}

// tankState is what the watch keeps of one tank.
type tankState struct {
	id     dosing.TankID
	plant  *Tank
	curve  dosing.Titration
	unsafe string // why its settings are not safe; empty = safe

	mode     Mode
	operator OperatorState
	target   dosing.Target
	aimed    bool

	lnBuffer, spread float64
	progressPH       progress
	progressEC       progress
	accounts         [response.Classes]account
	accounted        int64 // bin of readings in which evidence was last looked for
	answered         int
	responses        *response.Responses

	inputs [dosing.QuantityCount][]dosing.InputID
	fitted facts // the quantities with an input
	waived [dosing.QuantityCount]bool
	group  [dosing.QuantityCount]group
	apart  [dosing.QuantityCount]dosing.Timer // two probes apart
	round  time.Duration                      // when that was

	news, restless facts         // quantities that sent since; that must be judged in each round
	until          time.Duration // before it no other group gets too old

	water       waterState
	circulation episode
	low         episode
	lowSince    dosing.Timer
	silent      dosing.Timer // circulation's sensor
	flood       dosing.Flood
	wait        wait
	linked      bool // two good pH readings came since the link came up
	outlet      outlet
	doubt       suspicion
	unexplained unexplained
	warmth      warmth

	lastRole  [dosing.RoleCount]when
	turns     turns
	swings    bool // as of the last bin of readings
	lastGroup [dosing.GroupCount]when
	lastDose  when

	uncertain []uncertainDose
	thirds    thrice // uncertain doses

	cells
	trips []Trip
}

// pumpState is what the watch keeps of one pump.
type pumpState struct {
	unsafe string
	node   NodeID
	stocks []dosing.InputID // level of its container
	use    use
	caps   Caps // absolute, as the settings and the node's class have it
	cells
}

// when is a moment that may never have been.
type when struct {
	up   time.Duration
	ever bool
}

func (w *when) set(up time.Duration) {
	if !w.ever || up > w.up {
		w.up, w.ever = up, true
	}
}

// within says that it was less than wait ago.
func (w when) within(wait, up time.Duration) bool { return w.ever && up-w.up < wait }

// persists says that a condition which rests on a quantity of a tank is no single
// sample's: every input of it that is heard has spoken so often since it began.
func (w *Watch) persists(c *dosing.Timer, t *tankState, q dosing.Quantity, on bool, up time.Duration) bool {
	newest := time.Duration(0)
	for _, id := range t.inputs[q] {
		newest = max(newest, w.inputs[id].arrived[lastsCount-1])
	}
	if !on || !c.Running {
		*c = dosing.Timer{Since: newest, Running: on}
	}
	for _, id := range t.inputs[q] {
		if i := &w.inputs[id]; i.arrived[0] < c.Since && up-i.arrived[lastsCount-1] <= i.limit {
			return false
		}
	}
	return on && up-c.Since >= lastsFor
}

// NewWatch makes the watch of a station. Curves are the tanks' titration curves,
// by tank; a tank without one is not safe to dose. Nothing is dosed until readings
// have come, the ledger and the link are reported well, and the start-up wait is
// over.
func NewWatch(s *Settings, totals *dosing.Totals, curves []dosing.Titration, now dosing.Instant) *Watch {
	w := &Watch{settings: s, totals: totals, started: now.Up, last: now.Up, settle: s.StartSettling,
		tankChecks: &tankChecks, pumpChecks: &pumpChecks}
	for i := range s.Inputs {
		var plant dosing.Tank
		if t := s.Inputs[i].Tank; int(t) < len(s.Tanks) {
			plant = s.Tanks[t].Tank
		}
		w.inputs = append(w.inputs, newInputState(&s.Inputs[i], plant))
	}
	for i := range s.Nodes {
		w.nodes = append(w.nodes, nodeState{full: s.Nodes[i].FullContract, expected: when{up: now.Up + w.longestRun(NodeID(i)), ever: true}})
	}
	for i := range s.Pumps {
		w.pumps = append(w.pumps, w.newPump(dosing.PumpID(i)))
	}
	for i := range s.Tanks {
		w.tanks = append(w.tanks, w.newTank(dosing.TankID(i), curves))
		if s.StartSettling <= 0 {
			w.settle = max(w.settle, s.Tanks[i].MixingTime(), startSettle)
		}
	}
	w.recap()
	w.told = true
	w.evaluate(now)
	return w
}

// recap takes the absolute caps from the settings, and for how long the quickest sender
// may be silent.
func (w *Watch) recap() {
	w.quiet = freshMost
	for i := range w.inputs {
		if w.inputs[i].fitted {
			w.quiet = min(w.quiet, w.inputs[i].limit)
		}
	}
	for i := range w.nodes {
		if w.nodes[i].full {
			w.quiet = min(w.quiet, nodeOfflineAfter)
		}
	}
	for p := range w.pumps {
		w.pumps[p].caps = w.cap(dosing.PumpID(p))
	}
}

func (w *Watch) newPump(id dosing.PumpID) pumpState {
	s := w.settings
	p := pumpState{unsafe: s.unsafePump(id)}
	if int(id) < len(s.PumpNode) {
		p.node = s.PumpNode[id]
	}
	for i := range s.Inputs {
		if in := &s.Inputs[i]; in.Quantity == dosing.QuantityStockLevel && in.Pump == id && in.NotFitted == "" {
			p.stocks = append(p.stocks, dosing.InputID(i))
		}
	}
	return p
}

func (w *Watch) newTank(id dosing.TankID, curves []dosing.Titration) tankState {
	t := tankState{id: id, plant: &w.settings.Tanks[id], spread: w.settings.Tanks[id].StartSpread()}
	for class := range t.accounts {
		t.accounts[class] = newAccount(response.Class(class))
	}
	if int(id) < len(curves) {
		t.curve = curves[id]
	}
	for i := range w.settings.Inputs {
		in := &w.settings.Inputs[i]
		if in.Tank != id && in.Tank != dosing.AllTanks || in.Quantity >= dosing.QuantityCount {
			continue
		}
		if in.NotFitted != "" {
			t.waived[in.Quantity] = true
			continue
		}
		t.inputs[in.Quantity] = append(t.inputs[in.Quantity], dosing.InputID(i))
	}
	for q := dosing.QuantityPH; q < dosing.QuantityCount; q++ {
		if len(t.inputs[q]) > 0 {
			t.fitted |= 1 << q
		}
	}
	t.unsafe = w.settings.unsafeTank(id, t.curve, &t.inputs, &t.waived)
	if t.unsafe == "" {
		t.responses = response.New(w.settings.Pumps, t.plant.Tank, t.curve)
	}
	return t
}

// Read assesses a reading and keeps it. It returns the reading's own quality; what
// it is worth later, its age included, tells Input. It allocates nothing.
func (w *Watch) Read(r dosing.Reading) dosing.Quality {
	if int(r.Input()) >= len(w.inputs) {
		return dosing.QualityFailure
	}
	i := &w.inputs[r.Input()]
	if !i.fitted || r.Quantity() != i.quantity {
		return dosing.QualityFailure
	}
	if !r.Retained() {
		w.heard = max(w.heard, r.At().Up)
	}
	known, before := i.based && i.kept == lastsCount, i.base
	quality := i.take(r, i.probe && w.moving(i.tank, r.At().Up), i.probe && w.watered(i.tank, r.At().Up))
	if i.came = quality; known && quality.MayDose() && int(i.tank) < len(w.tanks) {
		w.startled(i, before, r.At().Up)
	}
	for t := range w.tanks {
		if i.tank == dosing.TankID(t) || i.tank == dosing.AllTanks {
			w.tanks[t].news |= 1 << i.quantity
		}
	}
	if !quality.MayDose() || int(i.tank) >= len(w.tanks) {
		return quality
	}
	t := &w.tanks[i.tank]
	if t.responses != nil {
		t.responses.Read(r.At(), i.quantity, r.Value())
	}
	if t.warmth.reads(i.quantity, r.Value()); i.quantity == dosing.QuantityEC {
		w.followWarmth(t, r.At().Up)
	}
	if i.quantity == dosing.QuantityOutlet && r.Value() >= 0.5 {
		t.outlet.opened.set(r.At().Up)
	}
	if i.quantity == dosing.QuantityLevel && t.inputs[dosing.QuantityLevel][0] == r.Input() {
		t.flood.Level(r.Value(), t.plant.Volume, r.At().Up)
	}
	if i.quantity == dosing.QuantityLevel && t.inputs[dosing.QuantityLevel][0] == r.Input() && i.kept == lastsCount && r.At().Up-i.founded >= lastsFor {
		w.levelled(t, r.Value(), r.At().Up)
	}
	return quality
}

// stopsDoses says whether a switch of this kind stops doses by this value.
func stopsDoses(q dosing.Quantity, value float64) bool {
	switch q {
	case dosing.QuantityCirculation, dosing.QuantitySampleFlow, dosing.QuantityOutlet:
		return value < 0.5
	case dosing.QuantityLeak, dosing.QuantityFlood, dosing.QuantityStop:
		return value >= 0.5
	}
	return false
}

// moving says whether something dosed may still move the probes of a tank.
func (w *Watch) moving(id dosing.TankID, up time.Duration) bool {
	if len(w.open) > 0 || int(id) >= len(w.tanks) {
		return true
	}
	t := &w.tanks[id]
	return len(t.uncertain) > 0 || t.lastDose.within(t.plant.DeadTime+7*t.plant.TimeConstant, up)
}

// watered says whether water that comes in, or comes home from a flood, may still
// move the probes of a tank.
func (w *Watch) watered(id dosing.TankID, up time.Duration) bool {
	if int(id) >= len(w.tanks) {
		return true
	}
	t := &w.tanks[id]
	return t.water.valve.within(t.plant.MixingTime()+afterClosing, up) || t.flood.Within(t.plant.MixingTime(), up) ||
		t.group[dosing.QuantityCirculation].adverse || t.wait.until > up
}

// Input is the last reading of an input and its quality now: its age, work on the
// probes and a stopped sample line included. It is false when none ever came.
func (w *Watch) Input(in dosing.InputID) (last dosing.Reading, q dosing.Quality, ok bool) {
	if int(in) >= len(w.inputs) || !w.inputs[in].shown {
		return dosing.Reading{}, dosing.QualityFailure, false
	}
	i := &w.inputs[in]
	q, _ = i.now(max(w.last, i.last.At().Up))
	if int(i.tank) < len(w.tanks) && i.probe {
		t := &w.tanks[i.tank]
		if t.operator.Maintenance {
			q = min(q, dosing.QualityFunctionCheck)
		}
		if t.group[dosing.QuantitySampleFlow].adverse {
			q = min(q, dosing.QualityOutOfSpecification)
		}
	}
	return i.last, q, true
}

// Doubt says why the newest reading of an input was not valid for dosing when it came, and
// why the input is not now; "" = it is.
func (w *Watch) Doubt(now dosing.Instant, in dosing.InputID) (came, stands string) {
	if int(in) >= len(w.inputs) {
		return "", ""
	}
	return w.inputs[in].doubt(now.Up)
}

// Fit is the value by which the gate judges a quantity of a tank now: of one probe
// itself, of two their mean, of more their median. It is false when it is not fit.
func (w *Watch) Fit(id dosing.TankID, q dosing.Quantity) (value float64, ok bool) {
	if int(id) >= len(w.tanks) || q >= dosing.QuantityCount {
		return 0, false
	}
	g := &w.tanks[id].group[q]
	return g.value, g.standing == standFit
}

// Trips are the active and latched trips of a tank, most severe first. The slice
// is the watch's own and holds until the next Evaluate.
func (w *Watch) Trips(id dosing.TankID) []Trip {
	if int(id) >= len(w.tanks) {
		return nil
	}
	return w.tanks[id].trips
}

// Blocks is the most severe trip that stops this pump from dosing into this tank,
// a dose under way included. Caps are left out: they limit the next dose and must
// not cut short the one that filled them.
func (w *Watch) Blocks(id dosing.TankID, p dosing.PumpID) (Trip, bool) {
	if int(id) >= len(w.tanks) || int(p) >= len(w.pumps) {
		return Trip{Cause: CauseConfigurationUnsafe, Detail: "no such tank or pump"}, true
	}
	role := w.settings.Pumps[p].Role
	for i := range w.tanks[id].trips {
		trip := &w.tanks[id].trips[i]
		if trip.Cause != CauseHourlyCap && trip.Cause != CauseDailyCap && trip.stops(p, role) {
			return *trip, true
		}
	}
	return Trip{}, false
}

// Volume is the volume of water in circulation: the level while it is known and moves
// with the water, else the least volume at which anything is dosed, since there a dose
// does most.
func (w *Watch) Volume(id dosing.TankID) dosing.Litres {
	if int(id) >= len(w.tanks) {
		return 0
	}
	t := &w.tanks[id]
	level := &t.group[dosing.QuantityLevel]
	if level.standing != standFit || t.water.gauge.still > 0 {
		return min(t.plant.MinVolume, t.plant.Volume)
	}
	return min(dosing.Litres(level.value), t.plant.MaxVolume)
}
