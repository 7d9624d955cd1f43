package app

import (
	"strings"
	"testing"

	"leat/controller"
	"leat/controller/app/apptest"
)

// Readings arrive each second and have topics of their own: a state is for what a person must
// know, and for a sign of life.
func TestStateIsSentWhenItChangesAndEachMinuteOnly(t *testing.T) {
	t.Parallel()
	broker := newInner(t)
	path := apptest.Config(t, broker.url)
	apptest.NewFarm(t, apptest.Load(t, path))
	d := runs(t, path, Options{})
	apptest.Eventually(t, "the wait of the start is over", func() bool {
		states := broker.on("/tub/state")
		return len(states) > 0 && !strings.Contains(states[len(states)-1].body, `"starting"`) && strings.Contains(states[len(states)-1].body, `"quality":"good"`)
	})
	before, leases := len(broker.on("/tub/state")), len(broker.on("/lease"))
	apptest.Eventually(t, "twenty seconds pass", func() bool { return len(broker.on("/lease")) >= leases+10 })
	// A minute may begin within them, and what was not yet known become known once.
	if n := len(broker.on("/tub/state")) - before; n > 3 {
		t.Errorf("%d states within 20 s in which nothing happened", n)
	}
	before = len(broker.on("/tub/state"))
	answer, err := d.Ask(t.Context(), controller.Request{Kind: controller.RequestPause, By: "test", From: "test", Role: controller.RoleOperate})
	if err != nil || !answer.Accepted {
		t.Fatalf("%+v, %v", answer, err)
	}
	apptest.Eventually(t, "the pause is told at once", func() bool {
		states := broker.on("/tub/state")
		return len(states) > before && strings.Contains(states[len(states)-1].body, "operator-pause")
	})
}
