package safety

import (
	"leat/dosing"
	"leat/safety/response"
)

// Refilled says that the container of a pump was filled: what its old liquid did says
// nothing of the new one, whose first dose is a small one. What was learned of the tanks stands.
func (ac *accounts) Refilled(pump dosing.PumpID) {
	if int(pump) >= len(ac.settings.Pumps) {
		return
	}
	ac.pumps[pump].drain.begun = false
	class, dosed := response.ClassOf(ac.settings.Pumps[pump].Role)
	for i := range ac.tanks {
		t := &ac.tanks[i]
		if !dosed || !ac.settings.Pumps[pump].ServesTank(dosing.TankID(i)) {
			continue
		}
		t.accounts[class].tastes, t.accounts[class].tasting = 0, 0
		if t.responses != nil {
			t.responses.Refilled(pump, class)
		}
	}
}
