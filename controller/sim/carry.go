package sim

import (
	"time"

	"leat/controller"
	"leat/controller/payload"
	"leat/dosing"
)

// outgoing is a message of the daemon to the farm.
type outgoing struct {
	topic string
	body  []byte
}

// messages are what the core put out for the pump nodes.
func (n *Night) messages(out *controller.Output) (messages []outgoing) {
	for _, s := range out.Stops {
		pump := ""
		if !s.All {
			pump = n.settings.Safety.Pumps[s.Pump].Name
		}
		messages = append(messages, outgoing{n.topics.Stop(), payload.AppendStop(nil, n.Core.Epoch(), pump)})
	}
	if out.Supply {
		messages = append(messages, outgoing{n.topics.Supply(), payload.AppendSupply(nil, n.Core.Epoch())})
	}
	for _, o := range out.Orders {
		messages = append(messages, outgoing{n.topics.Order(n.settings.Safety.Pumps[o.Pump()].Name), payload.AppendOrder(nil, o, n.outlet(o.Tank()))})
	}
	if out.Lease {
		n.beat++
		messages = append(messages, outgoing{n.topics.Lease(), payload.AppendLease(nil, n.Core.Epoch(), n.beat)})
	}
	return messages
}

// water tells the nodes of zones what to run, and each minute whether the water is fit for it.
func (n *Night) water(out *controller.Output) {
	if len(n.Farm.zoneNodes) == 0 {
		return
	}
	var schedules []outgoing
	for i := range out.Schedules {
		s := &out.Schedules[i]
		schedules = append(schedules, outgoing{n.topics.ZoneSchedule(s.Tank, n.settings.Tanks[s.Tank].Zones[s.Zone].Name), payload.AppendZoneSchedule(nil, s)})
	}
	if n.now.Up-n.fitTold >= time.Minute && out.Lease {
		n.fitTold = n.now.Up
		view := n.Core.View(n.now)
		for i := range view.Tanks {
			schedules = append(schedules, outgoing{n.topics.Fit(dosing.TankID(i)), payload.AppendFit(nil, view.Tanks[i].Fit, view.Tanks[i].FitCause)})
		}
	}
	for _, m := range schedules {
		n.Farm.Receive(m.topic, m.body, n.ear)
	}
}

func (n *Night) outlet(tank dosing.TankID) string {
	if len(n.settings.Tanks) == 1 {
		return ""
	}
	return n.settings.Safety.Tanks[tank].Name
}
