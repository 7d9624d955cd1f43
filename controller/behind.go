package controller

import (
	"fmt"
	"math"
	"strings"
	"time"

	"leat/dosing"
	"leat/safety"
	"leat/safety/ledger"
)

// A node remembers the highest epoch and the last order that it took. If it knows of
// a later one than the ledger, the ledger was lost, an older copy was put back, or
// somebody else gave orders: what was dosed meanwhile counts nowhere. Nothing is
// dosed until a person has raised the epoch above what the nodes know.

// nodeWord is what a node says of epochs and orders.
type nodeWord struct {
	epoch uint32
	last  ledger.OrderID
	ahead int // heartbeats in a row by which it knows more than the ledger
}

// unknownSpan is for how long doses may be missing from a ledger that does not say
// when it ended: longer than any cap looks back.
const unknownSpan = 24 * time.Hour

// compareLedger compares what a node remembers with what the ledger holds. It takes
// two heartbeats: one can be anybody's.
func (c *Core) compareLedger(now dosing.Instant, h *Heartbeat) {
	if int(h.Node) >= len(c.nodes) {
		return
	}
	n := &c.nodes[h.Node]
	n.epoch = h.Epoch
	if h.Last != nil {
		n.last = h.Last.Order
	}
	name := c.settings.Safety.Nodes[h.Node].Name
	newer := !c.holds(n.last)
	switch {
	case newer:
		n.ahead++
	case n.epoch > c.epoch:
		n.ahead++
	default:
		n.ahead = 0
		return
	}
	if n.ahead < agreeing {
		return
	}
	words := fmt.Sprintf("node %q has seen epoch %d; the ledger is at %d", name, n.epoch, c.epoch)
	if newer {
		words = fmt.Sprintf("node %q took order %s last; the ledger ends with %s", name, n.last, c.ends())
	}
	c.behind(now, words, newer)
}

// holds says whether the ledger holds an order, or a person has answered for it by
// raising the epoch. What a node took in an epoch that is long past tells nothing.
func (c *Core) holds(order ledger.OrderID) bool {
	if order.Epoch < c.answered {
		return true
	}
	if order.Epoch == c.epoch {
		return order.Number <= c.number
	}
	for _, last := range c.earlier {
		if last.Epoch == order.Epoch {
			return order.Number <= last.Number
		}
	}
	return len(c.earlier) >= ledger.KeptEpochs && order.Epoch < c.earlier[0].Epoch
}

// ends is the latest order of the ledger in words.
func (c *Core) ends() string {
	switch {
	case c.number > 0:
		return ledger.OrderID{Epoch: c.epoch, Number: c.number}.String()
	case len(c.earlier) > 0:
		return c.earlier[len(c.earlier)-1].String()
	}
	return "no order at all"
}

// behind locks the station out. Doses that the ledger lacks count as spent caps.
func (c *Core) behind(now dosing.Instant, words string, doses bool) {
	if doses && !c.spent {
		c.spent = true
		c.spend(now, c.missing)
	}
	if !c.watch.Behind() {
		c.watch.BehindNode(now, words)
		c.evaluate(now)
		c.out.Changed = true
	}
}

// spend counts the caps of a time of which the ledger knows nothing as spent, by
// every pump. It is in the water already, so nothing of it is in transit.
func (c *Core) spend(now dosing.Instant, span time.Duration) {
	for p := range c.settings.Safety.Pumps {
		pump := dosing.PumpID(p)
		volume := c.spentIn(pump, span)
		if volume <= 0 {
			continue
		}
		c.watch.Spent(now, pump, volume)
		c.change(ledger.Change{Kind: ledger.ChangeSpent, At: now, Pump: c.settings.Safety.Pumps[p].Name, Volume: volume, By: "leat",
			Note: fmt.Sprintf("the ledger lacks the doses of %s; as much as the caps allow counts as given", span.Round(time.Minute))})
	}
}

// spentIn is the most that the caps allow in a span: what is allowed in an hour may all
// have been given in a few minutes of it.
func (c *Core) spentIn(pump dosing.PumpID, span time.Duration) dosing.Volume {
	caps := c.settings.Safety.Caps[pump]
	span = min(max(span, time.Hour), unknownSpan)
	return min(dosing.Volume(math.Ceil(float64(caps.PerHour)*span.Hours())), caps.PerDay)
}

// missingSince is how long the ledger says nothing before now, whatever the clocks
// are worth: one that ran backwards tells nothing.
func missingSince(last, now time.Time) time.Duration {
	missing := now.Sub(last)
	if last.IsZero() || missing < 0 || missing > unknownSpan {
		return unknownSpan
	}
	return missing
}

// askRaiseEpoch lets a person begin an epoch above what every node has seen. Only
// on the machine itself: whoever can do that can also give orders that the nodes
// then refuse to the daemon.
func (c *Core) askRaiseEpoch(now dosing.Instant, r *Request) {
	epoch := uint64(c.epoch)
	for i := range c.nodes {
		epoch = max(epoch, uint64(c.nodes[i].epoch), uint64(c.nodes[i].last.Epoch))
	}
	epoch++
	switch {
	case !strings.HasPrefix(r.From, "socket"): // with who is at its other end
		c.refuse(r, "only on the machine itself: leat mode raise-epoch")
	case r.Note == "":
		c.refuse(r, "say in the note what was checked: what was dosed since the ledger ends, and who gave the orders")
	case !c.watch.Behind():
		c.refuse(r, "no node knows of later orders than the ledger, so there is nothing to raise")
	case c.dose.state != doseNone:
		c.refuse(r, "a dose is open; ask again when it is settled")
	case epoch > math.MaxUint32:
		c.refuse(r, "a node has seen the last epoch that there is; reset that node by hand")
	default:
		text := fmt.Sprintf("epoch %d, above what every node has seen; every tank is observing, arm it to dose", epoch)
		if slow := c.tooFar(uint32(epoch)); len(slow) > 0 {
			text += fmt.Sprintf(". It is more than %d above what %s saw: reset by hand", EpochRoom, strings.Join(slow, " and "))
		}
		c.awaitMore(now, r, ledger.Change{Kind: ledger.ChangeEpoch, Old: float64(c.epoch), Value: float64(epoch)}, text)
	}
}

// EpochRoom is how far above the highest epoch it has seen a node lets another begin
// within ten minutes; deploy/node.md says why.
const EpochRoom = 100

// tooFar are the nodes that would not take an epoch.
func (c *Core) tooFar(epoch uint32) (names []string) {
	for i := range c.nodes {
		if seen := c.nodes[i].epoch; seen > 0 && epoch-seen > EpochRoom {
			names = append(names, fmt.Sprintf("node %q", c.settings.Safety.Nodes[i].Name))
		}
	}
	return names
}

// epochRaised begins the epoch that is now on disk.
func (c *Core) epochRaised(now dosing.Instant, change ledger.Change) {
	if c.number > 0 {
		c.earlier = append(c.earlier, ledger.OrderID{Epoch: c.epoch, Number: c.number})
	}
	c.epoch, c.number = uint32(change.Value), 0
	c.answered = c.epoch
	c.spent, c.missing = false, 0
	for i := range c.nodes {
		c.nodes[i].ahead = 0
	}
	c.watch.EpochRaised(now)
	for i := range c.tanks {
		if c.tanks[i].mode == safety.ModeArmed {
			c.setMode(now, dosing.TankID(i), safety.ModeObserving)
		}
	}
	c.evaluate(now)
	c.out.Changed = true
}
