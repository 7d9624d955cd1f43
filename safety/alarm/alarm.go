package alarm

import (
	"cmp"
	"slices"
	"time"

	"leat/dosing"
	"leat/safety"
)

// State is a state of ISA-18.2 / IEC 62682.
type State uint8

// The states of an alarm.
const (
	Normal State = iota
	Unacknowledged
	Acknowledged
	ReturnedUnacknowledged
	Latched
	Shelved
	Suppressed
	OutOfService
	StateCount
)

var stateNames = [StateCount]string{"normal", "unacknowledged", "acknowledged", "returned-unacknowledged",
	"latched", "shelved", "suppressed-by-design", "out-of-service"}

func (s State) String() string { return stateNames[min(s, StateCount-1)] }

// Stands says that what the alarm is about is so now, and not kept quiet.
func (s State) Stands() bool {
	return s == Unacknowledged || s == Acknowledged || s == Latched
}

// Alarm is a thing a person must know or do, in the words of the interlock table.
type Alarm struct {
	Cause    safety.Cause
	State    State
	Priority safety.Priority
	Text     string
	Advice   string
	Since    dosing.Instant
}

// Change is an alarm that a person must be told of anew: it came, went, rose
// in priority, or a person's act on it ended.
type Change struct {
	Alarm
	Tank dosing.TankID
}

// Against chatter: what went must stay away for goneFor before the alarm returns to
// normal, and what comes back within againWithin goes on as the same alarm without
// being announced anew. A rise in priority must last riseFor.
const (
	goneFor     = 30 * time.Second
	againWithin = 10 * time.Minute
	riseFor     = time.Minute
	// rootTail is how long a root goes on to explain its consequences after it has
	// gone: readings need that long to come back after the link did.
	rootTail = time.Minute
	// staleAfter is when an alarm that returned unacknowledged closes by itself, and
	// when one that still stands unacknowledged becomes one step more urgent.
	staleAfter = 24 * time.Hour
	// PersonFor is how long a stop or a maintenance by a person may last before
	// somebody may have forgotten it.
	PersonFor = 30 * time.Minute
)

// Alarms is the state of every cause's alarm in every tank. One goroutine uses it.
type Alarms struct {
	tanks   []tankAlarms
	changes []Change
}

type tankAlarms struct {
	record    [safety.CauseCount]record
	seen      safety.CauseSet // in the last update
	live      safety.CauseSet // present, or not yet back to normal
	situation Situation
	known     bool
	standing  standing
}

// record is one cause in one tank.
type record struct {
	state    State
	present  bool // the condition, now
	seen     bool // within this update
	latched  bool
	action   safety.Action
	cameAt   time.Duration // of the condition
	wentAt   time.Duration // when it last went
	ever     bool
	told     dosing.Instant // since when a person knows of it
	toldAny  bool
	priority safety.Priority
	rising   bool
	riseAt   time.Duration
	shelved  time.Duration // uptime until which it is shelved
	detail   string
	wrote    time.Duration // when the detail was written
}

// New makes the alarms of a station's tanks, all normal.
func New(tanks int) *Alarms { return &Alarms{tanks: make([]tankAlarms, tanks)} }

// Update takes the trips of a tank and the forecasts of when its warn and harm
// bands are left, and returns what changed. The slice holds until the next call.
// Trips of one cause at several pumps are one alarm.
func (a *Alarms) Update(now dosing.Instant, tank dosing.TankID, trips []safety.Trip, leavesWarn, leavesHarm time.Duration) []Change {
	a.changes = a.changes[:0]
	if int(tank) >= len(a.tanks) {
		return nil
	}
	t := &a.tanks[tank]
	for rest := t.seen; !rest.Empty(); {
		var c safety.Cause
		c, rest = rest.First()
		t.record[c].seen, t.record[c].latched = false, false
	}
	t.seen = safety.CauseSet{}
	for i := range trips {
		trip := &trips[i]
		if trip.Cause == safety.CauseNone || trip.Cause >= safety.CauseCount {
			continue
		}
		t.see(now, trip.Cause, trip.Action, trip.Latched, trip.Detail)
	}
	t.judgeStanding(now, trips)
	t.judgeLine(now)
	t.live = t.live.Or(t.seen)
	for rest := t.live.Without(t.seen); !rest.Empty(); {
		var c safety.Cause
		c, rest = rest.First()
		if r := &t.record[c]; r.present {
			r.present, r.wentAt = false, now.Up
		}
	}
	for rest := t.live; !rest.Empty(); {
		var c safety.Cause
		c, rest = rest.First()
		a.step(now, tank, c, leavesWarn, leavesHarm)
		if r := &t.record[c]; !r.present && r.state == Normal {
			t.live.Remove(c)
		}
	}
	return a.changes
}

// see notes that a condition is present.
func (t *tankAlarms) see(now dosing.Instant, c safety.Cause, action safety.Action, latched bool, detail string) {
	r := &t.record[c]
	if !r.present {
		if !r.ever || now.Up-r.wentAt > goneFor {
			r.cameAt = now.Up
		}
		r.present, r.ever = true, true
	}
	if !r.seen {
		r.action, r.detail = action, detail
	}
	r.action = min(r.action, action)
	r.seen, r.latched = true, r.latched || latched
	t.seen.Add(c)
}

// step moves one alarm on.
func (a *Alarms) step(now dosing.Instant, tank dosing.TankID, c safety.Cause, leavesWarn, leavesHarm time.Duration) {
	t := &a.tanks[tank]
	r, row := &t.record[c], safety.Of(c)
	before := r.state
	quiet := r.present && (byDesign(&row, r, now.Up) || t.explained(c, now.Up))
	switch r.state {
	case Normal, Suppressed:
		r.state = Normal
		switch {
		case quiet:
			r.state = Suppressed
		case r.present && (r.latched || now.Up-r.cameAt >= row.Delay):
			t.raise(now, &row, leavesHarm)
			if r.toldAny && now.Up-r.told.Up < againWithin {
				// The same trouble once more: it stands, but nobody is called twice.
				r.state = Acknowledged
				return
			}
			r.told, r.toldAny = now, true
		default:
			return
		}
	case Shelved:
		if now.Up < r.shelved && !(r.present && t.wanted(&row, now, leavesHarm) == safety.PriorityNow && r.priority > safety.PriorityNow) {
			return
		}
		r.state = Normal
		if r.present {
			t.raise(now, &row, leavesHarm)
			r.told, r.toldAny = now, true
		}
	case ReturnedUnacknowledged:
		switch {
		case r.present && !quiet:
			t.raise(now, &row, leavesHarm)
			if now.Up-r.wentAt < againWithin {
				return
			}
			r.told = now
		case now.Up-r.wentAt > staleAfter:
			r.state = Normal
		}
	default:
		if r.present {
			a.escalate(now, tank, c, &row, leavesWarn, leavesHarm)
			return
		}
		if now.Up-r.wentAt < goneFor {
			return
		}
		r.state = ReturnedUnacknowledged
		if before != Unacknowledged || r.priority == safety.PriorityLog {
			r.state = Normal
		}
	}
	if r.state != before && !(before == Normal && r.state == Suppressed) && !(before == Suppressed && r.state == Normal) {
		a.change(tank, c, leavesWarn, leavesHarm)
	}
}

// raise makes an alarm stand.
func (t *tankAlarms) raise(now dosing.Instant, row *safety.Interlock, leavesHarm time.Duration) {
	r := &t.record[row.Cause]
	r.priority = t.wanted(row, now, leavesHarm)
	r.state, r.rising = Unacknowledged, false
}

// over says that what the alarm is about is past.
func (r *record) over() bool { return !r.present && !r.state.Stands() }

// words are the alarm's at the time of showing: what is past is told as past, and a
// forecast is that of now.
func (r *record) words(row *safety.Interlock, leavesWarn, leavesHarm time.Duration) string {
	text := row.Text
	if r.detail != "" {
		text += " (" + r.detail + ")"
	}
	if r.over() {
		return "Over after " + roughly(r.wentAt-r.cameAt) + ". It was: " + text
	}
	if r.action < safety.Run {
		if words := forecastWords(leavesWarn, leavesHarm); words != "" {
			text += " At the drift last seen " + words + "."
		}
	}
	return text
}

// escalate raises the priority of a standing alarm as harm comes nearer. It never
// lowers it while the alarm stands, so a forecast that wavers wakes nobody twice.
func (a *Alarms) escalate(now dosing.Instant, tank dosing.TankID, c safety.Cause, row *safety.Interlock, leavesWarn, leavesHarm time.Duration) {
	t := &a.tanks[tank]
	r := &t.record[c]
	want := t.wanted(row, now, leavesHarm)
	if want >= r.priority {
		r.rising = false
		return
	}
	if !r.rising {
		r.rising, r.riseAt = true, now.Up
	}
	if now.Up-r.riseAt < riseFor {
		return
	}
	r.rising, r.priority = false, want
	r.state = Unacknowledged // what was acknowledged was less urgent
	a.change(tank, c, leavesWarn, leavesHarm)
}

// wanted is the priority that an alarm should have now.
func (t *tankAlarms) wanted(row *safety.Interlock, now dosing.Instant, leavesHarm time.Duration) safety.Priority {
	r := &t.record[row.Cause]
	want := row.Priority
	switch row.Cause {
	case safety.CauseOutOfBand, safety.CauseDosingBlockedLong:
		want = t.standing.priority(want, &t.situation, now.Up, leavesHarm)
	case safety.CauseHourlyCap, safety.CauseDailyCap:
		// A cap on the way to a far setpoint is no trouble as long as it gets nearer.
		if t.standing.stuck {
			want = want.Rise(leavesHarm)
		}
	case safety.CauseStopInput, safety.CauseMaintenance:
		if now.Up-r.cameAt >= PersonFor {
			want = min(want, safety.PriorityTonight)
		}
		want = want.Rise(leavesHarm)
	default:
		if r.action < safety.Run {
			want = want.Rise(leavesHarm)
		}
	}
	want = want.Rise(t.situation.roots(row.Cause))
	if r.state == Unacknowledged && r.toldAny && now.Up-r.told.Up >= staleAfter && want > safety.PriorityTonight && want < safety.PriorityLog {
		want--
	}
	return want
}

func (a *Alarms) change(tank dosing.TankID, c safety.Cause, leavesWarn, leavesHarm time.Duration) {
	a.changes = append(a.changes, Change{Alarm: a.tanks[tank].record[c].alarm(c, leavesWarn, leavesHarm), Tank: tank})
}

func (r *record) alarm(c safety.Cause, leavesWarn, leavesHarm time.Duration) Alarm {
	row := safety.Of(c)
	alarm := Alarm{Cause: c, State: r.state, Priority: r.priority, Text: r.words(&row, leavesWarn, leavesHarm), Advice: row.Advice, Since: r.told}
	if r.over() {
		alarm.Advice = "Acknowledge it; if it comes again: " + row.Advice
	}
	return alarm
}

// Acknowledge notes that a person knows of an alarm. It lifts no interlock. It
// returns the state in which the alarm was: only one that nobody had acknowledged
// changes, and normal means that there is none.
func (a *Alarms) Acknowledge(tank dosing.TankID, cause safety.Cause) (was State) {
	r := a.standing(tank, cause)
	if r == nil {
		return Normal
	}
	was = r.state
	switch was {
	case Unacknowledged:
		r.state = Acknowledged
		if r.latched {
			r.state = Latched
		}
	case ReturnedUnacknowledged:
		r.state = Normal
	}
	return was
}

// Shelve keeps an alarm quiet for some time, unless it rises to now. It lifts no
// interlock. It reports whether such an alarm stands.
func (a *Alarms) Shelve(now dosing.Instant, tank dosing.TankID, cause safety.Cause, d time.Duration) bool {
	r := a.standing(tank, cause)
	if r == nil || d <= 0 {
		return false
	}
	r.state, r.shelved = Shelved, now.Up+d
	return true
}

// standing is the record of an alarm that a person can see.
func (a *Alarms) standing(tank dosing.TankID, cause safety.Cause) *record {
	if int(tank) >= len(a.tanks) || cause >= safety.CauseCount {
		return nil
	}
	if r := &a.tanks[tank].record[cause]; r.state != Normal && r.state != Suppressed {
		return r
	}
	return nil
}

// Active is every alarm of a tank that is not normal nor suppressed by design, in the
// words of now: forecasts say when its warn and harm bands are left. The most urgent
// comes first and among equals the one that came first.
func (a *Alarms) Active(tank dosing.TankID, leavesWarn, leavesHarm time.Duration) []Alarm {
	var out []Alarm
	for c := safety.CauseNone + 1; c < safety.CauseCount; c++ {
		if r := a.standing(tank, c); r != nil {
			out = append(out, r.alarm(c, leavesWarn, leavesHarm))
		}
	}
	slices.SortStableFunc(out, func(a, b Alarm) int {
		return cmp.Or(cmp.Compare(a.Priority, b.Priority), cmp.Compare(a.Since.Up, b.Since.Up))
	})
	return out
}
