package app

import (
	"time"

	"leat/controller"
	"leat/controller/mqtt"
	"leat/controller/payload"
)

// messagesAtOnce bounds what is taken between two looks at everything else, so that
// no flood keeps time, a stop or the disk's word waiting.
const messagesAtOnce = 64

// listener takes what the link brings.
type listener struct {
	*gear
	driver     *driver
	owners     *owners
	asks       *asks
	outbox     *outbox
	display    *display
	losses     losses
	unread     mqtt.Stats     // of the link, as counted so far
	leases     payload.Leases // our own, heard back
	firstEpoch uint32         // of this run; a person may raise it
}

// receive takes the newest readings and the oldest messages that wait at the link.
func (l *listener) receive() {
	l.link.Take(l.takeReading)
	for range messagesAtOnce {
		m, ok := l.link.Next()
		if !ok {
			return
		}
		l.takeMessage(m.Topic, m.Body, m.Retained, m.Arrived)
	}
	l.link.Again()
}

// takeReading decodes the newest value of one input.
func (l *listener) takeReading(slot int, body []byte, retained bool, arrived time.Time, missed uint64) {
	id, at := l.file.InputTopics[slot].Input, l.clock.Arrived(arrived)
	l.metrics.Message("reading")
	if missed > 0 {
		l.metrics.Dropped(missed)
	}
	reading, err := l.intake.Decode(slot, at, body, retained)
	if err != nil {
		l.metrics.Message("refused")
		l.refused.note(at.Up, l.names[id], err)
		l.driver.step(at, controller.Event{Kind: controller.EventRejected, Input: id, Text: err.Error()})
		return
	}
	if !retained {
		l.history.Observe(at.Wall, l.names[id], reading.Value())
	}
	l.driver.step(at, controller.Event{Kind: controller.EventReading, Reading: reading})
}

// takeMessage routes a report, a heartbeat, an ask or a lease.
func (l *listener) takeMessage(topic string, body []byte, retained bool, arrived time.Time) {
	r, known := l.wires.routes[topic]
	if !known || retained && r.kind != routeOwner {
		// Whatever the broker stored may be from another day: it is never acted on.
		l.metrics.Message("ignored")
		return
	}
	at := l.clock.Arrived(arrived)
	var err error
	switch r.kind {
	case routeReport:
		var report controller.Report
		if report, err = payload.ParseReport(body); err == nil {
			report.Pump = r.pump
			pass(report.Phase.String() + " arrived")
			l.driver.step(at, controller.Event{Kind: controller.EventReport, Report: &report})
		}
	case routeHeartbeat:
		var beat controller.Heartbeat
		if beat, err = r.hearts.Parse(body); err == nil {
			beat.Node = r.node
			l.driver.step(at, controller.Event{Kind: controller.EventHeartbeat, Heartbeat: &beat})
		}
	case routeAsk:
		err = l.asks.takeAsk(r, body)
	case routeAnalysis:
		err = l.asks.takeAnalysis(r, body)
	case routeCalibration:
		err = l.asks.takeCalibration(r, body)
	case routeZone:
		var report controller.ZoneReport
		if report, err = payload.ParseZoneReport(body); err == nil {
			report.Tank, report.Zone = r.tank, r.zone
			l.driver.step(at, controller.Event{Kind: controller.EventZone, Zone: &report})
		}
	case routeLease:
		l.echoed = max(l.echoed, at.Up)
		var epoch uint32
		var beat uint64
		// Two fresh state folders both begin with epoch 1; the beat tells them apart. A lease
		// of before the epoch was raised may still be on its way.
		if epoch, beat, err = l.leases.Parse(body); err == nil && (epoch < l.firstEpoch || epoch > l.core.Epoch() || beat <= l.outbox.firstBeat || beat > l.outbox.beat) {
			if l.owner.owns {
				l.owners.seeOther(at, leaseHolds)
			}
			l.owners.hearOther(at)
		}
	case routeOwner:
		err = l.owners.takeOwner(at, body)
		l.asks.takeEarly()
	}
	if err != nil {
		l.metrics.Message("refused")
		l.refused.note(at.Up, topic, err)
		return
	}
	l.metrics.Message("taken")
}

// asks hands what people ask for to the core.
type asks struct {
	*gear
	driver *driver
	owners *owners
	outbox *outbox
	asked  uint64
}

// takeEarly takes the asks that waited.
func (as *asks) takeEarly() {
	waiting := as.owner.early
	as.owner.early = nil
	for _, e := range waiting {
		take, topic := as.takeAsk, as.wires.topics.Ask(e.route.tank, e.route.quantity)
		if e.route.kind == routeAnalysis {
			take, topic = as.takeAnalysis, as.wires.topics.AnalysisAsk(e.route.tank)
		}
		if err := take(e.route, e.body); err != nil {
			as.metrics.Message("refused")
			as.refused.note(as.stepped.Up, topic, err)
		}
	}
}

// takeAsk hands a wish for a setpoint to the core. MQTT does not tell who sent it.
func (as *asks) takeAsk(r route, body []byte) error {
	if as.owners.notOurs(r, body) {
		return nil
	}
	ask, err := payload.ParseAsk(body)
	if err != nil {
		as.publish(message{topic: as.wires.topics.Answer(r.tank, r.quantity), qos: 1, body: payload.AppendRefusal(nil, err)})
		return err
	}
	as.asked++
	request := controller.Request{ID: as.asked, Kind: controller.RequestSetpoint, Tank: r.tank, Quantity: r.quantity, Value: ask.Value,
		Until: ask.Until, Confirm: ask.Confirm, Note: ask.Note, By: claimed(ask.By), From: "mqtt", Role: controller.RoleOperate}
	as.pose(&request)
	return nil
}

// pose puts a request to the core, or answers it here where the disk cannot follow.
func (as *asks) pose(r *controller.Request) {
	if answer, refused := as.deferred(r); refused {
		as.outbox.answer(answer)
		return
	}
	as.driver.step(as.clock.Now(), controller.Event{Kind: controller.EventRequest, Request: r})
}

// takeAnalysis hands a laboratory's analysis to the core. Who may send to its topic
// is an engineer: the broker's access rules decide, as for everything over MQTT.
func (as *asks) takeAnalysis(r route, body []byte) error {
	if as.owners.notOurs(r, body) {
		return nil
	}
	ask, err := payload.ParseAnalysis(body)
	if err != nil {
		as.publish(message{topic: as.wires.topics.AnalysisAnswer(r.tank), qos: 1, body: payload.AppendRefusal(nil, err)})
		return err
	}
	as.asked++
	request := controller.Request{ID: as.asked, Kind: controller.RequestAnalysis, Tank: r.tank, Analysis: ask.Analysis, Sampled: ask.Sampled,
		Note: ask.Note, By: claimed(ask.By), From: "mqtt", Role: controller.RoleEngineer}
	as.pose(&request)
	return nil
}

// takeCalibration hands a step of a calibration to the core.
func (as *asks) takeCalibration(r route, body []byte) error {
	if as.owners.notOurs(r, body) {
		return nil
	}
	ask, err := payload.ParseCalibration(body)
	if err != nil {
		as.publish(message{topic: as.wires.topics.CalibrationAnswer(r.tank), qos: 1, body: payload.AppendRefusal(nil, err)})
		return err
	}
	as.asked++
	as.pose(&controller.Request{ID: as.asked, Kind: controller.RequestCalibrate, Tank: r.tank, Calibrating: ask.Calibrating,
		Note: ask.Note, By: claimed(ask.By), From: "mqtt", Role: controller.RoleOperate})
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
func (as *asks) takeRequest(r request) {
	as.asked++
	r.ID = as.asked
	as.outbox.waiting[r.ID] = r.answer
	as.pose(&r.Request)
}
