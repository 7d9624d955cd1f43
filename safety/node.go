package safety

import (
	"time"

	"leat/dosing"
)

const (
	nodeOfflineAfter = 10 * time.Second // five heartbeats, and the length of a lease
	nodeGap          = 5 * time.Second  // a longer gap in the heartbeat is not steady
	nodeSteadyFor    = 10 * time.Second
	bootsWithin      = 10 * time.Minute
	clockOver        = time.Minute // its tick is compared over this long
	clockRatio       = 0.10
	clockSlack       = 3 * time.Second // network delay between two heartbeats
	uncommandedAfter = 10 * time.Second
	busyGrace        = 5 * time.Second // the heartbeat after a dose may be this late
)

// nodeState is what the watch keeps of one pump node.
type nodeState struct {
	full bool // it must send heartbeats

	seen   bool
	boot   string
	tick   time.Duration
	at     time.Duration // when the heartbeat came
	steady time.Duration // since when it comes without a gap
	idle   bool
	busy   dosing.Timer

	rebooted bool
	boots    [4]time.Duration // the latest restarts
	restarts int
	loop     bool // more than three starts in ten minutes

	anchorUp, anchorTick time.Duration // tick is compared with uptime since here
	off                  when          // when its clock was last found wrong

	expected when // until then it may be busy for us although nothing is open
	closed   when // when a dose of ours last ended here
}

// heartbeats takes what nodes say of themselves.
type heartbeats struct{ *state }

// Heartbeat takes a node's word on itself. One without a boot identity is none.
func (hb *heartbeats) Heartbeat(now dosing.Instant, id NodeID, boot string, tick time.Duration, idle bool) {
	if int(id) >= len(hb.nodes) || boot == "" || tick < 0 {
		return
	}
	n := &hb.nodes[id]
	hb.heard = max(hb.heard, now.Up)
	switch {
	case !n.seen:
		n.steady, n.anchorUp, n.anchorTick = now.Up, now.Up, tick
	case boot != n.boot:
		n.reboot(now.Up)
		n.anchorUp, n.anchorTick = now.Up, tick
	default:
		if now.Up-n.at > nodeGap {
			n.steady = now.Up
		}
		n.compare(now.Up, tick)
	}
	n.seen, n.boot, n.tick, n.at, n.idle = true, boot, tick, now.Up, idle
	n.busy.Run(!idle, now.Up)
}

func (n *nodeState) reboot(up time.Duration) {
	n.rebooted, n.steady = true, up
	n.boots = [4]time.Duration{n.boots[1], n.boots[2], n.boots[3], up}
	n.restarts = min(n.restarts+1, len(n.boots))
	if n.restarts == len(n.boots) && up-n.boots[0] <= bootsWithin {
		n.loop = true
	}
}

// compare checks the node's tick against our uptime: a jump from one heartbeat to
// the next, and the ratio over a minute.
func (n *nodeState) compare(up, tick time.Duration) {
	passed, ticked := up-n.at, tick-n.tick
	wrong := (ticked - passed).Abs() > passed/10+clockSlack
	if over := up - n.anchorUp; over >= clockOver {
		ratio := float64(tick-n.anchorTick) / float64(over)
		wrong = wrong || !(ratio >= 1-clockRatio && ratio <= 1+clockRatio)
		n.anchorUp, n.anchorTick = up, tick
	}
	if wrong {
		n.off.set(up)
		n.anchorUp, n.anchorTick = up, tick
	}
}

// expect says that the node may be busy for us until up.
func (n *nodeState) expect(up time.Duration) { n.expected.set(up) }

// silent says that the node has not been heard for too long, and for how long.
func (n *nodeState) silent(up time.Duration) (time.Duration, bool) {
	if !n.seen {
		return 0, n.full
	}
	age := up - n.at
	return age, age > nodeOfflineAfter
}

// well says that the node is heard, steady, idle and keeps time.
func (n *nodeState) well(up time.Duration) bool {
	return n.seen && n.idle && !n.rebooted && up-n.at <= nodeOfflineAfter && !n.off.within(clockOver, up)
}

// uncommanded says that the node has been busy for a while although no order of ours
// can be running.
func (n *nodeState) uncommanded(up time.Duration) bool {
	return n.running(up) && !(n.expected.ever && up <= n.expected.up) &&
		up-n.busy.Since > uncommandedAfter
}

// running says that by its last heartbeat, if that is young, the node is busy.
func (n *nodeState) running(up time.Duration) bool {
	return n.seen && !n.idle && up-n.at <= nodeOfflineAfter
}

// openOn says whether a dose of ours is open on a node.
func (st *state) openOn(id NodeID) bool {
	for _, d := range st.open {
		if st.pumps[d.Pump].node == id {
			return true
		}
	}
	return false
}

// Node is what a node last said of itself, its tick carried on to now.
func (hb *heartbeats) Node(now dosing.Instant, id NodeID) (boot string, tick, age time.Duration, seen bool) {
	if int(id) >= len(hb.nodes) || !hb.nodes[id].seen {
		return "", 0, 0, false
	}
	n := &hb.nodes[id]
	age = now.Up - n.at
	return n.boot, n.tick + age, age, true
}

// longestRun is the longest order that any pump of the node may run.
func (st *state) longestRun(id NodeID) time.Duration {
	longest := time.Duration(0)
	for p := range st.settings.Pumps {
		if p < len(st.settings.PumpNode) && st.settings.PumpNode[p] == id && p < len(st.settings.Caps) {
			longest = max(longest, st.settings.Caps[p].OnTime)
		}
	}
	return longest
}
