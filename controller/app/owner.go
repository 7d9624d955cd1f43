package app

import (
	"bytes"
	"fmt"
	"time"

	"go.uber.org/zap"

	"leat/controller"
	"leat/controller/payload"
	"leat/dosing"
)

// A station has one owner: the daemon whose instance stands, retained, on its owner topic
// and whose leases are heard. Another one that names its station the same gives no order,
// no lease and no answer, and publishes nothing of the station, until the owner has left
// or has been silent for ownerSilent. So of two daemons on one broker the later waits and
// the earlier is not disturbed.
const (
	// claimAfter is how long a daemon listens after its link has opened before it takes a
	// station of which it has heard nothing.
	claimAfter = 2 * time.Second
	// ownerSilent is how long an owner may be silent: three times what its lease holds. Its
	// claim is retained, so a machine that was replaced would else hold the station for good.
	ownerSilent = 3 * leaseHolds
)

// ownership is what is known of who owns the station.
type ownership struct {
	instance string // ours
	owns     bool
	epoch    uint32        // as last claimed
	other    string        // the instance that owns it in our place; "" = none is known
	heard    time.Duration // uptime of the other's last lease or claim
	opened   time.Duration // uptime at which the link last opened
	closed   time.Duration // and at which it was last lost
	told     time.Duration // uptime at which a contest was last told of
	early    []early       // asks that came before anybody owned the station
}

// early is an ask that waits until it is known whose it is.
type early struct {
	route route
	body  []byte
}

const mostEarly = 32

// owners takes the station and leaves it to others.
type owners struct {
	*gear
	driver  *driver
	display *display
	outbox  *outbox
	other   time.Duration // uptime until which another daemon is believed to be there; 0 = none
}

// notOurs says whether an ask is for another daemon to answer. Before anybody owns the
// station it waits.
func (ow *owners) notOurs(r route, body []byte) bool {
	o := &ow.owner
	if !o.owns && o.other == "" && len(o.early) < mostEarly {
		o.early = append(o.early, early{r, bytes.Clone(body)})
	}
	return !o.owns
}

// linked begins to listen anew. After a break in which another may have taken the station
// ours is given up until nobody has.
func (o *ownership) linked(up bool, now time.Duration) {
	if !up {
		o.closed = now
		return
	}
	o.opened = now
	if o.owns && now-o.closed >= leaseHolds {
		o.owns = false
	}
}

// holder is who owns the station, in words for a person.
func (o *ownership) holder() string {
	return fmt.Sprintf("daemon %s owns the station of this name on this broker; stop one of the two, or give this one's station another name", o.other)
}

// takeOwner takes what stands on the owner topic, retained or new. An empty message is an
// owner that left.
func (ow *owners) takeOwner(at dosing.Instant, body []byte) error {
	o := &ow.owner
	if len(body) == 0 {
		if !o.owns {
			o.other, o.heard = "", 0
		}
		return nil
	}
	instance, _, err := payload.ParseOwner(body)
	switch {
	case err != nil:
		return err
	case instance == o.instance:
		if !o.owns {
			ow.claim(at) // ours from an earlier run
		}
	case o.owns:
		ow.contest(at, instance)
	default:
		ow.yield(at, instance)
	}
	return nil
}

// contest is two daemons that both took the station, which the leases of both show too:
// neither doses, and a person is told.
func (ow *owners) contest(at dosing.Instant, instance string) {
	if at.Up-ow.owner.told >= leaseHolds {
		ow.owner.told = at.Up
		ow.log.Warn("another daemon claims this station too: neither doses", zap.String("other", instance), zap.String("this", ow.owner.instance))
		ow.claimAloud()
	}
	ow.seeOther(at, leaseHolds)
}

// hearOther notes that the other owner is alive.
func (ow *owners) hearOther(at dosing.Instant) {
	if !ow.owner.owns {
		ow.owner.heard = max(ow.owner.heard, at.Up)
	}
}

// yield leaves the station to another daemon.
func (ow *owners) yield(at dosing.Instant, instance string) {
	o := &ow.owner
	if o.other != instance {
		ow.log.Warn("another daemon owns this station: nothing is ordered or answered here", zap.String("station", ow.file.Settings.Safety.Station),
			zap.String("owner", instance), zap.String("this", o.instance))
	}
	o.owns, o.other, o.heard, o.early = false, instance, max(o.heard, at.Up), nil
	ow.holdForOther(at)
}

// holdForOther holds all doses for as long as another daemon owns the station.
func (ow *owners) holdForOther(at dosing.Instant) {
	first := ow.other == 0
	ow.other = at.Up + leaseHolds
	if first {
		ow.driver.step(at, controller.Event{Kind: controller.EventOther, Up: true, Text: ow.owner.holder()})
	}
}

// claim takes the station. Above all the stop of the start goes out: a dose of an earlier
// run may still go on.
func (ow *owners) claim(at dosing.Instant) {
	o := &ow.owner
	if o.other != "" {
		ow.log.Warn("the owner of this station is silent: taken over", zap.String("owner", o.other), zap.Duration("silent_for", at.Up-o.heard))
	}
	o.owns, o.other = true, ""
	ow.display.state.forget()
	ow.echoed = at.Up
	ow.claimAloud()
	if ow.outbox.stopOwed {
		ow.outbox.stopPumps()
	}
	if ow.other > 0 {
		ow.other = 0
		ow.driver.step(at, controller.Event{Kind: controller.EventOther})
	}
	ow.display.stale = true
}

func (ow *owners) claimAloud() {
	ow.owner.epoch = ow.core.Epoch()
	ow.publish(message{topic: ow.wires.topics.Owner(), qos: 1, retained: true, body: payload.AppendOwner(nil, ow.owner.instance, ow.core.Epoch())})
}

// watchOwner takes the station when nobody else has it, and else goes on waiting.
func (ow *owners) watchOwner(now dosing.Instant) {
	o := &ow.owner
	if o.owns && ow.connected && o.epoch != ow.core.Epoch() {
		ow.claimAloud()
	}
	if o.owns || !ow.connected {
		return
	}
	ow.echoed = now.Up // no lease of ours goes out, so none comes back
	waited := now.Up-o.opened >= claimAfter
	alive := o.heard > 0 && now.Up-max(o.heard, o.opened) < ownerSilent
	switch {
	case waited && !alive:
		ow.claim(now)
	case o.other != "":
		ow.holdForOther(now)
	}
}

// leaveStation takes our claim back at an orderly end.
func (ow *owners) leaveStation() {
	if ow.owner.owns {
		ow.publish(message{topic: ow.wires.topics.Owner(), qos: 1, retained: true})
	}
}

// seeOther holds all doses while another daemon is believed to be there.
func (ow *owners) seeOther(now dosing.Instant, holds time.Duration) {
	ow.other = max(ow.other, now.Up+holds)
	ow.driver.step(now, controller.Event{Kind: controller.EventOther, Up: true})
}
