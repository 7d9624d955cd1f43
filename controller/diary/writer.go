package diary

import (
	"maps"
	"math"
	"slices"
	"time"

	"leat/controller"
	"leat/dosing"
	"leat/safety"
	"leat/safety/alarm"
)

// How often what moves all the time is written, and by how much a setpoint moves
// along its ramp before it is.
const (
	wantEvery    = time.Minute
	driftEvery   = time.Hour
	setpointStep = 0.01 // pH or mS/cm
)

// Writer follows the views of a run and says what changed.
type Writer struct {
	station string
	tanks   []written
	said    time.Duration // uptime at which everything was last said
	begun   bool
	out     []Event
}

// written is what was last written of a tank.
type written struct {
	holds          []key
	alarms         map[safety.Cause]alarm.State
	ph, ec         float64
	want           string
	wanted, drifts time.Duration // uptime of the last look
	topped         dosing.Litres
}

// key is one interlock: its cause and, of a pump's own, the pump.
type key struct {
	cause safety.Cause
	pump  string
}

// NewWriter begins the diary of a run.
func NewWriter(station *Station) *Writer { return &Writer{station: station.Text()} }

// Reconfigured says that a new configuration took effect.
func (w *Writer) Reconfigured(station *Station) {
	w.station, w.said = station.Text(), -SaidAgain
}

// Follow says what is new in a view. The events hold until the next call.
func (w *Writer) Follow(v *controller.View) []Event {
	w.out = w.out[:0]
	now := v.At
	if !w.begun {
		w.say(now.Wall, Event{Kind: KindRun, Name: RunBegins})
	}
	again := !w.begun || now.Up-w.said >= SaidAgain/2
	if again {
		w.said, w.begun = now.Up, true
		w.say(now.Wall, Event{Kind: KindStation, Text: w.station})
	}
	for len(w.tanks) < len(v.Tanks) {
		w.tanks = append(w.tanks, written{alarms: map[safety.Cause]alarm.State{}, topped: v.Tanks[len(w.tanks)].ToppedUp})
	}
	for i := range v.Tanks {
		w.tank(now, &v.Tanks[i], &w.tanks[i], again)
	}
	return w.out
}

// End says that the run ends in order.
func (w *Writer) End(wall time.Time) []Event {
	w.out = w.out[:0]
	w.say(wall, Event{Kind: KindRun, Name: RunEnds})
	return w.out
}

func (w *Writer) say(wall time.Time, e Event) {
	e.At = wall
	w.out = append(w.out, e)
}

func (w *Writer) tank(now dosing.Instant, t *controller.TankView, was *written, again bool) {
	say := func(e Event) {
		e.Tank = t.Name
		w.say(now.Wall, e)
	}
	was.interlocks(t, again, say)
	was.alarm(t, again, say)
	for _, s := range []struct {
		name string
		is   *controller.SetpointView
		was  *float64
	}{{PH, &t.PH, &was.ph}, {EC, &t.EC, &was.ec}} {
		moved := math.Abs(s.is.Working - *s.was)
		if again || moved >= setpointStep || moved > 0 && s.is.Working == s.is.Final {
			*s.was = s.is.Working
			say(Event{Kind: KindSetpoint, Name: s.name, Value: s.is.Working})
		}
	}
	if again || now.Up-was.wanted >= wantEvery {
		was.wanted = now.Up
		want := t.Wants.String()
		if !t.Settled.Known {
			want = Unknown
		}
		if again || want != was.want {
			was.want = want
			say(Event{Kind: KindWant, Name: want})
		}
		if litres := t.ToppedUp - was.topped; litres > 0 {
			was.topped = t.ToppedUp
			say(Event{Kind: KindTopUp, Value: float64(litres)})
		}
	}
	if t.Settled.Known && (was.drifts == 0 || now.Up-was.drifts >= driftEvery) {
		was.drifts = now.Up
		say(Event{Kind: KindDrift, Name: PH, Value: t.Settled.DriftPH})
		say(Event{Kind: KindDrift, Name: EC, Value: t.Settled.DriftEC})
	}
}

// interlocks says which came and went. A dose under way has rows of its own.
func (was *written) interlocks(t *controller.TankView, again bool, say func(Event)) {
	stand := make([]key, 0, len(t.Holds))
	for i := range t.Holds {
		h := &t.Holds[i]
		k := key{h.Cause, h.Pump}
		if h.Action >= safety.Run || h.Cause == safety.CauseDoseOpen || slices.Contains(stand, k) {
			continue
		}
		stand = append(stand, k)
		if again || !slices.Contains(was.holds, k) {
			say(Event{Kind: KindInterlock, Name: h.Cause.String(), Pump: h.Pump, Value: 1, Text: h.Text})
		}
	}
	for _, k := range was.holds {
		if !slices.Contains(stand, k) {
			say(Event{Kind: KindInterlock, Name: k.cause.String(), Pump: k.pump})
		}
	}
	was.holds = stand
}

func (was *written) alarm(t *controller.TankView, again bool, say func(Event)) {
	stand := make(map[safety.Cause]alarm.State, len(t.Alarms))
	for i := range t.Alarms {
		a := &t.Alarms[i]
		stand[a.Cause] = a.State
		if again || was.alarms[a.Cause] != a.State {
			say(Event{Kind: KindAlarm, Name: a.Cause.String(), Text: a.State.String()})
		}
	}
	for _, cause := range slices.Sorted(maps.Keys(was.alarms)) {
		if _, stands := stand[cause]; !stands {
			say(Event{Kind: KindAlarm, Name: cause.String(), Text: alarm.Normal.String()})
		}
	}
	was.alarms = stand
}
