package app

import (
	"time"

	"leat/controller"
	"leat/controller/payload"
)

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
	case routeCalibration:
		err = a.takeCalibration(r, body)
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

// takeCalibration hands a step of a calibration to the core.
func (a *App) takeCalibration(r route, body []byte) error {
	if a.notOurs(r, body) {
		return nil
	}
	ask, err := payload.ParseCalibration(body)
	if err != nil {
		a.publish(message{topic: a.wires.topics.CalibrationAnswer(r.tank), qos: 1, body: payload.AppendRefusal(nil, err)})
		return err
	}
	a.asked++
	a.pose(&controller.Request{ID: a.asked, Kind: controller.RequestCalibrate, Tank: r.tank, Calibrating: ask.Calibrating,
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
func (a *App) takeRequest(r request) {
	a.asked++
	r.ID = a.asked
	a.waiting[r.ID] = r.answer
	a.pose(&r.Request)
}
