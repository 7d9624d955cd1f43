package safety

import (
	"time"

	"leat/dosing"
	"leat/safety/response"
)

// startSettle is how long after a start nothing is dosed when the configuration
// does not say: one mixing time of the slowest tank, at least this.
const startSettle = 30 * time.Second

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
	t := tankState{id: id, plant: &w.settings.Tanks[id], learned: learned{spread: w.settings.Tanks[id].StartSpread()}}
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

// Reconfigure takes new settings of the same tanks, pumps, inputs and nodes, whole
// and valid, and keeps all that was seen and counted. Curves may be nil where the
// solution is the same. What lies in transit, what was latched and every wait stand.
func (w *Watch) Reconfigure(now dosing.Instant, s *Settings, curves []dosing.Titration) {
	w.told = true
	if s == nil || len(s.Tanks) != len(w.tanks) || len(s.Pumps) != len(w.pumps) || len(s.Inputs) != len(w.inputs) || len(s.Nodes) != len(w.nodes) {
		for i := range w.tanks {
			w.tanks[i].unsafe = "the new settings describe another station"
		}
		w.evaluate(now)
		return
	}
	w.settings = s
	for i := range w.inputs {
		var plant dosing.Tank
		if t := s.Inputs[i].Tank; int(t) < len(s.Tanks) {
			plant = s.Tanks[t].Tank
		}
		w.inputs[i].reconfigure(newInputState(&s.Inputs[i], plant))
	}
	for i := range w.nodes {
		w.nodes[i].full = s.Nodes[i].FullContract
	}
	for i := range w.pumps {
		p := w.newPump(dosing.PumpID(i))
		w.pumps[i].unsafe, w.pumps[i].node, w.pumps[i].stocks = p.unsafe, p.node, p.stocks
	}
	kept := make([]dosing.Titration, len(w.tanks))
	for i := range w.tanks {
		kept[i] = w.tanks[i].curve
		if i < len(curves) && curves[i] != nil {
			kept[i] = curves[i]
		}
	}
	for i := range w.tanks {
		t := &w.tanks[i]
		fresh := w.newTank(dosing.TankID(i), kept)
		if t.responses != nil && fresh.responses != nil {
			fresh.responses.Resume(t.responses)
		}
		t.plant, t.curve, t.unsafe, t.responses = fresh.plant, fresh.curve, fresh.unsafe, fresh.responses
		t.inputs, t.fitted, t.waived = fresh.inputs, fresh.fitted, fresh.waived
		t.group = [dosing.QuantityCount]group{}
	}
	w.recap()
	w.evaluate(now)
}
