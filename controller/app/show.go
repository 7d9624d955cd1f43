package app

import (
	"bytes"
	"sync/atomic"
	"time"

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
	keys   map[string][]byte // of states: what a person must be told of
}

func newPublished() published {
	return published{topics: map[string][]byte{}, keys: map[string][]byte{}}
}

// forget makes everything be sent again: the broker may have started anew.
func (p *published) forget() {
	clear(p.topics)
	clear(p.keys)
}

// display shows the state to the page, the topics and the history.
type display struct {
	*gear
	view    atomic.Pointer[controller.View]
	stale   bool // something changed since the view was made
	state   published
	alarmed []map[safety.Cause]bool // by tank: what stands on an alarm topic
	ions    []*controller.IonsView  // by tank: the newest in the history
	hubs    hubs
}

// showChanges shows the state anew where it has changed since it was last shown: once
// for all that happened together.
func (d *display) showChanges() {
	if d.stale {
		d.stale = false
		d.show(d.stepped)
	}
}

// show makes a new snapshot and publishes what changed in it.
func (d *display) show(now dosing.Instant) {
	view := d.core.View(now)
	d.view.Store(view)
	d.keepIons(view)
	d.note(d.diary.Follow(view))
	if !d.link.Open() || !d.leads() {
		return
	}
	clear(d.hubs.now)
	for i := range view.Tanks {
		d.showTank(view, dosing.TankID(i))
	}
	d.withdraw()
}

func (d *display) showTank(view *controller.View, id dosing.TankID) {
	t, topics := &view.Tanks[id], d.wires.topics
	d.keepState(topics.State(id), t, view.At.Wall)
	d.keep(topics.Setpoint(id, dosing.QuantityPH), payload.AppendSetpoint(nil, dosing.QuantityPH, t.PH))
	d.keep(topics.Setpoint(id, dosing.QuantityEC), payload.AppendSetpoint(nil, dosing.QuantityEC, t.EC))
	if t.Ions != nil {
		d.keep(topics.Ions(id), payload.AppendIons(nil, t.Ions))
	}
	d.keep(topics.Fit(id), payload.AppendFit(nil, t.Fit, t.FitCause))
	if hubs := d.file.Broker.Discovery; hubs != "" {
		for _, e := range payload.Entities(hubs, topics, d.wires.online(), view.Station, id, t) {
			d.hubs.now[e.Topic] = true
			d.keep(e.Topic, e.Body)
		}
	}
	standing := map[safety.Cause]bool{}
	for _, alarm := range t.Alarms {
		standing[alarm.Cause] = true
		d.alarmed[id][alarm.Cause] = true
		d.keep(topics.Alarm(id, alarm.Cause), payload.AppendAlarm(nil, alarm))
	}
	for cause := range d.alarmed[id] {
		if !standing[cause] {
			delete(d.alarmed[id], cause)
			row := safety.Of(cause)
			d.keep(topics.Alarm(id, cause), payload.AppendAlarm(nil, controller.AlarmView{Cause: cause, State: alarm.Normal,
				Priority: row.Priority, Text: row.Text, Since: view.At}))
		}
	}
}

// keepIons adds each new estimate of the ions to the history, beside the readings:
// the amount in mmol/L and its standard uncertainty.
func (d *display) keepIons(view *controller.View) {
	for i := range view.Tanks {
		ions := view.Tanks[i].Ions
		if ions == nil || ions == d.ions[i] {
			continue
		}
		d.ions[i] = ions
		for k := range ions.Ions {
			ion := &ions.Ions[k]
			name := view.Tanks[i].Name + "/ion/" + ion.Name
			d.history.Observe(ions.At.Wall, name, ion.Amount)
			d.history.Observe(ions.At.Wall, name+"/uncertainty", ion.Off)
		}
	}
}

// note hands events to the history.
func (d *display) note(events []diary.Event) {
	for _, e := range events {
		d.history.Note(e)
	}
}

// keep publishes a retained topic if its payload changed, and says whether the newest is out.
func (d *display) keep(topic string, body []byte) bool {
	if bytes.Equal(d.state.topics[topic], body) {
		return true
	}
	if !d.sender.send(message{topic: topic, qos: 1, retained: true, body: body}) {
		return false
	}
	d.state.topics[topic] = body
	return true
}

// keepState publishes a tank's state when something in it changes that a person must be told
// of, and each minute, so that a watcher sees that it is alive. Values and ages run on.
func (d *display) keepState(topic string, t *controller.TankView, at time.Time) {
	key := payload.StateKey(at.Truncate(stateEvery).AppendFormat(nil, time.RFC3339), t)
	if bytes.Equal(d.state.keys[topic], key) {
		return
	}
	if d.keep(topic, payload.AppendState(nil, t, at)) {
		d.state.keys[topic] = key
	}
}

// stateEvery is how often a state is sent when nothing in it changed.
const stateEvery = time.Minute

// View is the newest snapshot; nil before the first decision.
func (d *display) View() *controller.View { return d.view.Load() }
