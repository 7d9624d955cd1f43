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
	if a.history.Due() {
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

// messagesAtOnce bounds what is taken between two looks at everything else, so that
// no flood keeps time, a stop or the disk's word waiting.
const messagesAtOnce = 64

// receive takes the newest readings and the oldest messages that wait at the link.
func (a *App) receive() {
	a.link.Take(a.takeReading)
	for range messagesAtOnce {
		m, ok := a.link.Next()
		if !ok {
			return
		}
		a.takeMessage(m.Topic, m.Body, m.Retained, m.Arrived)
	}
	a.link.Again()
}

// takeReading decodes the newest value of one input.
func (a *App) takeReading(slot int, body []byte, retained bool, arrived time.Time, missed uint64) {
	id, at := a.file.InputTopics[slot].Input, a.clock.Arrived(arrived)
	a.metrics.Message("reading")
	if missed > 0 {
		a.metrics.Dropped(missed)
	}
	reading, err := a.intake.Decode(slot, at, body, retained)
	if err != nil {
		a.metrics.Message("refused")
		a.refused.note(at.Up, a.names[id], err)
		a.step(at, controller.Event{Kind: controller.EventRejected, Input: id, Text: err.Error()})
		return
	}
	if !retained {
		a.history.Observe(at.Wall, a.names[id], reading.Value())
	}
	a.step(at, controller.Event{Kind: controller.EventReading, Reading: reading})
}

// takeMessage routes a report, a heartbeat, an ask or a lease.
func (a *App) takeMessage(topic string, body []byte, retained bool, arrived time.Time) {
	r, known := a.wires.routes[topic]
	if !known || retained && r.kind != routeOwner {
		// Whatever the broker stored may be from another day: it is never acted on.
		a.metrics.Message("ignored")
		return
	}
	at := a.clock.Arrived(arrived)
	var err error
	switch r.kind {
	case routeReport:
		var report controller.Report
		if report, err = payload.ParseReport(body); err == nil {
			report.Pump = r.pump
			pass(report.Phase.String() + " arrived")
			a.step(at, controller.Event{Kind: controller.EventReport, Report: &report})
		}
	case routeHeartbeat:
		var beat controller.Heartbeat
		if beat, err = r.hearts.Parse(body); err == nil {
			beat.Node = r.node
			a.step(at, controller.Event{Kind: controller.EventHeartbeat, Heartbeat: &beat})
		}
	case routeAsk:
		err = a.takeAsk(r, body)
	case routeAnalysis:
		err = a.takeAnalysis(r, body)
	case routeLease:
		a.echoed = max(a.echoed, at.Up)
		var epoch uint32
		var beat uint64
		// Two fresh state folders both begin with epoch 1; the beat tells them apart. A lease
		// of before the epoch was raised may still be on its way.
		if epoch, beat, err = a.leases.Parse(body); err == nil && (epoch < a.firstEpoch || epoch > a.core.Epoch() || beat <= a.firstBeat || beat > a.beat) {
			if a.owner.owns {
				a.seeOther(at, leaseHolds)
			}
			a.hearOther(at)
		}
	case routeOwner:
		err = a.takeOwner(at, body)
	}
	if err != nil {
		a.metrics.Message("refused")
		a.refused.note(at.Up, topic, err)
		return
	}
	a.metrics.Message("taken")
}

// takeAsk hands a wish for a setpoint to the core. MQTT does not tell who sent it.
func (a *App) takeAsk(r route, body []byte) error {
	if a.notOurs(r, body) {
		return nil
	}
	ask, err := payload.ParseAsk(body)
	if err != nil {
		a.publish(message{topic: a.wires.topics.Answer(r.tank, r.quantity), qos: 1, body: payload.AppendRefusal(nil, err)})
		return err
	}
	a.asked++
	request := controller.Request{ID: a.asked, Kind: controller.RequestSetpoint, Tank: r.tank, Quantity: r.quantity, Value: ask.Value,
		Until: ask.Until, Confirm: ask.Confirm, Note: ask.Note, By: claimed(ask.By), From: "mqtt", Role: controller.RoleOperate}
	a.pose(&request)
	return nil
}

// pose puts a request to the core, or answers it here where the disk cannot follow.
func (a *App) pose(r *controller.Request) {
	if answer, refused := a.deferred(r); refused {
		a.answer(answer)
		return
	}
	a.step(a.clock.Now(), controller.Event{Kind: controller.EventRequest, Request: r})
}

// takeAnalysis hands a laboratory's analysis to the core. Who may send to its topic
// is an engineer: the broker's access rules decide, as for everything over MQTT.
func (a *App) takeAnalysis(r route, body []byte) error {
	if a.notOurs(r, body) {
		return nil
	}
	ask, err := payload.ParseAnalysis(body)
	if err != nil {
		a.publish(message{topic: a.wires.topics.AnalysisAnswer(r.tank), qos: 1, body: payload.AppendRefusal(nil, err)})
		return err
	}
	a.asked++
	request := controller.Request{ID: a.asked, Kind: controller.RequestAnalysis, Tank: r.tank, Analysis: ask.Analysis, Sampled: ask.Sampled,
		Note: ask.Note, By: claimed(ask.By), From: "mqtt", Role: controller.RoleEngineer}
	a.pose(&request)
	return nil
}

// claimed is who sent a message, as far as MQTT 3.1.1 tells.
func claimed(by string) string {
	if by == "" {
		return "mqtt"
	}
	return "mqtt (says " + by + ")"
}

// takeRequest hands the page's or the socket's request to the core.
func (a *App) takeRequest(r request) {
	a.asked++
	r.ID = a.asked
	a.waiting[r.ID] = r.answer
	a.pose(&r.Request)
}

// carryOut does what the core put out: the record first, then the nodes, then
// people.
func (a *App) carryOut(now dosing.Instant, out *controller.Output) {
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
	default:
		a.publish(message{topic: a.wires.topics.Answer(answer.Tank, answer.Quantity), qos: 1, body: payload.AppendAnswer(nil, answer)})
	}
}
