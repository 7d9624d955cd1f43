package app

import (
	"go.uber.org/zap"
	"time"

	"leat/controller"
	"leat/controller/config"
	"leat/controller/diary"
	"leat/controller/metrics"
	"leat/controller/mqtt"
	"leat/controller/notify"
	"leat/controller/payload"
	"leat/controller/store"
	"leat/controller/web"
	"leat/dosing"
)

// gear is what every part of the daemon works with: the rooms that it joins, and what the
// loop knows of clock, link, record and owner.
type gear struct {
	file  *config.File
	log   *zap.Logger
	clock Clock

	db      *store.DB
	site    *Site // nil = this station is alone
	term    Term  // nil = the ledger is this daemon's alone
	core    *controller.Core
	writer  *writer
	sender  *sender
	link    *mqtt.Link
	wires   *wires
	intake  *payload.Intake
	metrics *metrics.Metrics
	history *store.History
	diary   *diary.Writer
	desk    *notify.Desk // nil = nobody is told
	names   []string     // of the inputs in history and log: tank and probe
	refused refusals
	proofs  proofs // of the nodes, as they were when this run began

	stepped   dosing.Instant // of the newest event that the core was given
	record    record
	owner     ownership
	connected bool          // as the link last told
	echoed    time.Duration // uptime at which a lease was last heard, or the link opened
}

// under is the path of this station's pages in a process of several; empty = they are at the root.
func (g *gear) under() string {
	if g.site == nil {
		return ""
	}
	return web.StationPath(g.file.Settings.Safety.Station)
}

func (g *gear) now() dosing.Instant {
	if g.clock != nil {
		return g.clock.Now()
	}
	return dosing.Instant{Wall: time.Now().In(g.file.Zone)}
}

func (g *gear) tankName(id dosing.TankID) string {
	if int(id) < len(g.file.Settings.Safety.Tanks) {
		return g.file.Settings.Safety.Tanks[id].Name
	}
	return g.file.Settings.Safety.Station
}

// urge sends what pumps wait for, and says whether it is on its way.
func (g *gear) urge(m message) bool { return g.link.Open() && g.sender.urge(m) }

func (g *gear) publish(m message) {
	if g.link.Open() {
		g.sender.send(m)
	}
}
