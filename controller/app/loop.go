package app

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"go.uber.org/zap"

	"leat/controller"
	"leat/controller/payload"
	"leat/dosing"
	"leat/safety"
)

// clockStep is the smallest jump of the wall clock against the uptime that is
// recorded. Slewing stays far below it.
const clockStep = 2 * time.Second

// leaseHolds is how long a lease is believed: another daemon's last one may stand
// for this long.
const leaseHolds = 10 * time.Second

// Two daemons under one client id throw each other out of the broker and never
// hear each other's leases. A link that is lost so often in so short a time means
// that. The time is longer than both need to come back once each with their longest
// pauses, so that neither stops noticing the other as the pauses grow.
const (
	flapsMean  = 3
	flapsSpan  = 3 * time.Minute
	flapsHolds = flapsSpan
)

// loop is the one goroutine that drives the core. Everything that happens comes in
// here as an event; what the core puts out is carried out before the next event.
func (a *App) loop(ctx context.Context, linkErr, webErr <-chan error) error {
	now := a.clock.Now()
	a.lastTick, a.stepped = now, now
	a.pulse.beat()
	a.carryOut(now, a.core.Begin(now, false))
	a.record.word = safety.LedgerReady
	a.tellRecord(now)
	if a.options.ArmAll {
		a.armAll()
	}
	a.options.Supervise("READY=1")
	for {
		a.showChanges()
		select {
		case <-ctx.Done():
			return nil
		case err := <-linkErr:
			return fmt.Errorf("broker: %w", err)
		case err := <-webErr:
			return fmt.Errorf("page: %w", err)
		case <-a.clock.Ticks():
			// Read anew: a tick that waited for a busy loop is as old as the wait.
			a.tick(a.clock.Now())
		case <-a.link.Ready():
			a.receive()
		case up := <-a.link.Changed():
			a.linkChanged(up)
		case done := <-a.writer.results:
			a.written(a.clock.Now(), done)
		case order := <-a.sender.withdrawn:
			a.step(a.clock.Now(), controller.Event{Kind: controller.EventWithdrawn, Order: order})
		case r := <-a.requests:
			a.takeRequest(r)
		case done := <-a.reloads:
			done <- a.reload()
		case probe := <-a.probes:
			probe <- a.quiet()
		}
	}
}

// quiet is asked from inside the loop, so nothing is being stepped now.
func (a *App) quiet() bool {
	return a.record.pending == 0 && a.sender.pending.Load() == 0 && a.link.Idle() &&
		len(a.sender.withdrawn) == 0 && len(a.link.Changed()) == 0 && len(a.link.Ready()) == 0
}

// step gives the core one event and carries out what it puts out. A message is
// stepped at the time it arrived, which may be before a tick that was taken first;
// the core's time never runs backwards, since that would mean a broken clock. The
// reading itself keeps its arrival.
func (a *App) step(now dosing.Instant, event controller.Event) {
	if now.Up < a.stepped.Up {
		now = a.stepped
	}
	a.stepped = now
	began := time.Now()
	a.carryOut(now, a.core.Step(now, &event))
	a.metrics.LoopStep(time.Since(began))
	a.pulse.beat()
	a.tellRecord(now)
}

// tick passes time on, and first what the wall clock did meanwhile.
func (a *App) tick(now dosing.Instant) {
	if jump := now.Wall.Sub(a.lastTick.Wall) - now.Since(a.lastTick); jump > clockStep || jump < -clockStep {
		a.step(now, controller.Event{Kind: controller.EventClock, Jump: jump})
	}
	a.lastTick = now
	a.watchOwner(now)
	if a.other > 0 && now.Up > a.other {
		a.other = 0
		a.step(now, controller.Event{Kind: controller.EventOther})
	}
	a.step(now, controller.Event{Kind: controller.EventTick})
	if a.sender.stopLost.Swap(false) {
		a.stopOwed = true
	}
	if a.stopOwed && a.owner.owns && a.link.Open() {
		a.stopPumps()
	}
	a.checkEcho(now)
	a.countUnread(now)
	if a.history.Due(now.Wall) {
		select {
		case a.writer.flush <- struct{}{}:
		default: // the writer is at it
		}
	}
	// The watchdog is fed by the decision's own progress: a hung core lets it run out.
	a.options.Supervise("WATCHDOG=1")
}

// countUnread counts and logs what the link threw away before anyone looked at it.
func (a *App) countUnread(now dosing.Instant) {
	stats := a.link.Stats()
	if stats.Oversize > a.unread.Oversize {
		a.refused.note(now.Up, "the broker", fmt.Errorf("a message is larger than %d bytes; send values, not files", payload.LargestPayload))
	}
	for range stats.Oversize - a.unread.Oversize {
		a.metrics.Message("refused")
	}
	a.metrics.Dropped(stats.Dropped - a.unread.Dropped)
	a.unread = stats
}

func (a *App) linkChanged(up bool) {
	a.log.Info("broker", zap.Bool("connected", up))
	now := a.clock.Now()
	a.connected, a.echoed = up, now.Up
	a.owner.linked(up, now.Up)
	if up {
		a.state.forget()
		if a.owner.owns {
			a.claimAloud()
			if a.stopOwed {
				a.stopPumps()
			}
		}
	} else {
		if n := a.losses.add(now.Up); n >= flapsMean {
			a.log.Warn("the broker ends the connection again and again: another program may use the same client id",
				zap.String("client_id", a.file.Broker.ClientID), zap.Int("losses", n), zap.Duration("within", flapsSpan))
			a.seeOther(now, flapsHolds)
		}
	}
	a.step(now, controller.Event{Kind: controller.EventLink, Up: up})
}

// checkEcho looks whether the broker still brings what is sent: our own lease, at
// least. A broker that has mistaken us for another client of the same id answers our
// pings and delivers nothing; neither would then lose its link or hear of the other.
func (a *App) checkEcho(now dosing.Instant) {
	if !a.connected || now.Up-a.echoed <= leaseHolds {
		return
	}
	a.echoed = now.Up
	a.log.Warn("the broker brings back none of our own leases: another program may use the same client id",
		zap.String("client_id", a.file.Broker.ClientID))
	a.link.Reopen(errors.New("nothing comes back of what is sent"))
}

// losses are the uptimes at which the link was lost, of the last flapsSpan.
type losses []time.Duration

// add takes one more and returns how many there are.
func (l *losses) add(up time.Duration) int {
	*l = append(slices.DeleteFunc(*l, func(at time.Duration) bool { return up-at > flapsSpan }), up)
	return len(*l)
}

// seeOther holds all doses while another daemon is believed to be there.
func (a *App) seeOther(now dosing.Instant, holds time.Duration) {
	a.other = max(a.other, now.Up+holds)
	a.step(now, controller.Event{Kind: controller.EventOther, Up: true})
}

// armAll is the demo's: it arms its own farm, and the record says so.
func (a *App) armAll() {
	for i := range a.file.Settings.Tanks {
		r := controller.Request{Kind: controller.RequestArm, Tank: dosing.TankID(i), By: "demo", From: "demo", Role: controller.RoleEngineer,
			Note: "the demo arms its own simulated farm"}
		a.step(a.clock.Now(), controller.Event{Kind: controller.EventRequest, Request: &r})
	}
}

// carryOut does what the core put out: the record first, then the nodes, then
// people.
func (a *App) carryOut(now dosing.Instant, out *controller.Output) {
	for _, c := range out.Corrections {
		a.intake.Correct(c.Input, c.Correction)
	}
	for _, draft := range out.Append {
		a.enter(now, draft)
	}
	for _, s := range out.Stops {
		// The stop of the start waits until the station is ours: another daemon's dose may run.
		// Every other stop goes out whoever owns it.
		waits := s.Tank == dosing.AllTanks && !a.owner.owns
		if waits || !a.urge(a.wires.stopMessage(a.core.Epoch(), s)) {
			a.stopOwed = true
		}
	}
	if out.Supply {
		a.urge(a.wires.supplyMessage(a.core.Epoch()))
	}
	for _, order := range out.Orders {
		m := message{topic: a.wires.orderTopic(order), qos: 1, order: order.ID(),
			body: payload.AppendOrder(nil, order, a.wires.outlet(order.Tank()))}
		if !a.owner.owns || !a.sender.urge(m) {
			a.sender.withdrawn <- order.ID() // has room: a station has one order open
		}
	}
	if out.Lease && a.owner.owns {
		a.beat++
		a.urge(a.wires.leaseMessage(a.core.Epoch(), a.beat))
	}
	a.stale = a.stale || out.Changed
	for _, answer := range out.Answers {
		a.answer(answer)
	}
	for _, n := range out.Notices {
		a.logNotice(now, n)
	}
}

// urge sends what pumps wait for, and says whether it is on its way.
func (a *App) urge(m message) bool { return a.link.Open() && a.sender.urge(m) }

func (a *App) publish(m message) {
	if a.link.Open() {
		a.sender.send(m)
	}
}

// answer gives the core's word to whoever asked.
func (a *App) answer(answer controller.Answer) {
	if answer.Kind == controller.RequestArm && answer.Accepted && !a.options.ArmAll {
		answer.Text = a.proofs.remind(answer.Text, a.file.Settings.Safety.Nodes, a.now().Wall)
	}
	if waiting, ok := a.waiting[answer.Request]; ok {
		delete(a.waiting, answer.Request)
		a.showChanges()   // whoever looks after the answer sees what it says
		waiting <- answer // has room for the one answer
		return
	}
	switch {
	case answer.From != "mqtt":
	case answer.Kind == controller.RequestAnalysis:
		a.publish(message{topic: a.wires.topics.AnalysisAnswer(answer.Tank), qos: 1, body: payload.AppendWord(nil, answer)})
	case answer.Kind == controller.RequestCalibrate:
		a.publish(message{topic: a.wires.topics.CalibrationAnswer(answer.Tank), qos: 1, body: payload.AppendWord(nil, answer)})
	default:
		a.publish(message{topic: a.wires.topics.Answer(answer.Tank, answer.Quantity), qos: 1, body: payload.AppendAnswer(nil, answer)})
	}
}
