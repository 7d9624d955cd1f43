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

// epochs numbers the orders of this run, and compares what the nodes remember of
// earlier ones with what the ledger holds.
type epochs struct {
	*station
	wishes     *wishes
	interlocks *interlocks
	modes      *modes
	epoch      uint32
	number     uint32 // of the newest order
	words      []nodeWord
	earlier    []ledger.OrderID // the last order of each earlier epoch, ascending
	answered   uint32           // for what nodes took in epochs before this one a person has answered
	missing    time.Duration    // how long before this run the ledger says nothing
	restored   bool             // a copy was put back: what is missing is spent
	spent      bool             // and has been counted
}

func newEpochs(s *station, w *wishes, i *interlocks, m *modes, restored ledger.State, now dosing.Instant) epochs {
	return epochs{station: s, wishes: w, interlocks: i, modes: m, epoch: restored.LastEpoch + 1, words: make([]nodeWord, len(s.settings.Safety.Nodes)),
		earlier: restored.LastOrders, answered: max(restored.Answered, 1), missing: missingSince(restored.Last, now.Wall)}
}

// unknownSpan is for how long doses may be missing from a ledger that does not say
// when it ended: longer than any cap looks back.
const unknownSpan = 24 * time.Hour

// compare compares what a node remembers with what the ledger holds. It takes
// two heartbeats: one can be anybody's.
func (ep *epochs) compare(now dosing.Instant, h *Heartbeat) {
	if int(h.Node) >= len(ep.words) {
		return
	}
	n := &ep.words[h.Node]
	n.epoch = h.Epoch
	if h.Last != nil {
		n.last = h.Last.Order
	}
	name := ep.settings.Safety.Nodes[h.Node].Name
	newer := !ep.holds(n.last)
	switch {
	case newer:
		n.ahead++
	case n.epoch > ep.epoch:
		n.ahead++
	default:
		n.ahead = 0
		return
	}
	if n.ahead < agreeing {
		return
	}
	words := fmt.Sprintf("node %q has seen epoch %d; the ledger is at %d", name, n.epoch, ep.epoch)
	if newer {
		words = fmt.Sprintf("node %q took order %s last; the ledger ends with %s", name, n.last, ep.ends())
	}
	ep.behind(now, words, newer)
}

// holds says whether the ledger holds an order, or a person has answered for it by
// raising the epoch. What a node took in an epoch that is long past tells nothing.
func (ep *epochs) holds(order ledger.OrderID) bool {
	if order.Epoch < ep.answered {
		return true
	}
	if order.Epoch == ep.epoch {
		return order.Number <= ep.number
	}
	for _, last := range ep.earlier {
		if last.Epoch == order.Epoch {
			return order.Number <= last.Number
		}
	}
	return len(ep.earlier) >= ledger.KeptEpochs && order.Epoch < ep.earlier[0].Epoch
}

// ends is the latest order of the ledger in words.
func (ep *epochs) ends() string {
	switch {
	case ep.number > 0:
		return ledger.OrderID{Epoch: ep.epoch, Number: ep.number}.String()
	case len(ep.earlier) > 0:
		return ep.earlier[len(ep.earlier)-1].String()
	}
	return "no order at all"
}

// behind locks the station out. Doses that the ledger lacks count as spent caps.
func (ep *epochs) behind(now dosing.Instant, words string, doses bool) {
	if doses && !ep.spent {
		ep.spent = true
		ep.spend(now, ep.missing)
	}
	if !ep.watch.Behind() {
		ep.watch.BehindNode(now, words)
		ep.interlocks.evaluate(now)
		ep.out.Changed = true
	}
}

// spend counts the caps of a time of which the ledger knows nothing as spent, by
// every pump. It is in the water already, so nothing of it is in transit.
func (ep *epochs) spend(now dosing.Instant, span time.Duration) {
	for p := range ep.settings.Safety.Pumps {
		pump := dosing.PumpID(p)
		volume := ep.spentIn(pump, span)
		if volume <= 0 {
			continue
		}
		ep.watch.Spent(now, pump, volume)
		ep.change(ledger.Change{Kind: ledger.ChangeSpent, At: now, Pump: ep.settings.Safety.Pumps[p].Name, Volume: volume, By: "leat",
			Note: fmt.Sprintf("the ledger lacks the doses of %s; as much as the caps allow counts as given", span.Round(time.Minute))})
	}
}

// spentIn is the most that the caps allow in a span: what is allowed in an hour may all
// have been given in a few minutes of it.
func (ep *epochs) spentIn(pump dosing.PumpID, span time.Duration) dosing.Volume {
	caps := ep.settings.Safety.Caps[pump]
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

// ask lets a person begin an epoch above what every node has seen. Only
// on the machine itself: whoever can do that can also give orders that the nodes
// then refuse to the daemon.
func (ep *epochs) ask(now dosing.Instant, r *Request) {
	epoch := uint64(ep.epoch)
	for i := range ep.words {
		epoch = max(epoch, uint64(ep.words[i].epoch), uint64(ep.words[i].last.Epoch))
	}
	epoch++
	switch {
	case !strings.HasPrefix(r.From, "socket"): // with who is at its other end
		ep.refuse(r, "only on the machine itself: leat mode raise-epoch")
	case r.Note == "":
		ep.refuse(r, "say in the note what was checked: what was dosed since the ledger ends, and who gave the orders")
	case !ep.watch.Behind():
		ep.refuse(r, "no node knows of later orders than the ledger, so there is nothing to raise")
	case ep.dose.state != doseNone:
		ep.refuse(r, "a dose is open; ask again when it is settled")
	case epoch > math.MaxUint32:
		ep.refuse(r, "a node has seen the last epoch that there is; reset that node by hand")
	default:
		text := fmt.Sprintf("epoch %d, above what every node has seen; every tank is observing, arm it to dose", epoch)
		if slow := ep.tooFar(uint32(epoch)); len(slow) > 0 {
			text += fmt.Sprintf(". It is more than %d above what %s saw: reset by hand", EpochRoom, strings.Join(slow, " and "))
		}
		ep.wishes.awaitMore(now, r, ledger.Change{Kind: ledger.ChangeEpoch, Old: float64(ep.epoch), Value: float64(epoch)}, text)
	}
}

// EpochRoom is how far above the highest epoch it has seen a node lets another begin
// within ten minutes; deploy/node.md says why.
const EpochRoom = 100

// tooFar are the nodes that would not take an epoch.
func (ep *epochs) tooFar(epoch uint32) (names []string) {
	for i := range ep.words {
		if seen := ep.words[i].epoch; seen > 0 && epoch-seen > EpochRoom {
			names = append(names, fmt.Sprintf("node %q", ep.settings.Safety.Nodes[i].Name))
		}
	}
	return names
}

// raised begins the epoch that is now on disk.
func (ep *epochs) raised(now dosing.Instant, change ledger.Change) {
	if ep.number > 0 {
		ep.earlier = append(ep.earlier, ledger.OrderID{Epoch: ep.epoch, Number: ep.number})
	}
	ep.epoch, ep.number = uint32(change.Value), 0
	ep.answered = ep.epoch
	ep.spent, ep.missing = false, 0
	for i := range ep.words {
		ep.words[i].ahead = 0
	}
	ep.watch.EpochRaised(now)
	for i := range ep.tanks {
		if ep.tanks[i].mode == safety.ModeArmed {
			ep.modes.set(now, dosing.TankID(i), safety.ModeObserving)
		}
	}
	ep.interlocks.evaluate(now)
	ep.out.Changed = true
}
