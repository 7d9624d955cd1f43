package sim

import (
	"fmt"
	"time"

	"leat/controller"
	"leat/controller/payload"
	"leat/dosing"
	"leat/safety"
	"leat/safety/ledger"
)

// Times of a node. A lease holds this long, a heartbeat comes this often, and a
// reboot takes this long.
const (
	leaseHolds     = 10 * time.Second
	heartbeatEvery = 2 * time.Second
	bootTakes      = 3 * time.Second
)

// node drives pumps and holds the line when the daemon does not: pumps off at
// boot, one order at a time, each with its own end.
type node struct {
	id     safety.NodeID
	name   string
	full   bool // the full contract; else it only takes a bounded run time
	random *stream
	pumps  map[dosing.PumpID]ownLimit

	// Lost at a reboot.
	boot     string
	bootedAt time.Duration
	bootEnds time.Duration // while the farm's time is before it the node is down
	running  *run
	lease    time.Duration // until when; uptime of the farm
	beat     uint64
	hour     []spent

	// Kept through a reboot.
	epoch    uint32 // highest seen
	roomFrom uint32 // what was the highest when the present ten minutes began
	roomAt   time.Duration
	lastKey  uint64
	noted    *controller.Report // the order it began last, noted before the pump runs
	last     *controller.Report // the order it ended last, or was at when power went
	boots    int
	refused  int
	words    payload.HeartbeatWriter
	announce bool // the link has just opened: say the last report again
	posted   []posted
	beatDue  time.Duration

	trouble nodeTrouble
}

// ownLimit is what a node allows a pump, whatever an order says.
type ownLimit struct {
	onTime time.Duration // of one order
	hourly time.Duration // on-time in any hour
}

type spent struct {
	pump dosing.PumpID
	at   time.Duration
	run  time.Duration
}

// run is one order under way.
type run struct {
	order   ledger.OrderID
	key     uint64
	pump    dosing.PumpID
	tank    dosing.TankID
	volume  dosing.Volume
	length  time.Duration
	started time.Duration
	shot    float64
}

// nodeTrouble is what faults do to a node; the zero value is none.
type nodeTrouble struct {
	down      bool    // silent and deaf, pumps off
	deaf      bool    // nothing reaches it
	mute      bool    // nothing of it arrives
	tickDrift float64 // of its clock, less 1
	tickJump  time.Duration
	noReports bool // reports are lost, heartbeats arrive without a last order

	// What it says of a dose that has ended, in reports and heartbeats alike.
	counts    float64 // of the volume it gave, less 1
	sayNought bool    // no volume and no run time
	late      time.Duration
	copies    int // more of each report

	forgeStop   bool // somebody else says a second after each start that it was stopped at nothing
	forgeSecond bool // somebody else says so ten seconds after each end
}

// say is the node's word on a dose that has ended.
func (t *nodeTrouble) say(r controller.Report) controller.Report {
	if t.counts != 0 {
		r.Volume = dosing.Volume(float64(r.Volume) * (1 + t.counts))
	}
	if t.sayNought {
		r.Volume, r.Run = 0, 0
	}
	return r
}

// posted is a report that goes out later, of the node or of somebody else.
type posted struct {
	due    time.Duration
	report controller.Report
	forged bool
}

// nought is a forged word: stopped before anything was given.
func nought(r *run) controller.Report {
	return controller.Report{Order: r.order, Pump: r.pump, Phase: controller.PhaseStopped, Cause: causeStopped}
}

func (n *node) up(now time.Duration) bool { return now >= n.bootEnds && !n.trouble.down }

// tick is the node's own clock since its boot.
func (n *node) tick(now time.Duration) time.Duration {
	t := now - n.bootedAt
	if n.trouble.tickDrift != 0 {
		t = time.Duration(float64(t) * (1 + n.trouble.tickDrift))
	}
	return max(t+n.trouble.tickJump, 0).Truncate(time.Millisecond)
}

// start gives the node a new boot id and switches its pumps off. What it was at
// stays noted as running: it cannot know how much of it was delivered.
func (n *node) start(now, takes time.Duration) {
	n.boot = fmt.Sprintf("%08x", uint32(n.random.uint64()>>32))
	n.bootedAt, n.bootEnds = now+takes, now+takes
	n.boots++
	if n.noted != nil && (n.last == nil || n.last.Order != n.noted.Order) {
		n.last = n.noted
	}
	n.running = nil
	n.lease, n.beat = 0, 0
	n.trouble.tickJump = 0
	n.hour = n.hour[:0]
}

// deadline is when something happens at the node by itself.
func (n *node) deadline(now time.Duration) time.Duration {
	if n.running == nil || !n.up(now) {
		return forever
	}
	end := n.running.started + n.running.length
	if n.full {
		end = min(end, n.lease)
	}
	return max(end, now)
}

// advance ends what must end at now.
func (n *node) advance(f *network) {
	r := n.running
	if r == nil {
		return
	}
	switch {
	case n.trouble.down:
		f.tell(r, true)
		n.running = nil
	case f.now >= r.started+r.length:
		n.end(f, controller.PhaseDone, "")
	case n.full && f.now >= n.lease:
		n.end(f, controller.PhaseStopped, "lease lapsed")
	}
}

// end stops the running order and reports it.
func (n *node) end(f *network, phase controller.Phase, cause string) {
	r := n.running
	n.running = nil
	f.tell(r, true)
	ran := min(f.now-r.started, r.length)
	n.hour = append(n.hour, spent{r.pump, f.now, ran})
	report := r.report(phase, ran, cause)
	f.tanks[r.tank].counted[r.pump] += report.Volume
	report = n.trouble.say(report)
	n.last = &report
	if !n.full {
		return
	}
	if n.trouble.late > 0 {
		n.posted = append(n.posted, posted{due: f.now + n.trouble.late, report: report})
	} else {
		f.report(n, report)
	}
	if n.trouble.forgeSecond {
		n.posted = append(n.posted, posted{due: f.now + 10*time.Second, report: nought(r), forged: true})
	}
}

// report is the node's word after it ran this long. Its volume is by run time,
// rounded up to whole microlitres: it never counts less than it gave.
func (r *run) report(phase controller.Phase, ran time.Duration, cause string) controller.Report {
	volume := r.volume
	if ran < r.length {
		ms, all := ran.Milliseconds(), r.length.Milliseconds()
		volume = min(volume, dosing.Volume((int64(r.volume)*ms+all-1)/max(all, 1)))
	}
	return controller.Report{Order: r.order, Pump: r.pump, Phase: phase, Volume: volume, Run: ran.Round(time.Millisecond), Cause: cause}
}

// hourRun is how long the pump ran in the last hour.
func (n *node) hourRun(pump dosing.PumpID, now time.Duration) time.Duration {
	kept, sum := n.hour[:0], time.Duration(0)
	for _, s := range n.hour {
		if now-s.at >= time.Hour {
			continue
		}
		kept = append(kept, s)
		if s.pump == pump {
			sum += s.run
		}
	}
	n.hour = kept
	return sum
}

// draws says that a pump of the node draws current that no order asked for, where the node can sense it.
func (f *network) draws(n *node) bool {
	if !f.sensed || f.supplyCut || f.stopPressed {
		return false
	}
	for id := range n.pumps {
		if f.pumps[id].trouble.stuckOn {
			return true
		}
	}
	return false
}
