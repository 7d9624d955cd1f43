package payload

import (
	"encoding/json"
	"strings"
	"testing"

	"leat/controller"
	"leat/dosing"
)

func announcedTank(t *testing.T) ([]Entity, *Topics) {
	t.Helper()
	topics, err := NewTopics("", "row", []string{"north", "fern\"y"}, nil)
	if err != nil {
		t.Fatal(err)
	}
	view := &controller.TankView{Name: "fern\"y", PH: controller.SetpointView{Min: 5, Max: 7, Final: 5.8}, EC: controller.SetpointView{Min: 0.5, Max: 3},
		Inputs: []controller.InputView{{Name: "ph", Quantity: dosing.QuantityPH}, {Name: "oxygen", Quantity: dosing.QuantityOxygen}, {Name: "leak", Quantity: dosing.QuantityLeak}, {Name: "redox", NotFitted: "none", Quantity: dosing.QuantityRedox}}}
	return Entities("hubs", topics, "leat/daemon/leat-row/online", "row", 1, view), topics
}

func TestHubsAreToldReadOnlySensorsAndTheSetpointsOnThePhonesTopic(t *testing.T) {
	all, topics := announcedTank(t)
	ids, commands := map[string]bool{}, 0
	for _, e := range all {
		var m map[string]any
		if err := json.Unmarshal(e.Body, &m); err != nil {
			t.Fatalf("%s: %v: %s", e.Topic, err, e.Body)
		}
		id, _ := m["unique_id"].(string)
		if id == "" || ids[id] || !strings.HasPrefix(e.Topic, "hubs/") || !strings.HasSuffix(e.Topic, "/config") || strings.Count(e.Topic, "/") != 4 {
			t.Errorf("%s announces %q", e.Topic, id)
		}
		ids[id] = true
		if m["availability_topic"] != "leat/daemon/leat-row/online" || m["payload_not_available"] != Offline {
			t.Errorf("%s: nobody sees that the daemon is gone: %v", id, m)
		}
		for key := range m {
			if strings.HasSuffix(key, "_topic") && strings.HasPrefix(key, "command") != (key == "command_topic") {
				t.Errorf("%s: %s", id, key)
			}
		}
		command, has := m["command_topic"].(string)
		if !has {
			continue
		}
		commands++
		if command != topics.Ask(1, dosing.QuantityPH) && command != topics.Ask(1, dosing.QuantityEC) || m["retain"] != false || !strings.HasPrefix(e.Topic, "hubs/number/") {
			t.Errorf("%s commands %s: %v", id, command, m)
		}
		if command == topics.Ask(1, dosing.QuantityPH) && (m["min"] != 5.0 || m["max"] != 7.0) {
			t.Errorf("the hub is told other bounds: %v", m)
		}
	}
	if commands != 2 || len(all) != 2+3+2 {
		t.Errorf("%d announced, %d of them can be set; want two inputs, three states, two setpoints", len(all), commands)
	}
	// Whatever the hub sends is read as a phone's ask is.
	if ask, err := ParseAsk([]byte("5.90")); err != nil || ask.Value != 5.9 {
		t.Errorf("a number of a hub: %v %v", ask, err)
	}
}
