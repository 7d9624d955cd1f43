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

// Dose is one dose. Of one that is not sure nobody knows whether it was given.
type Dose struct {
	At   time.Time
	ML   float64
	Sure bool
}

// Held is a stretch in which an interlock was active.
type Held struct {
	From, To time.Time
	Cause    string
}

// nightHours is how far the strip reaches back, and drawEvery how often it is drawn anew:
// it is most of what a page that is followed is sent.
const (
	nightHours = 12 * time.Hour
	drawEvery  = 15 * time.Minute
)

// strips keeps the newest strip of each tank.
type strips struct {
	mu     sync.Mutex
	at     time.Time
	made   map[string]*strip
	sparks map[string][]spark
	failed string
	read   func(from, to time.Time) (map[string]*Night, error) // nil = nobody keeps a history
	ions   map[string]*controller.IonsView
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

// of is the night of a tank, at most drawEvery old; nil where nobody keeps a history.
func (k *strips) of(at time.Time, tank *controller.TankView) *strip {
	if k.read == nil {
		return nil
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	k.draw(at)
	if made := k.made[tank.Name]; made != nil {
		return made
	}
	return &strip{Sentence: k.failed}
}

// cards are the nights of all tanks for their cards.
func (k *strips) cards(at time.Time) map[string][]spark {
	if k.read == nil {
		return nil
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	k.draw(at)
	return k.sparks
}

// draw draws the nights anew if they are too old.
func (k *strips) draw(at time.Time) {
	if age := at.Sub(k.at); k.made != nil && age >= 0 && age < drawEvery {
		return
	}
	k.at, k.made, k.sparks, k.failed = at, map[string]*strip{}, map[string][]spark{}, ""
	nights, err := k.read(at.Add(-nightHours), at)
	if err != nil {
		k.failed = "the history cannot be read: " + err.Error()
	}
	for name, night := range nights {
		k.made[name], k.sparks[name] = draw(night), sparksOf(night)
	}
}
