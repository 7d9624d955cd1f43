package app

import (
	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"

	"leat/controller"
	"leat/controller/payload"
	"leat/dosing"
	"leat/safety"
)

// outbox carries out what the core puts out.
type outbox struct {
	*gear
	display   *display
	waiting   map[uint64]chan controller.Answer // by request number
	stopOwed  bool                              // a stop was wanted that found no way out
	beat      uint64                            // of the last lease; begins at firstBeat, by which our own leases are known
	firstBeat uint64
	armsAll   bool  // the demo's farm: nobody is reminded of a proof
	changes   quota // lines of the log on what people changed
	denials   quota // and on what they were refused
}

// carryOut does what the core put out: the record first, then the nodes, then
// people.
func (o *outbox) carryOut(now dosing.Instant, out *controller.Output) {
	for _, c := range out.Corrections {
		o.intake.Correct(c.Input, c.Correction)
	}
	for _, draft := range out.Append {
		o.enter(now, draft)
	}
	for _, s := range out.Stops {
		// The stop of the start waits until the station is ours: another daemon's dose may run.
		// Every other stop goes out whoever owns it.
		waits := s.Tank == dosing.AllTanks && !o.owner.owns
		if waits || !o.urge(o.wires.stopMessage(o.core.Epoch(), s)) {
			o.stopOwed = true
		}
	}
	if out.Supply {
		o.urge(o.wires.supplyMessage(o.core.Epoch()))
	}
	for _, order := range out.Orders {
		m := message{topic: o.wires.orderTopic(order), qos: 1, order: order.ID(),
			body: payload.AppendOrder(nil, order, o.wires.outlet(order.Tank()))}
		if !o.leads() || !o.sender.urge(m) {
			o.sender.withdrawn <- order.ID() // has room: a station has one order open
		}
	}
	if out.Lease && o.leads() {
		o.beat++
		o.urge(o.wires.leaseMessage(o.core.Epoch(), o.beat))
	}
	for i := range out.Schedules {
		if o.leads() {
			o.publish(o.wires.scheduleMessage(&out.Schedules[i]))
		}
	}
	o.display.stale = o.display.stale || out.Changed
	for _, answer := range out.Answers {
		o.answer(answer)
	}
	for _, n := range out.Notices {
		o.logNotice(now, n)
	}
}

// answer gives the core's word to whoever asked.
func (o *outbox) answer(answer controller.Answer) {
	if answer.Kind == controller.RequestArm && answer.Accepted && !o.armsAll {
		answer.Text = o.proofs.remind(answer.Text, o.file.Settings.Safety.Nodes, o.now().Wall)
	}
	if waiting, ok := o.waiting[answer.Request]; ok {
		delete(o.waiting, answer.Request)
		o.display.showChanges() // whoever looks after the answer sees what it says
		waiting <- answer       // has room for the one answer
		return
	}
	switch {
	case answer.From != "mqtt":
	case answer.Kind == controller.RequestAnalysis:
		o.publish(message{topic: o.wires.topics.AnalysisAnswer(answer.Tank), qos: 1, body: payload.AppendWord(nil, answer)})
	case answer.Kind == controller.RequestCalibrate:
		o.publish(message{topic: o.wires.topics.CalibrationAnswer(answer.Tank), qos: 1, body: payload.AppendWord(nil, answer)})
	default:
		o.publish(message{topic: o.wires.topics.Answer(answer.Tank, answer.Quantity), qos: 1, body: payload.AppendAnswer(nil, answer)})
	}
}

// stopPumps tells every node to stop, ledger or not. What is retained, such as the claim
// of an earlier run, may arrive a moment before the link is open: then the stop is owed.
func (o *outbox) stopPumps() {
	o.stopOwed = !o.urge(o.wires.stopMessage(o.core.Epoch(), controller.StopOrder{Tank: dosing.AllTanks, All: true}))
}

// logNotice writes one line in the words of the page.
func (o *outbox) logNotice(now dosing.Instant, n controller.Notice) {
	fields := []zap.Field{zap.String("tank", o.tankName(n.Tank))}
	if n.Cause != safety.CauseNone {
		fields = append(fields, zap.Stringer("cause", n.Cause), zap.Bool("active", n.Active), zap.String("text", safety.Of(n.Cause).Text))
	}
	switch n.Kind {
	case controller.NoticeDose:
		fields = append(fields, zap.Stringer("order", n.Order), zap.String("pump", o.file.Settings.Safety.Pumps[n.Pump].Name),
			zap.Float64("volume_ml", n.Volume.Millilitres()), zap.Stringer("outcome", n.Outcome), zap.String("why", n.Text))
		o.log.Info("dose", fields...)
	case controller.NoticeInterlock:
		level := zapcore.InfoLevel
		if n.Cause == safety.CauseDoseOpen {
			level = zapcore.DebugLevel // the dose has lines of its own
		}
		o.log.Log(level, "interlock", append(fields, zap.String("detail", n.Text))...)
	case controller.NoticeAlarm:
		o.log.Warn("alarm", append(fields, zap.String("detail", n.Text))...)
	case controller.NoticeChange:
		if !o.changes.take(now.Up) {
			return
		}
		o.log.Info("change", append(fields, zap.String("detail", n.Text))...)
	case controller.NoticeRefused:
		if !o.denials.take(now.Up) {
			return
		}
		o.log.Warn("refused", append(fields, zap.String("detail", n.Text))...)
	}
}
