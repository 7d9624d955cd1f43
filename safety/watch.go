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
	ECDoubted   bool // a hand meter and the EC probe are far apart
	Cleaning    bool
	Unconfirmed bool // nobody has confirmed that the tank holds nutrient solution
	Why         string
}

// Watch is the raw state of a station as the gate sees it, and the status table
// made from it. It trusts no controller: what it is told of doses, modes and
// learned values only ever narrows what the raw state allows. It owns the totals.
//
// Each part takes what is told of one thing; the watch itself fills the table.
type Watch struct {
	state
	senses
	groups
	waters
	heartbeats
	book
	accounts
	budgets
	people

	started   time.Duration
	settle    time.Duration // start-up wait
	evaluated time.Duration // of the last one of every tank
	whole     time.Duration // of the last one of every row
	backward  bool          // uptime ran backwards
	seeded    bool          // replayed doses have been looked through
	quiet     time.Duration // how long nothing at all may arrive

	tankChecks *[CauseCount]tankCheck
	pumpChecks *[CauseCount]pumpCheck
}

// NewWatch makes the watch of a station. Curves are the tanks' titration curves,
// by tank; a tank without one is not safe to dose. Nothing is dosed until readings
// have come, the ledger and the link are reported well, and the start-up wait is
// over.
func NewWatch(s *Settings, totals *dosing.Totals, curves []dosing.Titration, now dosing.Instant) *Watch {
	w := &Watch{state: state{settings: s, totals: totals, last: now.Up}, started: now.Up, settle: s.StartSettling,
		tankChecks: &tankChecks, pumpChecks: &pumpChecks}
	st := &w.state
	w.heartbeats, w.groups, w.waters, w.accounts, w.budgets = heartbeats{st}, groups{st}, waters{st}, accounts{st}, budgets{st}
	w.senses = senses{st, &w.waters}
	w.book = book{st, &w.accounts, &w.senses}
	w.people = people{state: st, senses: &w.senses}
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
