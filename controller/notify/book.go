package notify

import (
	"crypto/rand"
	"slices"
	"strings"
	"time"

	"leat/controller"
	"leat/dosing"
	"leat/safety"
	"leat/safety/alarm"
)

// When what is told. Durations run on the uptime, the morning on the wall clock.
const (
	together   = 5 * time.Second  // of one cause in several tanks, before it rings
	lastsFor   = 10 * time.Minute // of tomorrow's, before it is noted for the morning
	sameWithin = 10 * time.Minute // what comes back is the same trouble; what stays away is over
	// What was told before a restart is the same trouble for so long: some alarms take minutes to
	// be raised again.
	earlierLasts = time.Hour

	again     = 10 * time.Minute // nobody has acknowledged: once more
	andAgain  = 15 * time.Minute // and so on
	morning   = 7                // o'clock: what can wait is told from then
	evening   = 20               // until then
	mostRings = 1000             // of tanks and causes; a limit on everything
)

// ring is one alarm of a tank that was told, or is about to be. The exported part is kept
// over a restart.
type ring struct {
	ID           string
	Tank, Cause  string
	Priority     safety.Priority
	Acknowledged bool
	Delivered    bool // a door took it

	view     controller.AlarmView // as last seen
	cause    safety.Cause
	tank     dosing.TankID
	came     time.Duration // uptime at which it was first seen in this run
	told     time.Duration // uptime of the newest letter
	calls    int           // letters so far, in this run
	wasTold  bool
	standing bool
	gone     time.Duration // uptime at which it went
	earlier  bool          // told before this run and not seen in it yet
}

// book is every ring, in the order in which they came. One goroutine at a time uses it.
type book struct{ rings []*ring }

func (b *book) find(tank, cause string) *ring {
	for _, r := range b.rings {
		if r.Tank == tank && r.Cause == cause {
			return r
		}
	}
	return nil
}

// calls says that a person is to be told of an alarm. What is kept quiet, or is only for the
// log, is not.
func calls(a *controller.AlarmView) bool {
	return a.State.Stands() && a.Priority < safety.PriorityLog
}

// follow takes what the view says now, and returns what is to be told.
func (b *book) follow(now dosing.Instant, view *controller.View) (letters []*Letter) {
	for _, r := range b.rings {
		r.standing = false
	}
	for i := range view.Tanks {
		t := &view.Tanks[i]
		for k := range t.Alarms {
			if a := &t.Alarms[k]; calls(a) {
				b.see(now.Up, dosing.TankID(i), t.Name, a)
			}
		}
	}
	b.forget(now.Up, view)
	told := map[string]*Letter{}
	tell := func(r *ring, event Event) {
		key := event.String() + r.Cause + r.Priority.Code()
		l := told[key]
		if l == nil {
			l = &Letter{ID: rand.Text(), Event: event, Station: view.Station, At: now.Wall, Cause: r.Cause, Priority: r.Priority, Advice: r.view.Advice, row: safety.Of(r.cause).Text}
			told[key] = l
			letters = append(letters, l)
		}
		l.add(r)
	}
	due := map[string]bool{} // causes of which one ring is due: the others go with it
	for _, r := range b.rings {
		if r.due(now) {
			due[r.Cause+r.Priority.Code()] = true
		}
	}
	for _, r := range b.rings {
		switch {
		case r.earlier:
		case r.standing && !r.wasTold && due[r.Cause+r.Priority.Code()]:
			r.wasTold, r.told, r.calls = true, now.Up, 1
			tell(r, Raised)
		case r.standing && r.again(now.Up):
			r.told = now.Up
			r.calls++
			tell(r, Again)
		case !r.standing && r.wasTold && r.Priority == safety.PriorityNow && now.Up-r.gone >= sameWithin:
			tell(r, Over)
		}
	}
	b.rings = slices.DeleteFunc(b.rings, func(r *ring) bool {
		return !r.standing && (now.Up-r.gone >= sameWithin && !r.earlier || now.Up-r.gone >= earlierLasts)
	})
	return letters
}

// see notes an alarm that stands.
func (b *book) see(up time.Duration, id dosing.TankID, tank string, a *controller.AlarmView) {
	cause := a.Cause.String()
	r := b.find(tank, cause)
	if r == nil {
		if len(b.rings) >= mostRings {
			return
		}
		r = &ring{ID: rand.Text(), Tank: tank, Cause: cause, Priority: a.Priority, came: up}
		b.rings = append(b.rings, r)
	}
	if r.earlier {
		// Told before the restart: the same trouble, unless nobody could be told.
		r.earlier, r.came = false, up
		r.wasTold, r.told, r.calls, r.view = r.Delivered, up, 1, *a
	}
	if r.view.Since != a.Since && r.standsAnew(a) {
		// The core announces it anew: the same trouble, which somebody must acknowledge again.
		r.ID, r.Acknowledged, r.told, r.calls = rand.Text(), false, up, 1
	}
	if a.Priority < r.Priority {
		// More urgent than what was told: it rings anew, and older links are void.
		r.ID, r.Priority, r.wasTold, r.Acknowledged, r.Delivered, r.came = rand.Text(), a.Priority, false, false, false, up
	}
	if a.State == alarm.Acknowledged {
		r.Acknowledged = true
	}
	r.standing, r.gone, r.view, r.cause, r.tank = true, up, *a, a.Cause, id
}

// standsAnew says that the core calls for an acknowledgement that a ring had.
func (r *ring) standsAnew(a *controller.AlarmView) bool {
	return r.wasTold && a.State == alarm.Unacknowledged
}

// forget drops rings of tanks that are no more and of earlier runs that do not come again.
func (b *book) forget(up time.Duration, view *controller.View) {
	b.rings = slices.DeleteFunc(b.rings, func(r *ring) bool {
		known := slices.ContainsFunc(view.Tanks, func(t controller.TankView) bool { return t.Name == r.Tank })
		return !known || !r.standing && !r.wasTold && !r.earlier
	})
}

// due says that a ring is to be told for the first time.
func (r *ring) due(now dosing.Instant) bool {
	if !r.standing || r.wasTold {
		return false
	}
	if r.Priority < safety.PriorityTomorrow {
		return now.Up-r.came >= together
	}
	hour := now.Wall.Hour()
	return now.Up-r.came >= lastsFor && hour >= morning && hour < evening
}

// again says that nobody has acknowledged what calls at once.
func (r *ring) again(up time.Duration) bool {
	if !r.wasTold || r.Acknowledged || r.Priority != safety.PriorityNow {
		return false
	}
	wait := andAgain
	if r.calls == 1 {
		wait = again
	}
	return up-r.told >= wait
}

// kept is what a restart needs of the rings; load is its way back.
func (b *book) kept() (all []ring) {
	for _, r := range b.rings {
		if r.wasTold || r.earlier {
			all = append(all, ring{ID: r.ID, Tank: r.Tank, Cause: r.Cause, Priority: r.Priority, Acknowledged: r.Acknowledged, Delivered: r.Delivered})
		}
	}
	return all
}

func (b *book) load(kept []ring, up time.Duration) {
	for i := range kept {
		r := kept[i]
		_, known := safety.ParseCause(r.Cause)
		if known && len(b.rings) < mostRings && r.ID != "" && b.find(r.Tank, r.Cause) == nil {
			r.earlier, r.gone = true, up
			b.rings = append(b.rings, &r)
		}
	}
}

// delivered notes that a door took a letter.
func (b *book) delivered(l *Letter) (changed bool) {
	for _, r := range b.rings {
		if slices.ContainsFunc(l.Tanks, func(t Of) bool { return t.ring == r.ID }) && !r.Delivered {
			r.Delivered, changed = true, true
		}
	}
	return changed
}

// claim finds the ring that a pass names, if it can still be acknowledged.
func (b *book) claim(id string) (*ring, string) {
	for _, r := range b.rings {
		if r.ID != id {
			continue
		}
		switch {
		case r.Acknowledged:
			return r, "Somebody has acknowledged this alarm already."
		case !r.standing:
			return r, "This alarm is over, or not yet seen again since a restart. Look at the page."
		}
		return r, ""
	}
	return nil, "This link is of an alarm that is over, or has become more urgent since. Look at the page."
}

// name of a ring for people.
func (r *ring) name() string { return strings.TrimSuffix(r.Tank+": "+r.view.Text, ".") }
