package controller

import (
	"errors"
	"time"

	"leat/dosing"
	"leat/dosing/loop"
	"leat/safety"
	"leat/safety/alarm"
	"leat/safety/ledger"
)

// Periods of the core. The lease must be renewed several times within the ten
// seconds for which a node believes it.
const (
	tickEvery    = time.Second
	leaseEvery   = 2 * time.Second
	learnedEvery = time.Hour
)

// Core is the state of one station with its tanks. It is driven by one goroutine
// through Step and keeps no clock of its own.
type Core struct {
	settings     *Settings
	watch        *safety.Watch
	gate         *safety.Gate
	alarms       *alarm.Alarms
	totals       *dosing.Totals
	tanks        []tank
	limits       []dosing.Volume // scratch of a decision, by pump
	causes       []safety.Cause  // why a limit is zero, by pump
	wanted       []bool          // what the tank under decision wants now, by pump
	switches     []float64       // the last value of each input that is a switch
	dose         openDose
	hands        []handEntry // of the last day, the newest last
	handCount    uint32      // entries of this run
	spoken       []spoken    // settled doses, the newest last
	nodes        []nodeWord
	earlier      []ledger.OrderID // the last order of each earlier epoch, ascending
	answered     uint32           // for what nodes took in epochs before this one a person has answered
	missing      time.Duration    // how long before this run the ledger says nothing
	restored     bool             // a copy was put back: what is missing is spent
	spent        bool             // and has been counted
	pumps        []pumpCounts
	drawn        drawn
	stocked      time.Duration        // when the containers were last looked at
	calibrations []ledger.Calibration // the newest of each input; At zero = none
	abandoned    []ledger.Intent      // open at the end of an earlier run; Begin settles them
	epoch        uint32
	number       uint32
	turns        []dosing.TankID // the tanks, the one that was dosed longest ago first
	linkUp       bool
	other        bool // another controller owns the station or gives orders
	otherWords   string
	ledger       safety.LedgerState
	ticket       uint64 // of the newest row that a request waits for

	ticked, decided, leased, learned time.Duration
	out                              Output
}

// tank is what the core keeps of one tank beside the watch and the loops.
type tank struct {
	settings    TankSettings
	plant       dosing.Tank
	loops       *loop.Loops
	ph, ec      setpoint
	operator    safety.OperatorState
	pauseEnd    time.Duration // uptime at which a pause ends by itself; 0 = by a person
	mode        safety.Mode   // as people set it; the watch adds what trips
	held        []safety.Trip // what withheld doses at the last evaluation, for notices
	standing    []safety.Trip // the same of this evaluation
	waits       []safety.Trip // what the gate's judgement of single doses withheld at the last decision
	would       string
	estimate    loop.Estimate // at most lookEvery old
	looked      time.Duration
	looks       bool
	warn        time.Duration // until pH or EC leaves its bands, as then forecast
	harm        time.Duration
	seenPH      lastSeen
	seenEC      lastSeen
	withheld    [safety.CauseCount]uint64
	owed        []dosing.Volume // the blend's remainder as last recorded, by pump
	curve       dosing.Titration
	blendEC     float64 // what 1 mL of the blend does in 1 L, mS/cm
	ions        ions
	offer       handOffer // an entry by hand that needs confirmation
	disarmed    string    // why it was armed and now observes without a person's word; empty = it does not
	disarmedNow bool      // by this start, which records it
	wishes      [wishCount]wish
	next        [2]wish // a setpoint, pH's and EC's, that waits for its row's turn
	analyses    rate
	calibrating atWork
	asked       time.Duration        // when the schedule last asked for a setpoint
	ended       map[string]time.Time // when a person confirmed the end of each holiday
	low         string               // which containers are, for an alarm
}

type pumpCounts struct {
	doses  [ledger.OutcomeCount]uint64
	volume [ledger.OutcomeCount]dosing.Volume
	before dosing.Volume   // of earlier runs
	rate   ledger.PumpRate // as last measured
	tube   ledger.Tube
	refill ledger.Refill // the newest; At zero = none was entered
}

// New makes the core from valid settings and what the ledger replayed. Nothing is
// dosed before Begin's changes are durable and the start-up wait is over.
func New(settings *Settings, restored ledger.State, now dosing.Instant) (*Core, error) {
	if len(settings.Tanks) == 0 || len(settings.Tanks) != len(settings.Safety.Tanks) {
		return nil, errors.New("a station needs at least one tank, described for control and for safety alike")
	}
	c := &Core{
		settings:     settings,
		totals:       dosing.NewTotals(len(settings.Safety.Pumps), len(settings.Tanks)),
		alarms:       alarm.New(len(settings.Tanks)),
		limits:       make([]dosing.Volume, len(settings.Safety.Pumps)),
		causes:       make([]safety.Cause, len(settings.Safety.Pumps)),
		wanted:       make([]bool, len(settings.Safety.Pumps)),
		switches:     make([]float64, len(settings.Safety.Inputs)),
		pumps:        make([]pumpCounts, len(settings.Safety.Pumps)),
		calibrations: make([]ledger.Calibration, len(settings.Safety.Inputs)),
		epoch:        restored.LastEpoch + 1,
		nodes:        make([]nodeWord, len(settings.Safety.Nodes)),
		earlier:      restored.LastOrders,
		answered:     max(restored.Answered, 1),
		missing:      missingSince(restored.Last, now.Wall),
	}
	curves := make([]dosing.Titration, len(settings.Tanks))
	for i := range settings.Safety.Tanks {
		plant := settings.Safety.Tanks[i].Tank
		curve, err := curveOf(plant)
		if err != nil {
			return nil, err
		}
		curves[i] = curve
		c.tanks = append(c.tanks, tank{
			settings: settings.Tanks[i],
			plant:    plant,
			curve:    curve,
			loops:    loop.NewLoops(dosing.TankID(i), plant, settings.Safety.Pumps, curve, c.totals),
			ph:       newSetpoint(settings.Tanks[i].PH, now),
			ec:       newSetpoint(settings.Tanks[i].EC, now),
		})
	}
	for i := range c.switches {
		c.switches[i] = -1 // not seen yet
	}
	for i := range c.tanks {
		c.turns = append(c.turns, dosing.TankID(i))
		if err := c.beginIons(dosing.TankID(i)); err != nil {
			return nil, err
		}
	}
	for i := range c.tanks {
		c.tanks[i].loops.LeaveOut(settings.Without)
	}
	c.watch = safety.NewWatch(&settings.Safety, c.totals, curves, now)
	c.gate = safety.NewGate(c.watch)
	c.restore(restored, now)
	c.aim(now)
	return c, nil
}

// expectedCelsius is the temperature for which titration curves are drawn: a
// room's; pK shifts by less than 0.05 over the range in which doses are allowed.
const expectedCelsius = 21

// Step takes one event, which it does not keep. It is the only place where the state
// changes.
func (c *Core) Step(now dosing.Instant, event *Event) *Output {
	c.out.reset()
	switch event.Kind {
	case EventReading:
		c.read(now, event.Reading)
	case EventTick:
		c.tick(now)
	case EventHeartbeat:
		c.heartbeat(now, event.Heartbeat)
	case EventReport:
		c.report(now, event.Report)
	case EventDurable:
		c.durable(now, event.Receipt)
	case EventRecorded:
		c.recorded(now, *event.Change)
	case EventLedger:
		c.setLedger(now, event.Ledger)
	case EventWithdrawn:
		c.withdrawn(now, event.Order)
	case EventLink:
		c.link(now, event.Up)
	case EventRequest:
		c.request(now, event.Request)
	case EventRejected:
		c.watch.Rejected(now, event.Input, event.Text)
	case EventSettings:
		c.reconfigure(now, event.Settings)
	case EventOther:
		c.other, c.otherWords = event.Up, event.Text
		c.watch.OtherController(now, event.Up, event.Text)
		c.evaluate(now)
	case EventClock:
		c.watch.Jumped(now, event.Jump)
		c.change(ledger.Change{Kind: ledger.ChangeClock, At: now, Value: event.Jump.Seconds()})
	case EventEnding:
		c.recordLearned(now)
		for i := range c.tanks {
			if t := &c.tanks[i]; t.ions.account != nil {
				t.toppedUpIons() // else the water of the last minute would be nowhere
			}
		}
		c.recordIons(now)
	}
	return &c.out
}

func (o *Output) reset() {
	o.Append, o.Orders, o.Stops = o.Append[:0], o.Orders[:0], o.Stops[:0]
	o.Answers, o.Notices, o.Corrections = o.Answers[:0], o.Notices[:0], o.Corrections[:0]
	o.Supply, o.Lease, o.Changed = false, false, false
}

// read passes a reading to the watch and the loops of its tank. A switch that
// changed may stop a pump that is running now, so it is judged at once; the others
// wait for the tick.
func (c *Core) read(now dosing.Instant, r dosing.Reading) {
	if int(r.Input()) >= len(c.settings.Safety.Inputs) {
		return
	}
	quality := c.watch.Read(r)
	if t := c.settings.Safety.Inputs[r.Input()].Tank; t != dosing.AllTanks {
		c.tanks[t].loops.Read(r, quality)
		c.tanks[t].calibrating.follow(r)
	}
	if r.Quantity().Switch() && c.switches[r.Input()] != r.Value() {
		c.switches[r.Input()] = r.Value()
		c.evaluate(now)
	}
}

// tick is the heartbeat of the core: interlocks every second, a decision when its
// period is over, and the lease last, so that a hung decision stops the pumps.
func (c *Core) tick(now dosing.Instant) {
	if now.Up-c.ticked < tickEvery {
		return
	}
	c.ticked = now.Up
	c.aim(now)
	c.followSchedule(now)
	c.endPauses(now)
	c.writeNext(now)
	c.tellWaiting(now)
	c.evaluate(now)
	c.watchDose(now)
	c.followIons(now)
	c.learn(now)
	c.lookAtStocks(now)
	if now.Up-c.decided >= c.settings.ControlPeriod {
		c.decided = now.Up
		c.decide(now)
	}
	if now.Up-c.leased >= leaseEvery {
		c.leased = now.Up
		c.out.Lease = true
	}
	c.out.Changed = true
}

// aim moves the effective setpoints along their ramps and tells the gate.
func (c *Core) aim(now dosing.Instant) {
	for i := range c.tanks {
		t := &c.tanks[i]
		t.ph.advance(now)
		t.ec.advance(now)
		c.watch.Aim(dosing.TankID(i), t.target())
	}
}

func (t *tank) target() dosing.Target {
	return dosing.Target{PH: dosing.PH(t.ph.present), EC: dosing.Conductivity(t.ec.present)}
}

// lookEvery is how old the estimate may be by which alarms and forecasts go, and
// the learned scale that the gate is told: they change over minutes.
const lookEvery = 5 * time.Second

// look estimates the tank and forecasts when its bands are left.
func (t *tank) look(now dosing.Instant) {
	if age := now.Up - t.looked; t.looks && age >= 0 && age < lookEvery {
		return
	}
	t.looked, t.looks = now.Up, true
	t.estimate = t.loops.Estimate(now, t.target())
	t.follow(now, &t.estimate)
	t.warn, t.harm = t.leaves(now)
}

func (c *Core) setLedger(now dosing.Instant, state safety.LedgerState) {
	c.ledger = state
	c.out.Changed = true
	c.watch.SetLedger(now, state)
	if state == safety.LedgerFailed {
		// An I/O error lands every tank in observing: only a verified restart and a
		// person arm it again.
		for i := range c.tanks {
			if c.tanks[i].mode == safety.ModeArmed {
				c.disarm(now, dosing.TankID(i), "the ledger is "+state.String())
			}
		}
		c.giveUp()
	}
	c.tellWaiting(now)
	c.evaluate(now)
}

func (c *Core) link(now dosing.Instant, up bool) {
	c.linkUp = up
	c.watch.Link(now, up)
	c.evaluate(now)
	c.out.Changed = true
}

func (c *Core) change(change ledger.Change) { c.out.Append = append(c.out.Append, change) }
func (c *Core) notice(n Notice)             { c.out.Notices = append(c.out.Notices, n) }
func (c *Core) tankName(id dosing.TankID) string {
	if int(id) < len(c.tanks) {
		return c.tanks[id].plant.Name
	}
	return ""
}

func (c *Core) tankNamed(name string) (dosing.TankID, bool) {
	for i := range c.tanks {
		if c.tanks[i].plant.Name == name {
			return dosing.TankID(i), true
		}
	}
	return 0, false
}

func (c *Core) pumpNamed(name string) (dosing.PumpID, bool) {
	for i := range c.settings.Safety.Pumps {
		if c.settings.Safety.Pumps[i].Name == name {
			return dosing.PumpID(i), true
		}
	}
	return 0, false
}
