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

// Entities announce a tank: what is read, read-only; and its two setpoints, which a hub asks for
// on the topic that a phone uses, within the same bounds, steps and ramp. Nothing that arms,
// clears or doses is announced. Values that are not valid for dosing are shown as unknown.
func Entities(prefix string, topics *Topics, online string, station string, id dosing.TankID, t *controller.TankView) (all []Entity) {
	device := "leat-" + station + "-" + t.Name
	announce := func(component, what, name string, more func(e *encoder)) {
		e := object(nil)
		e.text("unique_id", device+"-"+what)
		e.text("name", name)
		e.text("availability_topic", online)
		e.text("payload_available", Online)
		e.text("payload_not_available", Offline)
		more(&e)
		e.key("device")
		d := object(e.dst)
		d.key("identifiers")
		d.dst = append(appendText(append(d.dst, '['), device), ']')
		d.text("name", "leat "+station+" "+t.Name)
		d.text("manufacturer", "leat")
		d.text("model", "tank")
		e.dst = d.end()
		all = append(all, Entity{prefix + "/" + component + "/" + device + "/" + what + "/config", e.end()})
	}
	for i := range t.Inputs {
		in := &t.Inputs[i]
		if in.NotFitted != "" || in.Quantity.Switch() {
			continue
		}
		announce("sensor", "reading-"+in.Name, in.Name, func(e *encoder) {
			e.text("state_topic", topics.State(id))
			e.text("value_template", "{{ value_json.readings | selectattr('probe','eq','"+in.Name+"') | selectattr('quality','in',['"+dosing.QualityGood.String()+"','"+dosing.QualityMaintenanceRequired.String()+"']) | map(attribute='value') | first | default('None') }}")
			e.some("unit_of_measurement", in.Quantity.Unit())
			e.text("state_class", "measurement")
			e.whole("expire_after", freshFor)
		})
	}
	announce("sensor", "mode", "mode", func(e *encoder) {
		e.text("state_topic", topics.State(id))
		e.text("value_template", "{{ value_json.reason }}")
		e.whole("expire_after", freshFor)
	})
	announce("binary_sensor", "unfit", "not fit for plants", func(e *encoder) {
		e.text("state_topic", topics.Fit(id))
		e.text("value_template", "{{ 'no' if value_json.fit else 'yes' }}")
		e.text("payload_on", "yes")
		e.text("payload_off", "no")
		e.text("device_class", "problem")
	})
	announce("binary_sensor", "leak", "leak", func(e *encoder) {
		e.text("state_topic", topics.Alarm(id, safety.CauseLeak))
		e.text("value_template", "{{ 'no' if value_json.state in ['normal','returned-unacknowledged'] else 'yes' }}")
		e.text("payload_on", "yes")
		e.text("payload_off", "no")
		e.text("device_class", "problem")
	})
	for _, s := range []struct {
		of   *controller.SetpointView
		q    dosing.Quantity
		unit string
	}{{&t.PH, dosing.QuantityPH, ""}, {&t.EC, dosing.QuantityEC, dosing.QuantityEC.Unit()}} {
		announce("number", "setpoint-"+s.q.String(), s.q.String()+" setpoint", func(e *encoder) {
			e.text("state_topic", topics.Setpoint(id, s.q))
			e.text("value_template", "{{ value_json.final }}")
			e.text("command_topic", topics.Ask(id, s.q))
			e.number("min", s.of.Min, 3)
			e.number("max", s.of.Max, 3)
			e.number("step", 0.01, 2)
			e.text("mode", "box")
			e.whole("qos", 1)
			e.yes("retain", false)
			e.some("unit_of_measurement", s.unit)
		})
	}
	return all
}

// DiscoveryTopics is the pattern of all that is announced of a tank.
func DiscoveryTopics(prefix, station, tank string) string {
	return prefix + "/+/leat-" + station + "-" + tank + "/+/config"
}
