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
	failed string
	ions   map[string]*controller.IonsView
}

// ions are those of a tank, at most drawEvery old unless an analysis came: what is drawn
// hardly moves, and it is long.
func (s *Server) ions(tank *controller.TankView) *controller.IonsView {
	k, now := &s.strips, tank.Ions
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

// strip is the night of a tank, at most drawEvery old; nil where nobody keeps a history.
func (s *Server) strip(at time.Time, tank *controller.TankView) *strip {
	if s.options.Night == nil {
		return nil
	}
	k := &s.strips
	k.mu.Lock()
	defer k.mu.Unlock()
	if age := at.Sub(k.at); k.made == nil || age < 0 || age >= drawEvery {
		k.at, k.made, k.failed = at, map[string]*strip{}, ""
		nights, err := s.options.Night(at.Add(-nightHours), at)
		if err != nil {
			k.failed = "the history cannot be read: " + err.Error()
		}
		for name, night := range nights {
			k.made[name] = draw(night)
		}
	}
	if made := k.made[tank.Name]; made != nil {
		return made
	}
	return &strip{Sentence: k.failed}
}
