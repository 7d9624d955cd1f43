package safety_test

import (
	"testing"
	"time"

	"leat/dosing"
	"leat/safety"
	"leat/safety/alarm"
)

// The broker answers, the farm does not: a switch in the cellar has no power.
func TestALostNetworkIsOneAlarmNotOneForEachInput(t *testing.T) {
	f := safety.NewFarm(t)
	alarms := alarm.New(2)
	told := map[safety.Cause]safety.Priority{}
	pass := func(d time.Duration) {
		for range d / time.Second {
			now := f.Pass(time.Second)
			for tank := range dosing.TankID(2) {
				for _, c := range alarms.Update(now, tank, f.Trips(tank), alarm.NotInSight, alarm.NotInSight) {
					if c.State == alarm.Unacknowledged {
						told[c.Cause] = c.Priority
					}
				}
			}
		}
	}
	f.Cut(true)
	pass(time.Hour)
	if p, ok := told[safety.CauseFarmSilent]; len(told) != 1 || !ok || p != safety.PriorityTonight {
		t.Errorf("told of %v, want the network alone, tonight", told)
	}
	f.WantFree("nothing arrives", false)
	f.Cut(false)
	pass(10 * time.Minute)
	if len(told) != 1 {
		t.Errorf("after it came back: %v", told)
	}
	f.WantFree("and back", true)
}
