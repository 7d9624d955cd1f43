package campaign

import (
	"slices"
	"time"

	"leat/controller"
	"leat/controller/sim"
	"leat/dosing"
	"leat/safety"
	"leat/safety/ledger"
)

// On some evenings a person, or two, ask for more and for less of a tank in a few seconds,
// while the disk is slow: what was asked first may become durable last. Whatever falls
// before what, less that is asked for later must beat more that was asked for earlier.

// quarrel is such requests and when they end.
type quarrel struct {
	at   time.Duration // of the night: the disk becomes slow
	tank dosing.TankID
	asks []wanted
	told time.Duration // the disk says what it wrote
	back time.Duration // the tank is armed again
}

// wanted is one request of a quarrel.
type wanted struct {
	at   time.Duration
	kind controller.RequestKind
}

var (
	lettingMore = []controller.RequestKind{controller.RequestArm, controller.RequestResume, controller.RequestClear, controller.RequestConfirmWater}
	lettingLess = []controller.RequestKind{controller.RequestObserve, controller.RequestStop, controller.RequestPause, controller.RequestMaintenance, controller.RequestCleaning}
	// answering is what a person asks for who finds each of them in force.
	answering = []controller.RequestKind{controller.RequestArm, controller.RequestClear, controller.RequestResume, controller.RequestResume, controller.RequestConfirmWater}
)

// drawQuarrels draws a night's: two to four. Most begin with less, go on with the more that
// would end it, and end with less again.
func (s *Scene) drawQuarrels() (all []quarrel) {
	from := source(s.Seed, "quarrels")
	count := from.whole(2, 4)
	each := (s.Hours / time.Duration(count)).Truncate(time.Second) // acts fall on whole seconds
	for i := range count {
		q := quarrel{at: time.Duration(i)*each + span(float64(int(from.uniform(0.05, 0.8)*each.Seconds()))), tank: dosing.TankID(from.whole(0, len(s.Settings.Tanks)-1))}
		at := q.at
		for range from.whole(1, 2) {
			less := from.whole(0, len(lettingLess)-1)
			kinds := []controller.RequestKind{lettingLess[less], answering[less]}
			switch from.whole(0, 3) {
			case 0:
				kinds = append(kinds, lettingMore[from.whole(0, len(lettingMore)-1)])
			default:
				kinds = append(kinds, lettingLess[from.whole(0, len(lettingLess)-1)])
			}
			for _, kind := range kinds {
				at += time.Duration(from.whole(1, 2)) * time.Second
				q.asks = append(q.asks, wanted{at, kind})
			}
		}
		q.told = at + time.Duration(from.whole(1, 4))*time.Second
		q.back = q.told + time.Duration(from.whole(30, 180))*time.Second
		all = append(all, q)
	}
	return all
}

// crew plays a night's quarrels.
type crew struct {
	quarrels []quarrel
	settings *controller.Settings
	night    *sim.Night
	begin    time.Duration // of the night
	open     bool          // the first of quarrels has begun
	asked    int
}

// second does what is due. A tank that is not armed, on whose probes somebody works, or that
// something has stopped, is left alone: who quarrels over it has other troubles.
func (c *crew) second(now dosing.Instant) {
	if len(c.quarrels) == 0 {
		return
	}
	q := &c.quarrels[0]
	at := now.Up - c.begin
	if !c.open {
		if at < q.at {
			return
		}
		if is := c.night.Core.Remembered(now).Tanks[q.tank]; is.Mode != safety.ModeArmed || len(is.Latches) > 0 || is.Unconfirmed || is.Maintenance {
			c.quarrels = c.quarrels[1:]
			return
		}
		c.open, c.night.SlowDisk = true, true
	}
	for _, want := range q.asks {
		if want.at == at {
			c.ask(now, q.tank, want.kind)
		}
	}
	if at == q.told {
		c.night.SlowDisk = false
		c.night.Sync()
	}
	if at >= q.back {
		c.end(now, q.tank)
		c.open = false
		c.quarrels = c.quarrels[1:]
	}
}

// ask asks. A tank with a recipe wants to be told more of its water than a quarrel knows,
// and only what persons stopped do they clear.
func (c *crew) ask(now dosing.Instant, id dosing.TankID, kind controller.RequestKind) {
	if kind == controller.RequestCleaning && c.settings.Tanks[id].Ratio != nil ||
		kind == controller.RequestClear && len(c.night.Core.Remembered(now).Tanks[id].Latches) > 0 {
		return
	}
	c.asked++
	c.night.Ask(controller.Request{Kind: kind, Tank: id, Note: "looked", By: "rehearsal", From: "page", Role: controller.RoleEngineer})
}

// end lifts all that the quarrel left in force.
func (c *crew) end(now dosing.Instant, id dosing.TankID) {
	is := c.night.Core.Remembered(now).Tanks[id]
	if is.Unconfirmed || is.Cleaning {
		c.ask(now, id, controller.RequestConfirmWater)
	}
	if is.Mode == safety.ModeStopped {
		c.ask(now, id, controller.RequestClear)
	}
	if is.Paused || is.Maintenance {
		c.ask(now, id, controller.RequestResume)
	}
	c.ask(now, id, controller.RequestArm)
}

// permits are the things that must all be so for a tank to be dosed.
type permits [6]bool

func permitsOf(r *controller.RememberedTank) permits {
	return permits{r.Mode == safety.ModeArmed, !r.Paused, !r.Maintenance, !r.Cleaning, !r.Unconfirmed, len(r.Latches) == 0 && r.Mode != safety.ModeStopped}
}

func (p permits) more(than permits) bool {
	for i := range p {
		if p[i] && !than[i] {
			return true
		}
	}
	return false
}

// Grant is that more was let happen, by the request of an earlier step.
type Grant struct {
	Step, Asked uint64 // Asked is 0 where it was nobody's request, or not yet durable
	At          time.Duration
	Tank        dosing.TankID
}

// Less is a request that lets less happen, or a stop that latched.
type Less struct {
	Step uint64
	Tank dosing.TankID
}

// wishes notes who asked for more and for less, and when more took effect.
func (r *recorder) wishes(now dosing.Instant, event *controller.Event, out *controller.Output) {
	t := r.trace
	changed := event.Kind == controller.EventRequest || event.Kind == controller.EventRecorded
	for _, draft := range out.Append {
		d, is := draft.(ledger.Change)
		if !is {
			continue
		}
		changed = changed || d.Kind == ledger.ChangeTrip || d.Kind == ledger.ChangeUnconfirmed || d.Kind == ledger.ChangeDisarmed || d.Kind == ledger.ChangePause
		if d.Ticket != 0 {
			r.tickets[d.Ticket] = r.step
		}
		if d.Kind == ledger.ChangeTrip && d.By == "leat" && d.Pump == "" && event.Kind != controller.EventRequest {
			for id := range t.Settings.Tanks {
				if t.Settings.Safety.Tanks[id].Name == d.Tank {
					t.Lessened = append(t.Lessened, Less{r.step, dosing.TankID(id)})
				}
			}
		}
	}
	if event.Kind == controller.EventRequest && slices.Contains(lettingLess, event.Request.Kind) && !refused(out, event.Request.ID) {
		t.Lessened = append(t.Lessened, Less{r.step, event.Request.Tank})
	}
	if !changed {
		return
	}
	live := r.night.Core.Remembered(now)
	for id := range live.Tanks {
		is := permitsOf(&live.Tanks[id])
		if len(r.permitted) == id {
			r.permitted = append(r.permitted, is)
		}
		if is.more(r.permitted[id]) && (event.Kind == controller.EventRequest || event.Kind == controller.EventRecorded) {
			g := Grant{Step: r.step, At: now.Up, Tank: dosing.TankID(id)}
			if event.Kind == controller.EventRecorded {
				g.Asked = r.tickets[event.Change.Ticket]
			}
			t.Grants = append(t.Grants, g)
		}
		r.permitted[id] = is
	}
}

func refused(out *controller.Output, id uint64) bool {
	return slices.ContainsFunc(out.Answers, func(a controller.Answer) bool { return a.Request == id && !a.Accepted })
}

// lessBeatsMore: more takes effect when its request is durable, and not when less was
// asked for, or latched, after it.
func lessBeatsMore(w *trail) {
	for _, g := range w.Grants {
		if g.Asked == 0 {
			w.violate(g.At, "tank %d may do more, and nobody's request for it is durable", g.Tank)
			continue
		}
		for _, l := range w.Lessened {
			if l.Tank == g.Tank && l.Step > g.Asked && l.Step < g.Step {
				w.violate(g.At, "tank %d may do more by the request of step %d, though less was asked for in step %d", g.Tank, g.Asked, l.Step)
				break
			}
		}
	}
}
