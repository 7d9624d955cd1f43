package controller

import (
	"fmt"
	"time"

	"leat/dosing"
	"leat/safety"
	"leat/safety/alarm"
	"leat/safety/ledger"
)

// interlocks acts on what the table of interlocks says: it records, tells and stops.
type interlocks struct {
	*station
	wishes *wishes
	waits  *waits
	stocks *stocks
	lines  *lines
	alarms *alarm.Alarms
	known  []announced // by tank
}

// announced is what withheld doses of a tank when that was last told.
type announced struct {
	held   []safety.Trip
	before []safety.Trip // of the evaluation before; its room is used again
}

// evaluate judges every interlock and acts on what changed: latched trips are
// recorded, and a pump that may no longer run is stopped.
func (il *interlocks) evaluate(now dosing.Instant) {
	il.watch.Evaluate(now)
	for _, trip := range il.watch.NewLatches() {
		il.latch(now, trip)
	}
	for i := range il.tanks {
		il.announce(now, dosing.TankID(i))
	}
	il.stopRunning(now)
}

// latch records a trip that only a person clears. A pump that runs without an order
// obeys no stop either: only the supply of all of them ends it.
func (il *interlocks) latch(now dosing.Instant, trip safety.Trip) {
	il.outdate(now, trip)
	if trip.Cause == safety.CauseUnexplainedChange || trip.Cause == safety.CauseUncommandedRun {
		il.out.Supply = true
		il.out.Stops = append(il.out.Stops, StopOrder{Tank: trip.Tank, All: true})
	}
	il.recordTrip(ledger.Change{At: now, Tank: il.tankName(trip.Tank), Note: trip.Detail, By: "leat"}, trip)
}

// outdate takes away what was asked before a stop latched and lets more happen: whoever
// asked did not know of it.
func (il *interlocks) outdate(now dosing.Instant, trip safety.Trip) {
	for i := range il.tanks {
		id := dosing.TankID(i)
		if id == trip.Tank || trip.Scope == safety.ScopePump && il.settings.Safety.Pumps[trip.Pump].ServesTank(id) {
			il.wishes.lessen(now, id, trip.Cause.String()+" stopped the tank", "leat", "")
		}
	}
}

// announce notes which interlocks came and went and updates the alarms.
func (il *interlocks) announce(now dosing.Instant, id dosing.TankID) {
	t, k := &il.tanks[id], &il.known[id]
	trips := append(append(k.before[:0], il.watch.Trips(id)...), il.waits.of[id].now...)
	for _, trip := range trips {
		if !contains(k.held, trip) {
			il.notice(Notice{Kind: NoticeInterlock, Tank: id, Cause: trip.Cause, Active: true, Pump: trip.Pump, Text: trip.Detail})
		}
	}
	for _, trip := range k.held {
		if !contains(trips, trip) {
			il.notice(Notice{Kind: NoticeInterlock, Tank: id, Cause: trip.Cause, Pump: trip.Pump})
		}
	}
	k.held, k.before = trips, k.held
	t.look(now)
	situation := il.situation(id)
	il.alarms.Observe(id, &situation)
	for _, alarm := range il.alarms.Update(now, id, trips, t.warn, t.harm) {
		il.notice(Notice{Kind: NoticeAlarm, Tank: id, Cause: alarm.Cause, Active: alarm.State.Stands(), Text: alarm.Text})
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

// acknowledge notes that a person knows of an alarm; of one that is known already
// nothing is written a second time.
func (il *interlocks) acknowledge(r *Request) {
	switch was := il.alarms.Acknowledge(r.Tank, r.Cause); was {
	case alarm.Normal:
		il.refuse(r, fmt.Sprintf("no alarm %s stands", r.Cause))
	case alarm.Unacknowledged:
		il.accept(r, fmt.Sprintf("%s acknowledged; its interlock is not lifted by that", r.Cause))
	case alarm.ReturnedUnacknowledged:
		il.accept(r, fmt.Sprintf("%s acknowledged; it is over", r.Cause))
	default:
		text := fmt.Sprintf("%s is %s already; nothing to acknowledge", r.Cause, was)
		if was == alarm.Latched {
			text = fmt.Sprintf("%s is acknowledged already; it stays until a person clears it", r.Cause)
		}
		il.out.Answers = append(il.out.Answers, Answer{Request: r.ID, Kind: r.Kind, Tank: r.Tank, Accepted: true, Text: text, From: r.From, By: r.By})
	}
}

// shelve keeps an alarm quiet for a while.
func (il *interlocks) shelve(now dosing.Instant, r *Request) {
	switch {
	case r.For <= 0 || r.For > 24*time.Hour:
		il.refuse(r, "shelve for more than nothing and at most 24 h")
	case !il.alarms.Shelve(now, r.Tank, r.Cause, r.For):
		il.refuse(r, fmt.Sprintf("no alarm %s stands", r.Cause))
	default:
		il.accept(r, fmt.Sprintf("%s shelved for %s; its interlock is not lifted by that", r.Cause, r.For))
	}
}
