package safety

import (
	"cmp"
	"slices"
	"time"

	"leat/dosing"
)

// Priority says when a person must act. The zero priority is the most urgent.
type Priority uint8

// The priorities in the words the grower reads; p1 to p4 stand in data only.
const (
	PriorityNow Priority = iota
	PriorityTonight
	PriorityTomorrow
	PriorityLog
	priorityCount
)

func (p Priority) String() string {
	return [...]string{"now", "tonight", "tomorrow", "log", "now"}[min(p, priorityCount)]
}

// Code is the priority as data: p1 to p4.
func (p Priority) Code() string {
	return [...]string{"p1", "p2", "p3", "p4", "p1"}[min(p, priorityCount)]
}

// AlarmState is a state of ISA-18.2 / IEC 62682.
type AlarmState uint8

// The states of an alarm.
const (
	AlarmNormal AlarmState = iota
	AlarmUnacknowledged
	AlarmAcknowledged
	AlarmReturnedUnacknowledged
	AlarmLatched
	AlarmShelved
	AlarmSuppressed
	AlarmOutOfService
	AlarmStateCount
)

var alarmStateNames = [AlarmStateCount]string{"normal", "unacknowledged", "acknowledged", "returned-unacknowledged",
	"latched", "shelved", "suppressed-by-design", "out-of-service"}

func (s AlarmState) String() string { return alarmStateNames[min(s, AlarmStateCount-1)] }

// Stands says that what the alarm is about is so now, and not kept quiet.
func (s AlarmState) Stands() bool {
	return s == AlarmUnacknowledged || s == AlarmAcknowledged || s == AlarmLatched
}

// Alarm is a thing a person must know or do, in the words of the interlock table.
type Alarm struct {
	Cause    Cause
	State    AlarmState
	Priority Priority
	Text     string
	Advice   string
	Since    dosing.Instant
}

// AlarmChange is an alarm that a person must be told of anew: it came, went, rose
// in priority, or a person's act on it ended.
type AlarmChange struct {
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
	// personFor is how long a stop or a maintenance by a person may last before
	// somebody may have forgotten it.
	personFor = 30 * time.Minute
)

// Alarms is the state of every cause's alarm in every tank. One goroutine uses it.
type Alarms struct {
	tanks   []tankAlarms
	changes []AlarmChange
}

type tankAlarms struct {
	record    [CauseCount]alarmRecord
	seen      causeSet // in the last update
	live      causeSet // present, or not yet back to normal
	situation Situation
	known     bool
	standing  standing
}

// alarmRecord is one cause in one tank.
type alarmRecord struct {
	state    AlarmState
	present  bool // the condition, now
	seen     bool // within this update
	latched  bool
	action   Action
	cameAt   time.Duration // of the condition
	wentAt   time.Duration // when it last went
	ever     bool
	told     dosing.Instant // since when a person knows of it
	toldAny  bool
	priority Priority
	rising   bool
	riseAt   time.Duration
	shelved  time.Duration // uptime until which it is shelved
	detail   string
	wrote    time.Duration // when the detail was written
}

// NewAlarms makes the alarms of a station's tanks, all normal.
func NewAlarms(tanks int) *Alarms { return &Alarms{tanks: make([]tankAlarms, tanks)} }

// Update takes the trips of a tank and the forecasts of when its warn and harm
// bands are left, and returns what changed. The slice holds until the next call.
// Trips of one cause at several pumps are one alarm.
func (a *Alarms) Update(now dosing.Instant, tank dosing.TankID, trips []Trip, leavesWarn, leavesHarm time.Duration) []AlarmChange {
	a.changes = a.changes[:0]
	if int(tank) >= len(a.tanks) {
		return nil
	}
	t := &a.tanks[tank]
	for rest := t.seen; !rest.empty(); {
		var c Cause
		c, rest = rest.first()
		t.record[c].seen, t.record[c].latched = false, false
	}
	t.seen = causeSet{}
	for i := range trips {
		trip := &trips[i]
		if trip.Cause == CauseNone || trip.Cause >= CauseCount {
			continue
		}
		t.see(now, trip.Cause, trip.Action, trip.Latched, trip.Detail)
	}
	t.judgeStanding(now, trips)
	t.live = t.live.or(t.seen)
	for rest := t.live.without(t.seen); !rest.empty(); {
		var c Cause
		c, rest = rest.first()
		if r := &t.record[c]; r.present {
			r.present, r.wentAt = false, now.Up
		}
	}
	for rest := t.live; !rest.empty(); {
		var c Cause
		c, rest = rest.first()
		a.step(now, tank, c, leavesWarn, leavesHarm)
		if r := &t.record[c]; !r.present && r.state == AlarmNormal {
			t.live.remove(c)
		}
	}
	return a.changes
}

// see notes that a condition is present.
func (t *tankAlarms) see(now dosing.Instant, c Cause, action Action, latched bool, detail string) {
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
	t.seen.add(c)
}

// step moves one alarm on.
func (a *Alarms) step(now dosing.Instant, tank dosing.TankID, c Cause, leavesWarn, leavesHarm time.Duration) {
	t := &a.tanks[tank]
	r, row := &t.record[c], Of(c)
	before := r.state
	quiet := r.present && (byDesign(&row, r, now.Up) || t.explained(c, now.Up))
	switch r.state {
	case AlarmNormal, AlarmSuppressed:
		r.state = AlarmNormal
		switch {
		case quiet:
			r.state = AlarmSuppressed
		case r.present && (r.latched || now.Up-r.cameAt >= row.Delay):
			t.raise(now, &row, leavesHarm)
			if r.toldAny && now.Up-r.told.Up < againWithin {
				// The same trouble once more: it stands, but nobody is called twice.
				r.state = AlarmAcknowledged
				return
			}
			r.told, r.toldAny = now, true
		default:
			return
		}
	case AlarmShelved:
		if now.Up < r.shelved && !(r.present && t.wanted(&row, now, leavesHarm) == PriorityNow && r.priority > PriorityNow) {
			return
		}
		r.state = AlarmNormal
		if r.present {
			t.raise(now, &row, leavesHarm)
			r.told, r.toldAny = now, true
		}
	case AlarmReturnedUnacknowledged:
		switch {
		case r.present && !quiet:
			t.raise(now, &row, leavesHarm)
			if now.Up-r.wentAt < againWithin {
				return
			}
			r.told = now
		case now.Up-r.wentAt > staleAfter:
			r.state = AlarmNormal
		}
	default:
		if r.present {
			a.escalate(now, tank, c, &row, leavesWarn, leavesHarm)
			return
		}
		if now.Up-r.wentAt < goneFor {
			return
		}
		r.state = AlarmReturnedUnacknowledged
		if before != AlarmUnacknowledged || r.priority == PriorityLog {
			r.state = AlarmNormal
		}
	}
	if r.state != before && !(before == AlarmNormal && r.state == AlarmSuppressed) && !(before == AlarmSuppressed && r.state == AlarmNormal) {
		a.change(tank, c, leavesWarn, leavesHarm)
	}
}

// raise makes an alarm stand.
func (t *tankAlarms) raise(now dosing.Instant, row *Interlock, leavesHarm time.Duration) {
	r := &t.record[row.Cause]
	r.priority = t.wanted(row, now, leavesHarm)
	r.state, r.rising = AlarmUnacknowledged, false
}

// over says that what the alarm is about is past.
func (r *alarmRecord) over() bool { return !r.present && !r.state.Stands() }

// words are the alarm's at the time of showing: what is past is told as past, and a
// forecast is that of now.
func (r *alarmRecord) words(row *Interlock, leavesWarn, leavesHarm time.Duration) string {
	text := row.Text
	if r.detail != "" {
		text += " (" + r.detail + ")"
	}
	if r.over() {
		return "Over after " + roughly(r.wentAt-r.cameAt) + ". It was: " + text
	}
	if r.action < Run {
		if words := forecastWords(leavesWarn, leavesHarm); words != "" {
			text += " At the drift last seen " + words + "."
		}
	}
	return text
}

// escalate raises the priority of a standing alarm as harm comes nearer. It never
// lowers it while the alarm stands, so a forecast that wavers wakes nobody twice.
func (a *Alarms) escalate(now dosing.Instant, tank dosing.TankID, c Cause, row *Interlock, leavesWarn, leavesHarm time.Duration) {
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
	r.state = AlarmUnacknowledged // what was acknowledged was less urgent
	a.change(tank, c, leavesWarn, leavesHarm)
}

// wanted is the priority that an alarm should have now.
func (t *tankAlarms) wanted(row *Interlock, now dosing.Instant, leavesHarm time.Duration) Priority {
	r := &t.record[row.Cause]
	want := row.Priority
	switch row.Cause {
	case CauseOutOfBand, CauseDosingBlockedLong:
		want = t.standing.priority(want, &t.situation, now.Up, leavesHarm)
	case CauseHourlyCap, CauseDailyCap:
		// A cap on the way to a far setpoint is no trouble as long as it gets nearer.
		if t.standing.stuck {
			want = want.Rise(leavesHarm)
		}
	case CauseStopInput, CauseMaintenance:
		if now.Up-r.cameAt >= personFor {
			want = min(want, PriorityTonight)
		}
		want = want.Rise(leavesHarm)
	default:
		if r.action < Run {
			want = want.Rise(leavesHarm)
		}
	}
	if r.state == AlarmUnacknowledged && r.toldAny && now.Up-r.told.Up >= staleAfter && want > PriorityTonight && want < PriorityLog {
		want--
	}
	return want
}

func (a *Alarms) change(tank dosing.TankID, c Cause, leavesWarn, leavesHarm time.Duration) {
	a.changes = append(a.changes, AlarmChange{Alarm: a.tanks[tank].record[c].alarm(c, leavesWarn, leavesHarm), Tank: tank})
}

func (r *alarmRecord) alarm(c Cause, leavesWarn, leavesHarm time.Duration) Alarm {
	row := Of(c)
	alarm := Alarm{Cause: c, State: r.state, Priority: r.priority, Text: r.words(&row, leavesWarn, leavesHarm), Advice: row.Advice, Since: r.told}
	if r.over() {
		alarm.Advice = "Acknowledge it; if it comes again: " + row.Advice
	}
	return alarm
}

// Acknowledge notes that a person knows of an alarm. It lifts no interlock. It
// returns the state in which the alarm was: only one that nobody had acknowledged
// changes, and normal means that there is none.
func (a *Alarms) Acknowledge(tank dosing.TankID, cause Cause) (was AlarmState) {
	r := a.standing(tank, cause)
	if r == nil {
		return AlarmNormal
	}
	was = r.state
	switch was {
	case AlarmUnacknowledged:
		r.state = AlarmAcknowledged
		if r.latched {
			r.state = AlarmLatched
		}
	case AlarmReturnedUnacknowledged:
		r.state = AlarmNormal
	}
	return was
}

// Shelve keeps an alarm quiet for some time, unless it rises to now. It lifts no
// interlock. It reports whether such an alarm stands.
func (a *Alarms) Shelve(now dosing.Instant, tank dosing.TankID, cause Cause, d time.Duration) bool {
	r := a.standing(tank, cause)
	if r == nil || d <= 0 {
		return false
	}
	r.state, r.shelved = AlarmShelved, now.Up+d
	return true
}

// standing is the record of an alarm that a person can see.
func (a *Alarms) standing(tank dosing.TankID, cause Cause) *alarmRecord {
	if int(tank) >= len(a.tanks) || cause >= CauseCount {
		return nil
	}
	if r := &a.tanks[tank].record[cause]; r.state != AlarmNormal && r.state != AlarmSuppressed {
		return r
	}
	return nil
}

// Active is every alarm of a tank that is not normal nor suppressed by design, in the
// words of now: forecasts say when its warn and harm bands are left. The most urgent
// comes first and among equals the one that came first.
func (a *Alarms) Active(tank dosing.TankID, leavesWarn, leavesHarm time.Duration) []Alarm {
	var out []Alarm
	for c := CauseNone + 1; c < CauseCount; c++ {
		if r := a.standing(tank, c); r != nil {
			out = append(out, r.alarm(c, leavesWarn, leavesHarm))
		}
	}
	slices.SortStableFunc(out, func(a, b Alarm) int {
		return cmp.Or(cmp.Compare(a.Priority, b.Priority), cmp.Compare(a.Since.Up, b.Since.Up))
	})
	return out
}
