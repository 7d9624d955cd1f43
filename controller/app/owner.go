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

// notOurs says whether an ask is for another daemon to answer. Before anybody owns the
// station it waits.
func (a *App) notOurs(r route, body []byte) bool {
	o := &a.owner
	if !o.owns && o.other == "" && len(o.early) < mostEarly {
		o.early = append(o.early, early{r, bytes.Clone(body)})
	}
	return !o.owns
}

// takeEarly takes the asks that waited.
func (a *App) takeEarly() {
	waiting := a.owner.early
	a.owner.early = nil
	for _, e := range waiting {
		take, topic := a.takeAsk, a.wires.topics.Ask(e.route.tank, e.route.quantity)
		if e.route.kind == routeAnalysis {
			take, topic = a.takeAnalysis, a.wires.topics.AnalysisAsk(e.route.tank)
		}
		if err := take(e.route, e.body); err != nil {
			a.metrics.Message("refused")
			a.refused.note(a.stepped.Up, topic, err)
		}
	}
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
func (a *App) takeOwner(at dosing.Instant, body []byte) error {
	o := &a.owner
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
			a.claim(at) // ours from an earlier run
		}
	case o.owns:
		a.contest(at, instance)
	default:
		a.yield(at, instance)
	}
	return nil
}

// contest is two daemons that both took the station, which the leases of both show too:
// neither doses, and a person is told.
func (a *App) contest(at dosing.Instant, instance string) {
	if at.Up-a.owner.told >= leaseHolds {
		a.owner.told = at.Up
		a.log.Warn("another daemon claims this station too: neither doses", zap.String("other", instance), zap.String("this", a.owner.instance))
		a.claimAloud()
	}
	a.seeOther(at, leaseHolds)
}

// hearOther notes that the other owner is alive.
func (a *App) hearOther(at dosing.Instant) {
	if !a.owner.owns {
		a.owner.heard = max(a.owner.heard, at.Up)
	}
}

// yield leaves the station to another daemon.
func (a *App) yield(at dosing.Instant, instance string) {
	o := &a.owner
	if o.other != instance {
		a.log.Warn("another daemon owns this station: nothing is ordered or answered here", zap.String("station", a.file.Settings.Safety.Station),
			zap.String("owner", instance), zap.String("this", o.instance))
	}
	o.owns, o.other, o.heard, o.early = false, instance, max(o.heard, at.Up), nil
	a.holdForOther(at)
}

// holdForOther holds all doses for as long as another daemon owns the station.
func (a *App) holdForOther(at dosing.Instant) {
	first := a.other == 0
	a.other = at.Up + leaseHolds
	if first {
		a.step(at, controller.Event{Kind: controller.EventOther, Up: true, Text: a.owner.holder()})
	}
}

// claim takes the station. Above all the stop of the start goes out: a dose of an earlier
// run may still go on.
func (a *App) claim(at dosing.Instant) {
	o := &a.owner
	if o.other != "" {
		a.log.Warn("the owner of this station is silent: taken over", zap.String("owner", o.other), zap.Duration("silent_for", at.Up-o.heard))
	}
	o.owns, o.other = true, ""
	a.state.forget()
	a.echoed = at.Up
	a.claimAloud()
	if a.stopOwed {
		a.stopPumps()
	}
	if a.other > 0 {
		a.other = 0
		a.step(at, controller.Event{Kind: controller.EventOther})
	}
	a.stale = true
	a.takeEarly()
}

func (a *App) claimAloud() {
	a.owner.epoch = a.core.Epoch()
	a.publish(message{topic: a.wires.topics.Owner(), qos: 1, retained: true, body: payload.AppendOwner(nil, a.owner.instance, a.core.Epoch())})
}

// watchOwner takes the station when nobody else has it, and else goes on waiting.
func (a *App) watchOwner(now dosing.Instant) {
	o := &a.owner
	if o.owns && a.connected && o.epoch != a.core.Epoch() {
		a.claimAloud()
	}
	if o.owns || !a.connected {
		return
	}
	a.echoed = now.Up // no lease of ours goes out, so none comes back
	waited := now.Up-o.opened >= claimAfter
	alive := o.heard > 0 && now.Up-max(o.heard, o.opened) < ownerSilent
	switch {
	case waited && !alive:
		a.claim(now)
	case o.other != "":
		a.holdForOther(now)
	}
}

// leaveStation takes our claim back at an orderly end.
func (a *App) leaveStation() {
	if a.owner.owns {
		a.publish(message{topic: a.wires.topics.Owner(), qos: 1, retained: true})
	}
}
