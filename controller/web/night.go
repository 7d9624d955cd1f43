package web

import (
	"sync"
	"time"

	"leat/controller"
)

// Night is what the record tells of a tank's last hours.
type Night struct {
	From, To time.Time
	Sentence string
	PH, EC   Trace
	Lanes    []Lane // by liquid
	Held     []Held
}

// Trace is one quantity: what was read, by minute, and its setpoint from each time on.
type Trace struct {
	Line, Set []Point
	Band      float64
}

// Point is a value at a time.
type Point struct {
	At    time.Time
	Value float64
}

// Lane is what one pump gave.
type Lane struct {
	Pump, Liquid, Role string
	ML                 float64
	Doses              []Dose
}

// Dose is one dose, or all of a day. Of one that is not sure nobody knows whether it was
// given.
type Dose struct {
	At    time.Time
	ML    float64
	Sure  bool
	Count int // of a day's; 0 = one
}

// Held is a stretch in which an interlock was active.
type Held struct {
	From, To time.Time
	Cause    string
}

// span is a time that is drawn, by the last part of its path.
type span struct {
	Key, Name string
	from      func(time.Time) time.Time
	every     time.Duration // it is drawn anew: a strip is most of what a page that is followed is sent
}

// spans are what is drawn. The first is that of a tank's own page.
var spans = []span{
	{"12h", "12 hours", func(to time.Time) time.Time { return to.Add(-nightHours) }, drawEvery},
	{"day", "a day", func(to time.Time) time.Time { return to.Add(-24 * time.Hour) }, drawEvery},
	{"month", "30 days", func(to time.Time) time.Time { return midnight(to.AddDate(0, 0, -29)) }, drawEvery},
	{"year", "a year", func(to time.Time) time.Time { return midnight(to.AddDate(-1, 0, 1)) }, time.Hour},
}

const (
	nightHours = 12 * time.Hour
	drawEvery  = 15 * time.Minute
)

func midnight(t time.Time) time.Time {
	return time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, t.Location())
}

// spanOf finds a span by its key.
func spanOf(key string) (*span, bool) {
	for i := range spans {
		if spans[i].Key == key {
			return &spans[i], true
		}
	}
	return nil, false
}

// strips keeps the newest strips of each tank.
type strips struct {
	mu    sync.Mutex
	drawn map[string]*drawing                                 // by span
	read  func(from, to time.Time) (map[string]*Night, error) // nil = nobody keeps a history
	ions  map[string]*controller.IonsView
}

// drawing is one span of all tanks.
type drawing struct {
	at     time.Time
	made   map[string]*strip
	sparks map[string][]spark
	failed string
}

// ions are those of a tank, at most drawEvery old unless an analysis came: what is drawn
// hardly moves, and it is long.
func (k *strips) ionsOf(tank *controller.TankView) *controller.IonsView {
	now := tank.Ions
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.ions == nil {
		k.ions = map[string]*controller.IonsView{}
	}
	have := k.ions[tank.Name]
	if have == nil || now == nil || !have.Analysed.Equal(now.Analysed) || have.Recipe != now.Recipe || now.At.Up < have.At.Up || now.At.Up-have.At.Up >= drawEvery {
		k.ions[tank.Name] = now
	}
	return k.ions[tank.Name]
}

// of is a span of a tank, drawn not long ago; nil where nobody keeps a history.
func (k *strips) of(at time.Time, tank string, what *span) *strip {
	if k.read == nil {
		return nil
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	d := k.draw(at, what)
	if made := d.made[tank]; made != nil {
		return made
	}
	return &strip{Sentence: d.failed, Span: what.Key}
}

// cards are the nights of all tanks for their cards.
func (k *strips) cards(at time.Time) map[string][]spark {
	if k.read == nil {
		return nil
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.draw(at, &spans[0]).sparks
}

// draw draws a span anew if it is too old.
func (k *strips) draw(at time.Time, what *span) *drawing {
	d := k.drawn[what.Key]
	if d != nil && !at.Before(d.at) && at.Sub(d.at) < what.every {
		return d
	}
	d = &drawing{at: at, made: map[string]*strip{}, sparks: map[string][]spark{}}
	nights, err := k.read(what.from(at), at)
	if err != nil {
		d.failed = "the history cannot be read: " + err.Error()
	}
	for name, night := range nights {
		made := draw(night)
		made.Span = what.Key
		d.made[name], d.sparks[name] = made, sparksOf(night)
	}
	if k.drawn == nil {
		k.drawn = map[string]*drawing{}
	}
	k.drawn[what.Key] = d
	return d
}
