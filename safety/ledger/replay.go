package ledger

import (
	"time"

	"leat/dosing"
	"leat/safety"
)

// Windows of the replay. Doses are kept an hour beyond the longest rolling cap,
// so that a window which begins between two decisions is still whole.
const (
	keptDoses     = 25 * time.Hour
	recentHours   = 72
	crashLoopSpan = 10 * time.Minute
	// KeptEpochs is of how many epochs with orders the last one is remembered.
	KeptEpochs = 64
)

// DemandHours is of how many hours it is told what each pump gave.
const DemandHours = 14 * 24

// Replay reads the store from its first row, verifies it, and says what a new run
// that begins now must know. Call it before the run's own Start is appended.
// Synchronised says that the system clock is known to be right; else at most an
// hour is believed to have passed since the last row, whatever the wall clock
// says.
func Replay(from Reader, now dosing.Instant, synchronised bool) (State, error) {
	r := newReplayer()
	l := &Ledger{open: map[uint64]struct{}{}}
	err := l.read(from, func(_ Row, e Entry) error {
		r.follow(e)
		return nil
	})
	if err != nil {
		return State{}, err
	}
	state := r.finish(now, synchronised, l.run)
	state.Head = l.hash
	return state, nil
}

// replayer follows the record in memory that depends on the last day, the open
// intents and the number of pumps and tanks, not on the length of the record.
// Until finish, the Up of everything is a time of the timeline.
type replayer struct {
	State
	clock  timeline
	doses  []ReplayedDose // ascending by Up
	open   []openDose
	recent map[string]*hours
	starts []time.Duration
}

type openDose struct {
	OpenIntent
	dose ReplayedDose
}

func newReplayer() *replayer {
	return &replayer{recent: map[string]*hours{}, State: State{
		Ever: map[string]dosing.Volume{}, Recent: map[string]dosing.Volume{}, Hourly: map[string][]dosing.Volume{}, Outcomes: map[string]Counts{},
		Modes: map[string]safety.Mode{}, Disarmed: map[string]Remark{}, Unconfirmed: map[string]Remark{}, Pauses: map[string][]Remark{},
		Learned: map[Of]Learned{}, Titrations: map[string]Titration{}, Fills: map[string]Remark{}, Levels: map[string]float64{}, Unseen: map[string]Unseen{}, Owed: map[string]map[string]dosing.Volume{}, Ions: map[string][]Remark{}, Analyses: map[string]Analysis{}, Fillings: map[string]Remark{}, Refills: map[string]Refill{}, Calibrations: map[string]Calibration{}, Rates: map[string]PumpRate{}, Tubes: map[string]Tube{}, Holidays: map[string]map[string]time.Time{},
	}}
}

func (r *replayer) follow(e Entry) {
	r.Rows++
	if r.Rows == 1 {
		r.First = e.At.Wall
	}
	r.Last = e.At.Wall
	at := r.clock.follow(e)
	r.forget(at)
	switch e.Kind {
	case EntryIntent:
		r.intent(e, at)
	case EntrySettlement:
		r.settle(e, at)
	case EntryChange:
		r.change(e, at)
	}
}

// forget drops doses that no window reaches any more.
func (r *replayer) forget(at time.Duration) {
	old := 0
	for old < len(r.doses) && at-r.doses[old].SettledUp > keptDoses && at-r.doses[old].Up > keptDoses {
		old++
	}
	// In blocks: moving the rest at each dose would cost its square.
	if old > 256 || old > 0 && old == len(r.doses) {
		r.doses = append(r.doses[:0], r.doses[old:]...)
	}
}

func (r *replayer) intent(e Entry, at time.Duration) {
	if n := len(r.LastOrders); n > 0 && r.LastOrders[n-1].Epoch == e.Order.Epoch {
		r.LastOrders[n-1] = e.Order
	} else if r.LastOrders = append(r.LastOrders, e.Order); n == KeptEpochs {
		r.LastOrders = append(r.LastOrders[:0], r.LastOrders[1:]...)
	}
	r.open = append(r.open, openDose{
		OpenIntent: OpenIntent{Order: e.Order, Tank: e.Tank, Pump: e.Pump, Volume: e.Volume, Reason: e.Reason,
			At: dosing.Instant{Wall: e.At.Wall, Up: at},
			Basis: Basis{Configuration: e.Configuration, TankName: e.Tank, PumpName: e.Pump, PH: e.PH, EC: e.EC,
				Temperature: e.Temperature}},
		dose: ReplayedDose{Order: e.Order, Tank: e.Tank, Pump: e.Pump, Ordered: e.Volume, Volume: e.Volume, Up: at, SettledUp: at},
	})
	r.unseen(e.Tank, e.Pump, e.Volume)
	r.count(e.Pump, at, e.Volume)
	r.tally(e.Pump, OutcomeOpen, e.Volume)
	if e.Configuration != "" {
		r.Configuration = e.Configuration
	}
}

func (r *replayer) count(pump string, at time.Duration, change dosing.Volume) {
	r.Ever[pump] += change
	if r.recent[pump] == nil {
		r.recent[pump] = &hours{}
	}
	r.recent[pump].add(at, change)
}

func (r *replayer) tally(pump string, outcome Outcome, volume dosing.Volume) {
	c := r.Outcomes[pump]
	c.Doses[outcome]++
	c.Volume[outcome] += volume
	r.Outcomes[pump] = c
}

func (r *replayer) untally(pump string, outcome Outcome, volume dosing.Volume) {
	c := r.Outcomes[pump]
	c.Doses[outcome]--
	c.Volume[outcome] -= volume
	r.Outcomes[pump] = c
}

// settle closes an open intent, or raises a dose that was settled before (by a word
// that came later). What counted once never counts less.
func (r *replayer) settle(e Entry, at time.Duration) {
	for i := range r.open {
		if r.open[i].Order != e.Order {
			continue
		}
		d := r.open[i].dose
		r.open = append(r.open[:i], r.open[i+1:]...)
		r.untally(d.Pump, OutcomeOpen, d.Volume)
		r.tally(d.Pump, e.Outcome, e.Volume)
		r.count(d.Pump, d.Up, e.Volume-d.Volume)
		r.unseen(d.Tank, d.Pump, e.Volume-d.Volume) // what was withdrawn stays in
		d.Volume, d.Outcome, d.SettledUp = e.Volume, e.Outcome, at
		r.keep(d) // a withdrawn one too: should a report of it come after all, it counts
		return
	}
	for i := len(r.doses) - 1; i >= 0; i-- {
		d := &r.doses[i]
		if d.Order != e.Order || d.ByHand || d.Spent || e.Outcome == OutcomeWithdrawn || e.Volume < d.Volume {
			continue
		}
		r.untally(d.Pump, d.Outcome, d.Volume)
		r.tally(d.Pump, e.Outcome, e.Volume)
		r.count(d.Pump, d.Up, e.Volume-d.Volume)
		r.unseen(d.Tank, d.Pump, e.Volume-d.Volume) // what was withdrawn stays in
		d.Volume, d.Outcome, d.SettledUp = e.Volume, e.Outcome, at
		return
	}
	// Older than every window: what counted then stays counted.
}

// keep inserts a dose where its Up belongs; nearly always at the end.
func (r *replayer) keep(d ReplayedDose) {
	i := len(r.doses)
	for i > 0 && r.doses[i-1].Up > d.Up {
		i--
	}
	r.doses = append(r.doses, ReplayedDose{})
	copy(r.doses[i+1:], r.doses[i:])
	r.doses[i] = d
}

// finish turns times of the timeline into uptimes of the run that begins now.
func (r *replayer) finish(now dosing.Instant, synchronised bool, run uint32) State {
	s := r.State
	s.LastEpoch = run
	end := r.clock.at
	if r.clock.begun {
		end += r.clock.gap(now, synchronised)
	}
	s.Covers = end
	up := func(at time.Duration) time.Duration { return now.Up - (end - at) }
	for _, o := range r.open {
		r.keep(o.dose)
		o.At.Up = up(o.At.Up)
		s.Open = append(s.Open, o.OpenIntent)
	}
	for _, d := range r.doses {
		// An open dose is in transit however old it is.
		old := end-d.Up > keptDoses && end-d.SettledUp > keptDoses
		if d.Outcome == OutcomeWithdrawn || old && d.Outcome != OutcomeOpen {
			continue
		}
		d.Up, d.SettledUp = up(d.Up), up(d.SettledUp)
		s.Doses = append(s.Doses, d)
	}
	for pump, h := range r.recent {
		h.reach(int64(end / time.Hour))
		s.Recent[pump] = h.sum()
		s.Hourly[pump] = h.last(min(DemandHours, h.newest+1))
	}
	for _, at := range r.starts {
		if end-at <= crashLoopSpan {
			s.Starts++
		}
	}
	s.shift(up)
	return s
}

// shift turns the times of what still holds into uptimes.
func (s *State) shift(up func(time.Duration) time.Duration) {
	for i := range s.Latches {
		s.Latches[i].At.Up = up(s.Latches[i].At.Up)
	}
	for i := range s.Setpoints {
		s.Setpoints[i].At.Up = up(s.Setpoints[i].At.Up)
	}
	for tank, remark := range s.Unconfirmed {
		remark.At.Up = up(remark.At.Up)
		s.Unconfirmed[tank] = remark
	}
	for _, pauses := range s.Pauses {
		for i := range pauses {
			pauses[i].At.Up = up(pauses[i].At.Up)
		}
	}
	for _, records := range s.Ions {
		for i := range records {
			records[i].At.Up = up(records[i].At.Up)
		}
	}
	for tank, filling := range s.Fillings {
		filling.At.Up = up(filling.At.Up)
		s.Fillings[tank] = filling
	}
	for tank, analysis := range s.Analyses {
		analysis.At.Up = up(analysis.At.Up)
		s.Analyses[tank] = analysis
	}
	for tank, titration := range s.Titrations {
		titration.At.Up = up(titration.At.Up)
		s.Titrations[tank] = titration
	}
	for tank, fill := range s.Fills {
		fill.At.Up = up(fill.At.Up)
		s.Fills[tank] = fill
	}
	for of, learned := range s.Learned {
		learned.At.Up = up(learned.At.Up)
		s.Learned[of] = learned
	}
}
