package sim

import (
	"time"

	"leat/controller"
	"leat/dosing"
	"leat/safety/ledger"
)

// command is an order as it arrived at a node.
type command struct {
	order  ledger.OrderID
	pump   dosing.PumpID
	outlet string
	volume dosing.Volume
	run    time.Duration
	boot   string
	before time.Duration // the node's tick before which it must start
}

// The words with which a node refuses or stops. Tests and the daemon's log show
// them as they are.
const (
	causeEpoch   = controller.RefusedOldEpoch
	causeOld     = controller.RefusedOldOrder
	causeAhead   = controller.RefusedEpochAhead
	causeBoot    = "meant for another boot"
	causeLate    = "too late"
	causeBusy    = "another order is running"
	causeLease   = "no valid lease"
	causeOutlet  = "outlet unknown or not open"
	causeOnTime  = controller.RefusedTooLong
	causePump    = controller.RefusedUnknownPump
	causeHourly  = "hourly limit of this node"
	causeSupply  = "dosing supply is cut"
	causeNothing = "nothing to do"
	causeStopped = "stop order"
)

// take is the node's whole judgement of an order. An order it has seen before is
// never run again: it answers with what became of it.
func (n *node) take(f *network, c command) {
	if !n.up(f.now) || n.trouble.deaf {
		return
	}
	if !n.full {
		n.pulse(f, c)
		return
	}
	key := c.order.Key()
	if n.running != nil && n.running.key == key {
		f.report(n, n.running.report(controller.PhaseRunning, f.now-n.running.started, ""))
		return
	}
	if n.last != nil && n.last.Order == c.order {
		f.report(n, *n.last)
		return
	}
	tank, cause := n.judge(f, c)
	if cause != "" {
		n.refused++
		f.report(n, controller.Report{Order: c.order, Pump: c.pump, Phase: controller.PhaseRefused, Cause: cause})
		return
	}
	n.see(f.now, c.order.Epoch)
	n.lastKey = key
	n.begin(f, c, tank)
	begun := n.running
	running := begun.report(controller.PhaseRunning, 0, "")
	n.noted = &running
	f.report(n, begun.report(controller.PhaseAccepted, 0, ""))
	if n.running == begun { // a stop may have answered the report at once
		f.report(n, running)
	}
}

// judge says into which tank the order goes, or why the node will not run it.
func (n *node) judge(f *network, c command) (dosing.TankID, string) {
	own, mine := n.pumps[c.pump]
	tank, known := f.outlet(c)
	switch {
	case c.order.Epoch < n.epoch:
		return 0, causeEpoch
	case n.tooFar(f.now, c.order.Epoch):
		return 0, causeAhead
	case c.order.Key() <= n.lastKey:
		return 0, causeOld
	case c.boot != n.boot:
		return 0, causeBoot
	case n.tick(f.now) >= c.before:
		return 0, causeLate
	case n.running != nil:
		return 0, causeBusy
	case f.now >= n.lease:
		return 0, causeLease
	case f.supplyCut || f.stopPressed:
		return 0, causeSupply
	case !mine:
		return 0, causePump
	case !known:
		return 0, causeOutlet
	case c.run <= 0 || c.volume <= 0:
		return 0, causeNothing
	case c.run > own.onTime:
		return 0, causeOnTime
	case n.hourRun(c.pump, f.now)+max(c.run, c.volume.RunTime(f.pumps[c.pump].set.PerSecond)) > own.hourly:
		return 0, causeHourly
	}
	return tank, ""
}

// pulse runs a bounded time without asking or telling: all that a plain node can.
func (n *node) pulse(f *network, c command) {
	own, mine := n.pumps[c.pump]
	tank, known := f.outlet(c)
	if !mine || !known || n.running != nil || f.supplyCut || f.stopPressed || c.run <= 0 {
		return
	}
	c.run = min(c.run, own.onTime)
	n.begin(f, c, tank)
}

func (n *node) begin(f *network, c command, tank dosing.TankID) {
	n.running = &run{order: c.order, key: c.order.Key(), pump: c.pump, tank: tank, volume: c.volume, length: c.run,
		started: f.now, shot: f.pumps[c.pump].shot(c.volume, f.quiet)}
	f.open = tank
	f.starts++
	f.tell(n.running, false)
	if n.trouble.forgeStop {
		n.posted = append(n.posted, posted{due: f.now + time.Second, report: nought(n.running), forged: true})
	}
}

// firstEpoch is the highest that a node takes which has seen none: it leaves half of
// all epochs above it.
const firstEpoch = 1 << 31

// epochWindow is how long the room for other epochs must do.
const epochWindow = 10 * time.Minute

// tooFar says that an epoch lies so far above the highest seen that no restart of the
// daemon explains it. Without that bound one forged lease would poison a node for
// good: the daemon's own would be older for ever.
func (n *node) tooFar(now time.Duration, epoch uint32) bool {
	if n.epoch == 0 {
		return epoch > firstEpoch
	}
	if now-n.roomAt >= epochWindow {
		n.roomFrom, n.roomAt = n.epoch, now
	}
	return epoch > n.roomFrom && epoch-n.roomFrom > controller.EpochRoom
}

// see notes an epoch that is taken.
func (n *node) see(now time.Duration, epoch uint32) {
	if n.epoch == 0 {
		n.roomFrom, n.roomAt = epoch, now
	}
	n.epoch = max(n.epoch, epoch)
}

// renew takes a lease: of an epoch not older than the highest seen nor too far above
// it, and with a beat that rises, so that a copy kept by the broker keeps nothing alive.
func (n *node) renew(f *network, epoch uint32, beat uint64) {
	if !n.up(f.now) || n.trouble.deaf || epoch < n.epoch || epoch == n.epoch && beat <= n.beat || n.tooFar(f.now, epoch) {
		return
	}
	n.see(f.now, epoch)
	n.beat = beat
	n.lease = f.now + leaseHolds
}

// halt obeys a stop, from whatever epoch: stopping is always safe.
func (n *node) halt(f *network, pump dosing.PumpID, all bool) {
	if !n.up(f.now) || n.trouble.deaf || n.running == nil || !all && n.running.pump != pump {
		return
	}
	n.end(f, controller.PhaseStopped, causeStopped)
}
