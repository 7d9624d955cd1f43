package app

import (
	"time"

	"bytes"

	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"

	"leat/controller"
	"leat/controller/diary"
	"leat/controller/payload"
	"leat/dosing"
	"leat/safety"
	"leat/safety/alarm"
)

// published is what the retained topics hold, so that only changes are sent.
type published struct {
	topics map[string][]byte
}

func newPublished() published { return published{topics: map[string][]byte{}} }

// forget makes everything be sent again: the broker may have started anew.
func (p *published) forget() { clear(p.topics) }

// showChanges shows the state anew where it has changed since it was last shown: once
// for all that happened together.
func (a *App) showChanges() {
	if a.stale {
		a.stale = false
		a.show(a.stepped)
	}
}

// show makes a new snapshot and publishes what changed in it.
func (a *App) show(now dosing.Instant) {
	view := a.core.View(now)
	a.view.Store(view)
	a.keepIons(view)
	a.note(a.diary.Follow(view))
	if !a.link.Open() || !a.owner.owns {
		return
	}
	for i := range view.Tanks {
		a.showTank(view, dosing.TankID(i))
	}
}

func (a *App) showTank(view *controller.View, id dosing.TankID) {
	t, topics := &view.Tanks[id], a.wires.topics
	// Ages run; a state is sent again when something else in it changes, and at
	// least every ten seconds, so that a watcher sees that it is alive.
	a.keep(topics.State(id), payload.AppendState(nil, t, view.At.Wall.Truncate(stateEvery)))
	a.keep(topics.Setpoint(id, dosing.QuantityPH), payload.AppendSetpoint(nil, dosing.QuantityPH, t.PH))
	a.keep(topics.Setpoint(id, dosing.QuantityEC), payload.AppendSetpoint(nil, dosing.QuantityEC, t.EC))
	if t.Ions != nil {
		a.keep(topics.Ions(id), payload.AppendIons(nil, t.Ions))
	}
	a.keep(topics.Fit(id), payload.AppendFit(nil, t.Fit, t.FitCause))
	standing := map[safety.Cause]bool{}
	for _, alarm := range t.Alarms {
		standing[alarm.Cause] = true
		a.alarmed[id][alarm.Cause] = true
		a.keep(topics.Alarm(id, alarm.Cause), payload.AppendAlarm(nil, alarm))
	}
	for cause := range a.alarmed[id] {
		if !standing[cause] {
			delete(a.alarmed[id], cause)
			row := safety.Of(cause)
			a.keep(topics.Alarm(id, cause), payload.AppendAlarm(nil, controller.AlarmView{Cause: cause, State: alarm.Normal,
				Priority: row.Priority, Text: row.Text, Since: view.At}))
		}
	}
}

// keepIons adds each new estimate of the ions to the history, beside the readings:
// the amount in mmol/L and its standard uncertainty.
func (a *App) keepIons(view *controller.View) {
	for i := range view.Tanks {
		ions := view.Tanks[i].Ions
		if ions == nil || ions == a.ions[i] {
			continue
		}
		a.ions[i] = ions
		for k := range ions.Ions {
			ion := &ions.Ions[k]
			name := view.Tanks[i].Name + "/ion/" + ion.Name
			a.history.Observe(ions.At.Wall, name, ion.Amount)
			a.history.Observe(ions.At.Wall, name+"/uncertainty", ion.Off)
		}
	}
}

// note hands events to the history.
func (a *App) note(events []diary.Event) {
	for _, e := range events {
		a.history.Note(e)
	}
}

// keep publishes a retained topic if its payload changed.
func (a *App) keep(topic string, body []byte) {
	if bytes.Equal(a.state.topics[topic], body) {
		return
	}
	if a.sender.send(message{topic: topic, qos: 1, retained: true, body: body}) {
		a.state.topics[topic] = body
	}
}

// logNotice writes one line in the words of the page.
func (a *App) logNotice(now dosing.Instant, n controller.Notice) {
	fields := []zap.Field{zap.String("tank", a.tankName(n.Tank))}
	if n.Cause != safety.CauseNone {
		fields = append(fields, zap.Stringer("cause", n.Cause), zap.Bool("active", n.Active), zap.String("text", safety.Of(n.Cause).Text))
	}
	switch n.Kind {
	case controller.NoticeDose:
		fields = append(fields, zap.Stringer("order", n.Order), zap.String("pump", a.file.Settings.Safety.Pumps[n.Pump].Name),
			zap.Float64("volume_ml", n.Volume.Millilitres()), zap.Stringer("outcome", n.Outcome), zap.String("why", n.Text))
		a.log.Info("dose", fields...)
	case controller.NoticeInterlock:
		level := zapcore.InfoLevel
		if n.Cause == safety.CauseDoseOpen {
			level = zapcore.DebugLevel // the dose has lines of its own
		}
		a.log.Log(level, "interlock", append(fields, zap.String("detail", n.Text))...)
	case controller.NoticeAlarm:
		a.log.Warn("alarm", append(fields, zap.String("detail", n.Text))...)
	case controller.NoticeChange:
		if !a.changes.take(now.Up) {
			return
		}
		a.log.Info("change", append(fields, zap.String("detail", n.Text))...)
	case controller.NoticeRefused:
		if !a.denials.take(now.Up) {
			return
		}
		a.log.Warn("refused", append(fields, zap.String("detail", n.Text))...)
	}
}

func (a *App) tankName(id dosing.TankID) string {
	if int(id) < len(a.file.Settings.Safety.Tanks) {
		return a.file.Settings.Safety.Tanks[id].Name
	}
	return a.file.Settings.Safety.Station
}

// stateEvery is how often a state is sent again when nothing in it changed, so
// that a watcher sees that it is alive.
const stateEvery = 10 * time.Second
