package sim

import (
	"slices"

	"leat/controller"
	"leat/controller/payload"
	"leat/dosing"
	"leat/safety"
)

// routes is where messages go and come from, as the topics of the station say.
type routes struct {
	listens   map[string]listener // by topic
	reports   []string            // by pump
	nodes     []string            // by node
	pumpNodes []safety.NodeID
}

// listener is what a topic is for, mostly one thing.
type listener struct {
	order, lease, stop, supply bool
	pump                       dosing.PumpID // of an order
	zone                       *zoneNode     // of a schedule
	fit                        []*zoneNode   // that ask whether the water is fit
}

func routesOf(settings *controller.Settings, topics *payload.Topics) routes {
	s := &settings.Safety
	r := routes{listens: map[string]listener{}, pumpNodes: s.PumpNode}
	for p := range s.Pumps {
		r.also(topics.Order(s.Pumps[p].Name), func(l *listener) { l.order, l.pump = true, dosing.PumpID(p) })
	}
	r.also(topics.Lease(), func(l *listener) { l.lease = true })
	r.also(topics.Stop(), func(l *listener) { l.stop = true })
	r.also(topics.Supply(), func(l *listener) { l.supply = true })
	for p := range s.Pumps {
		r.reports = append(r.reports, topics.Report(s.Pumps[p].Name))
	}
	for n := range s.Nodes {
		r.nodes = append(r.nodes, topics.Node(s.Nodes[n].Name))
	}
	return r
}

func (r *routes) also(topic string, change func(*listener)) {
	l := r.listens[topic]
	change(&l)
	r.listens[topic] = l
}

func (r *routes) ofOrder(topic string) bool { return r.listens[topic].order }

// network carries what the daemon says to the nodes, and what they say to it.
type network struct {
	*site
	send   Send
	link   link
	leases payload.Leases // what the nodes hear is the same for all
	unread int            // messages that no node could read
}

// Subscriptions are the topics that the farm's nodes listen to, in order.
func (f *network) Subscriptions() []string {
	var topics []string
	for t := range f.routes.listens {
		topics = append(topics, t)
	}
	slices.Sort(topics)
	return topics
}

// TakesKept says that what the broker kept on a topic still holds: whether the water is fit.
func (f *network) TakesKept(topic string) bool { return len(f.routes.listens[topic].fit) > 0 }

// handle gives a message to the nodes it is for.
func (f *network) handle(topic string, body []byte) {
	l := f.routes.listens[topic]
	if l.order {
		f.handleOrder(l.pump, body)
	}
	if l.lease {
		epoch, beat, err := f.leases.Parse(body)
		if err != nil {
			f.unread++
			return
		}
		for _, n := range f.nodes {
			n.renew(f, epoch, beat)
		}
	}
	if l.stop {
		f.handleStop(body)
	}
	if l.zone != nil {
		l.zone.take(f, body)
	}
	for _, n := range l.fit {
		if fit, _, err := payload.ParseFit(body); err == nil {
			n.unfit = !fit
		}
	}
	if l.supply {
		// Cutting is safe: a cut that cannot be read cuts as well.
		f.cutSupply()
	}
}

func (f *network) handleOrder(pump dosing.PumpID, body []byte) {
	m, err := payload.ParseOrder(body)
	if err != nil || int(pump) >= len(f.routes.pumpNodes) || int(f.routes.pumpNodes[pump]) >= len(f.nodes) {
		f.unread++
		return
	}
	f.nodes[f.routes.pumpNodes[pump]].take(f, command{order: m.ID, pump: pump, outlet: m.Outlet, volume: m.Volume,
		run: m.Run, boot: m.Boot, before: m.BeforeTick})
}

// handleStop stops what a stop order names; one that cannot be read, or that names
// a pump nobody knows, stops everything.
func (f *network) handleStop(body []byte) {
	_, name, err := payload.ParseStop(body)
	pump, all := dosing.PumpID(0), true
	if err == nil && name != "" {
		for p := range f.pumps {
			if f.pumps[p].set.Name == name {
				pump, all = dosing.PumpID(p), false
			}
		}
	}
	for _, n := range f.nodes {
		n.halt(f, pump, all)
	}
}

// cutSupply opens the second contactor: no pump runs, welded relay or not, until
// a person closes it.
func (f *network) cutSupply() {
	f.supplyCut = true
	f.haltForSupply()
}

// RestoreSupply is the person who closes the contactor of the dosing supply again.
func (f *network) RestoreSupply() { f.supplyCut = false }

func (f *network) haltForSupply() {
	for _, n := range f.nodes {
		if n.running != nil && n.up(f.now) {
			n.end(f, controller.PhaseStopped, causeSupply)
		}
	}
}

// outletOpen says whether the outlet into a tank is proved open. At rest all stand
// open, each behind its non-return valve; a dose shuts the others while it runs.
func (f *gauges) outletOpen(t *tank) bool {
	if t.trouble.outletShut {
		return false
	}
	for _, n := range f.nodes {
		if n.running != nil && n.running.tank != t.id {
			return false
		}
	}
	return true
}

// outlet is the tank an order goes into.
func (f *network) outlet(c command) (dosing.TankID, bool) {
	for _, t := range f.tanks {
		if c.outlet == t.set.Name || c.outlet == "" && len(f.tanks) == 1 {
			return t.id, f.pumps[c.pump].set.ServesTank(t.id) && !t.trouble.outletShut
		}
	}
	return 0, false
}

// report sends a node's word on an order, unless a fault swallows it.
func (f *network) report(n *node, r controller.Report) {
	if n.trouble.noReports || n.trouble.mute {
		return
	}
	for range 1 + n.trouble.copies {
		f.publish(f.routes.reports[r.Pump], 1, false, payload.AppendReport(nil, r))
	}
}

// post sends what is due of the reports that wait.
func (f *network) post(n *node) {
	for i := 0; i < len(n.posted); i++ {
		p := n.posted[i]
		if f.now < p.due {
			continue
		}
		n.posted = append(n.posted[:i], n.posted[i+1:]...)
		i--
		if p.forged {
			f.publish(f.routes.reports[p.report.Pump], 1, false, payload.AppendReport(nil, p.report))
		} else {
			f.report(n, p.report)
		}
	}
}

// speaksOf says whether the heartbeats name the last order.
func (n *node) speaksOf() bool {
	for i := range n.posted {
		if !n.posted[i].forged && n.posted[i].report.Order == n.last.Order {
			return false
		}
	}
	return !n.trouble.noReports
}

// beat sends the heartbeats that are due, and after a reconnection the last report
// again.
func (f *network) beat() {
	for _, n := range f.nodes {
		f.post(n)
		if !n.full || !n.up(f.now) || n.trouble.mute || !f.link.up {
			continue
		}
		if n.announce {
			n.announce = false
			if n.last != nil {
				f.report(n, *n.last)
			}
			n.beatDue = f.now
		}
		if f.now < n.beatDue {
			continue
		}
		n.beatDue = f.now + heartbeatEvery
		h := controller.Heartbeat{Node: n.id, Boot: n.boot, Tick: n.tick(f.now), Idle: n.running == nil && !f.draws(n), Epoch: n.epoch}
		if n.last != nil && n.speaksOf() {
			h.Last = n.last
		}
		f.publish(f.routes.nodes[n.id], 0, false, n.words.Write(h))
	}
}
