package controller

import (
	"leat/dosing"
	"leat/safety"
	"leat/safety/ledger"
)

// evaluate judges every interlock and acts on what changed: latched trips are
// recorded, and a pump that may no longer run is stopped.
func (c *Core) evaluate(now dosing.Instant) {
	c.watch.Evaluate(now)
	for _, trip := range c.watch.NewLatches() {
		c.latch(now, trip)
	}
	for i := range c.tanks {
		c.announce(now, dosing.TankID(i))
	}
	c.stopRunning(now)
}

// latch records a trip that only a person clears. A pump that runs without an order
// obeys no stop either: only the supply of all of them ends it.
func (c *Core) latch(now dosing.Instant, trip safety.Trip) {
	c.outdate(now, trip)
	if trip.Cause == safety.CauseUnexplainedChange || trip.Cause == safety.CauseUncommandedRun {
		c.out.Supply = true
		c.out.Stops = append(c.out.Stops, StopOrder{Tank: trip.Tank, All: true})
	}
	c.recordTrip(ledger.Change{At: now, Tank: c.tankName(trip.Tank), Note: trip.Detail, By: "leat"}, trip)
}

// outdate takes away what was asked before a stop latched and lets more happen: whoever
// asked did not know of it.
func (c *Core) outdate(now dosing.Instant, trip safety.Trip) {
	for i := range c.tanks {
		id := dosing.TankID(i)
		if id == trip.Tank || trip.Scope == safety.ScopePump && c.settings.Safety.Pumps[trip.Pump].ServesTank(id) {
			c.lessen(now, id, trip.Cause.String()+" stopped the tank", "leat", "")
		}
	}
}

// recordTrip writes down a latched trip; row says when, where and why.
func (c *Core) recordTrip(row ledger.Change, trip safety.Trip) {
	row.Kind, row.Text = ledger.ChangeTrip, trip.Cause.String()
	if trip.Cause == safety.CauseSolutionUnconfirmed {
		row.Kind = ledger.ChangeUnconfirmed
	}
	if trip.Scope == safety.ScopePump {
		row.Pump = c.settings.Safety.Pumps[trip.Pump].Name
	}
	c.change(row)
}

// announce notes which interlocks came and went and updates the alarms.
func (c *Core) announce(now dosing.Instant, id dosing.TankID) {
	t := &c.tanks[id]
	trips := append(append(t.standing[:0], c.watch.Trips(id)...), t.waits...)
	for _, trip := range trips {
		if !contains(t.held, trip) {
			c.notice(Notice{Kind: NoticeInterlock, Tank: id, Cause: trip.Cause, Active: true, Pump: trip.Pump, Text: trip.Detail})
		}
	}
	for _, trip := range t.held {
		if !contains(trips, trip) {
			c.notice(Notice{Kind: NoticeInterlock, Tank: id, Cause: trip.Cause, Pump: trip.Pump})
		}
	}
	t.held, t.standing = trips, t.held
	t.look(now)
	situation := c.situation(id)
	c.alarms.Observe(id, &situation)
	for _, alarm := range c.alarms.Update(now, id, trips, t.warn, t.harm) {
		c.notice(Notice{Kind: NoticeAlarm, Tank: id, Cause: alarm.Cause, Active: alarm.State.Stands(), Text: alarm.Text})
	}
}

func contains(trips []safety.Trip, trip safety.Trip) bool {
	for i := range trips {
		if trips[i].Cause == trip.Cause && trips[i].Pump == trip.Pump && trips[i].Tank == trip.Tank {
			return true
		}
	}
	return false
}
