package payload

import (
	"leat/controller"
	"leat/dosing"
	"leat/safety"
)

// Entity is one retained message by which home-automation hubs find a thing of a tank, in the
// open discovery convention of MQTT that they share: a topic of the hub's own prefix, and a
// JSON of where the thing's values stand.
type Entity struct {
	Topic string
	Body  []byte
}

// freshFor is for how long a hub takes a state for the newest, seconds: it comes each minute.
const freshFor = 180

// announcer announces the things of one tank.
type announcer struct {
	prefix, online  string
	station, device string
	topics          *Topics
	id              dosing.TankID
	tank            *controller.TankView
	all             []Entity
}

// Entities announce a tank: what is read, read-only; and its two setpoints, which a hub asks for
// on the topic that a phone uses, within the same bounds, steps and ramp. Nothing that arms,
// clears or doses is announced. Values that are not valid for dosing are shown as unknown.
func Entities(prefix string, topics *Topics, online string, station string, id dosing.TankID, t *controller.TankView) []Entity {
	a := &announcer{prefix: prefix, online: online, station: station, device: "leat-" + station + "-" + t.Name, topics: topics, id: id, tank: t}
	a.readings()
	a.states()
	a.setpoint(dosing.QuantityPH, &t.PH)
	a.setpoint(dosing.QuantityEC, &t.EC)
	return a.all
}

// announce adds one thing with what is its own.
func (a *announcer) announce(component, what, name string, own func(e *encoder)) {
	e := object(nil)
	e.text("unique_id", a.device+"-"+what)
	e.text("name", name)
	e.text("availability_topic", a.online)
	e.text("payload_available", Online)
	e.text("payload_not_available", Offline)
	own(&e)
	e.key("device")
	d := object(e.dst)
	d.key("identifiers")
	d.dst = append(appendText(append(d.dst, '['), a.device), ']')
	d.text("name", "leat "+a.station+" "+a.tank.Name)
	d.text("manufacturer", "leat")
	d.text("model", "tank")
	e.dst = d.end()
	a.all = append(a.all, Entity{a.prefix + "/" + component + "/" + a.device + "/" + what + "/config", e.end()})
}

func (a *announcer) readings() {
	valid := "['" + dosing.QualityGood.String() + "','" + dosing.QualityMaintenanceRequired.String() + "']"
	for i := range a.tank.Inputs {
		in := &a.tank.Inputs[i]
		if in.NotFitted != "" || in.Quantity.Switch() {
			continue
		}
		a.announce("sensor", "reading-"+in.Name, in.Name, func(e *encoder) {
			e.text("state_topic", a.topics.State(a.id))
			e.text("value_template", "{{ value_json.readings | selectattr('probe','eq','"+in.Name+"') | selectattr('quality','in',"+valid+") | map(attribute='value') | first | default('None') }}")
			e.some("unit_of_measurement", in.Quantity.Unit())
			e.text("state_class", "measurement")
			e.whole("expire_after", freshFor)
		})
	}
}

func (a *announcer) states() {
	a.announce("sensor", "mode", "mode", func(e *encoder) {
		e.text("state_topic", a.topics.State(a.id))
		e.text("value_template", "{{ value_json.reason }}")
		e.whole("expire_after", freshFor)
	})
	problem := func(what, name, topic, absent string) {
		a.announce("binary_sensor", what, name, func(e *encoder) {
			e.text("state_topic", topic)
			e.text("value_template", "{{ 'no' if "+absent+" else 'yes' }}")
			e.text("payload_on", "yes")
			e.text("payload_off", "no")
			e.text("device_class", "problem")
		})
	}
	problem("unfit", "not fit for plants", a.topics.Fit(a.id), "value_json.fit")
	problem("leak", "leak", a.topics.Alarm(a.id, safety.CauseLeak), "value_json.state in ['normal','returned-unacknowledged']")
}

func (a *announcer) setpoint(q dosing.Quantity, s *controller.SetpointView) {
	a.announce("number", "setpoint-"+q.String(), q.String()+" setpoint", func(e *encoder) {
		e.text("state_topic", a.topics.Setpoint(a.id, q))
		e.text("value_template", "{{ value_json.final }}")
		e.text("command_topic", a.topics.Ask(a.id, q))
		e.number("min", s.Min, 3)
		e.number("max", s.Max, 3)
		e.number("step", 0.01, 2)
		e.text("mode", "box")
		e.whole("qos", 1)
		e.yes("retain", false)
		if q == dosing.QuantityEC {
			e.text("unit_of_measurement", q.Unit())
		}
	})
}

// DiscoveryTopics is the pattern of all that is announced of a tank.
func DiscoveryTopics(prefix, station, tank string) string {
	return prefix + "/+/leat-" + station + "-" + tank + "/+/config"
}
