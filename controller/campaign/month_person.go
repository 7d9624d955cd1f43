package campaign

import (
	"time"

	"leat/controller"
	"leat/controller/sim"
	"leat/dosing"
	ions "leat/dosing/ratio"
	"leat/safety"
)

// person is the grower's morning round: containers are filled, and a stop that stands
// is looked into and cleared.
func person(n *sim.Night, farm *sim.Farm, set *controller.Settings) (cleared int) {
	for p := range set.Safety.Pumps {
		farm.Refill(dosing.PumpID(p))
	}
	for id := range set.Tanks {
		view := &n.Core.View(n.Now()).Tanks[id]
		stands, doubted := view.Mode == safety.ModeStopped, false
		for i := range view.Holds {
			stands = stands || view.Holds[i].Action == safety.Stop
			doubted = doubted || view.Holds[i].Cause == safety.CauseSolutionUnconfirmed
		}
		if !stands {
			continue
		}
		cleared++
		ask := controller.Request{Tank: dosing.TankID(id), By: "rehearsal", From: "rehearsal", Role: controller.RoleEngineer, Note: "looked at pumps, containers and probes"}
		if doubted {
			ask.Kind, ask.Water = controller.RequestConfirmWater, ions.WaterSame
			n.Ask(ask)
		}
		for _, kind := range []controller.RequestKind{controller.RequestClear, controller.RequestArm} {
			ask.Kind = kind
			n.Ask(ask)
		}
	}
	return cleared
}

// A person replaces at most this share of a tank in one morning, since what the plants
// stand in is not to change by more. Fresh source water has every ion low until the
// stocks have made it good: for this long it is not laid to the ratio.
const (
	mostAtOnce = 0.5
	refillTime = 18 * time.Hour
)

// dump is what a person does who follows the account: where a dump of the first tank is
// due, a share is replaced with source water, and the daemon is told how much.
func (run *MonthRun) dump(n *sim.Night, farm *sim.Farm) bool {
	view := n.Core.View(n.Now()).Tanks[0].Ions
	if view == nil {
		return false
	}
	share := 0.0
	for _, d := range view.Dumps {
		share = max(share, min(d.Share, mostAtOnce))
	}
	if share == 0 {
		return false
	}
	ask := func(r controller.Request) bool { return asKeeper(n, r, "source water, no disinfectant").Accepted }
	if !ask(controller.Request{Kind: controller.RequestMaintenance}) {
		return false
	}
	farm.Replace(0, share)
	n.Run(20*time.Minute, nil)
	run.Dumps++
	run.Dumped += share
	told := ask(controller.Request{Kind: controller.RequestConfirmWater, Water: ions.WaterSource, Replaced: share})
	return ask(controller.Request{Kind: controller.RequestResume}) && told
}

// setpoint is what a person does who follows the account: EC of the first tank is set to
// what keeps its nutrients at the recipe's strength.
func (run *MonthRun) setpoint(n *sim.Night, at time.Duration) {
	view := n.Core.View(n.Now()).Tanks[0].Ions
	if view == nil || view.Setpoint == 0 {
		return
	}
	answer := asKeeper(n, controller.Request{Kind: controller.RequestSetpoint, Quantity: dosing.QuantityEC, Value: view.Setpoint}, "by the account of the ions")
	if answer.Accepted {
		run.Setpoint = append(run.Setpoint, SetpointMoved{Day: at.Hours() / 24, Value: view.Setpoint, Text: answer.Text})
	}
}

// soonest is the time from one analysis to the next that a laboratory needs, whatever the
// account wants.
const soonest = 2 * 24 * time.Hour

// wanted says that the account wants an analysis within a day of the month, since after
// the last.
func (m Month) wanted(n *sim.Night, since time.Duration) bool {
	view := n.Core.View(n.Now()).Tanks[0].Ions
	pace := time.Duration(m.Pace)
	return view != nil && pace*since >= soonest && !view.Wanted.IsZero() && pace*view.Wanted.Sub(n.Now().Wall) < 24*time.Hour
}

// asKeeper asks as the person who keeps the first tank.
func asKeeper(n *sim.Night, r controller.Request, note string) controller.Answer {
	r.By, r.From, r.Role, r.Note = "rehearsal", "rehearsal", controller.RoleEngineer, note
	return n.Ask(r)
}
