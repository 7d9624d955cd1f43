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
// through Step and keeps no clock of its own. It passes each event to the parts that it
// concerns; each part keeps its own state and knows those written before it only.
type Core struct {
	*station
	wishes       wishes
	waits        waits
	accounts     accounts
	setpoints    setpoints
	stocks       stocks
	interlocks   interlocks
	modes        modes
	calibrations calibrations
	epochs       epochs
	hands        hands
	titrations   titrations
	zones        zones
	fills        fills
	doses        doses
	decisions    decisions
	learning     learning
	lines        lines
	snapshot     snapshot

	ticked, decided, leased time.Duration
}

// New makes the core from valid settings and what the ledger replayed. Nothing is
// dosed before Begin's changes are durable and the start-up wait is over.
func New(settings *Settings, restored ledger.State, now dosing.Instant) (*Core, error) {
	if len(settings.Tanks) == 0 || len(settings.Tanks) != len(settings.Safety.Tanks) {
		return nil, errors.New("a station needs at least one tank, described for control and for safety alike")
	}
	c := assemble(settings, restored, now)
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
	for i := range c.tanks {
		if err := c.accounts.begin(dosing.TankID(i)); err != nil {
			return nil, err
		}
	}
	for i := range c.tanks {
		c.tanks[i].loops.LeaveOut(settings.Without)
	}
	c.watch = safety.NewWatch(&settings.Safety, c.totals, curves, now)
	c.gate = safety.NewGate(c.watch)
	c.restore(restored, now)
	c.setpoints.aim(now)
	return c, nil
}

// assemble makes the parts and tells each which others it needs.
func assemble(settings *Settings, restored ledger.State, now dosing.Instant) *Core {
	tanks, pumps, inputs := len(settings.Tanks), len(settings.Safety.Pumps), len(settings.Safety.Inputs)
	s := &station{settings: settings, totals: dosing.NewTotals(pumps, len(settings.Tanks)), switches: make([]float64, inputs)}
	for i := range s.switches {
		s.switches[i] = -1 // not seen yet
	}
	c := &Core{station: s}
	c.wishes = wishes{station: s, onWay: make([][wishCount]wish, tanks), next: make([][2]wish, tanks)}
	c.waits = waits{station: s, wanted: make([]bool, pumps), of: make([]tankWaits, tanks)}
	c.accounts = accounts{station: s, wishes: &c.wishes, entered: make([]rate, tanks)}
	c.setpoints = setpoints{station: s, wishes: &c.wishes, of: make([]followed, tanks)}
	c.stocks = stocks{station: s, counts: make([]pumpCounts, pumps), lows: make([]string, tanks)}
	c.lines = newLines(s)
	c.interlocks = interlocks{station: s, wishes: &c.wishes, lines: &c.lines, waits: &c.waits, stocks: &c.stocks, alarms: alarm.New(tanks), known: make([]announced, tanks)}
	c.modes = modes{station: s, wishes: &c.wishes, interlocks: &c.interlocks, accounts: &c.accounts}
	c.calibrations = calibrations{station: s, wishes: &c.wishes, modes: &c.modes, newest: make([]ledger.Calibration, inputs), work: make([]atWork, tanks)}
	c.epochs = newEpochs(s, &c.wishes, &c.interlocks, &c.modes, restored, now)
	c.zones = newZones(s, &c.setpoints, &c.epochs)
	c.hands = hands{station: s, epochs: &c.epochs, accounts: &c.accounts, offers: make([]handOffer, tanks)}
	c.titrations = titrations{station: s, wishes: &c.wishes}
	c.fills = fills{station: s, wishes: &c.wishes, stocks: &c.stocks, offers: make([]fillOffer, tanks)}
	c.doses = doses{station: s, waits: &c.waits, interlocks: &c.interlocks, accounts: &c.accounts, stocks: &c.stocks, epochs: &c.epochs, owed: make([][]dosing.Volume, tanks)}
	c.decisions = decisions{station: s, waits: &c.waits, doses: &c.doses, limits: make([]dosing.Volume, pumps), causes: make([]safety.Cause, pumps), would: make([]string, tanks)}
	for i := range settings.Tanks {
		c.decisions.turns = append(c.decisions.turns, dosing.TankID(i))
	}
	c.learning = learning{station: s, wishes: &c.wishes, accounts: &c.accounts, stocks: &c.stocks}
	c.snapshot = snapshot{station: s, stocks: &c.stocks, hands: &c.hands, calibrations: &c.calibrations, epochs: &c.epochs,
		interlocks: &c.interlocks, waits: &c.waits, decisions: &c.decisions, setpoints: &c.setpoints, lines: &c.lines}
	return c
}

// CommissionedBuffer is the buffer capacity of a tank at a pH before anything is learned,
// meq/L per pH; 0 where it cannot be computed.
func CommissionedBuffer(plant dosing.Tank, pH float64) float64 {
	curve, err := curveOf(plant)
	if err != nil {
		return 0
	}
	return curve.Buffer(pH) * plant.BufferScale
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
	case EventZone:
		c.zones.take(now, event.Zone)
	case EventReport:
		c.doses.report(now, event.Report)
	case EventDurable:
		c.doses.durable(now, event.Receipt)
	case EventRecorded:
		c.recorded(now, *event.Change)
	case EventLedger:
		c.setLedger(now, event.Ledger)
	case EventWithdrawn:
		c.doses.withdrawn(now, event.Order)
	case EventLink:
		c.link(now, event.Up)
	case EventRequest:
		c.request(now, event.Request)
	case EventRejected:
		c.watch.Rejected(now, event.Input, event.Text)
	case EventSettings:
		c.reconfigure(now, event.Settings)
	case EventOther:
		c.modes.other, c.modes.otherWords = event.Up, event.Text
		c.watch.OtherController(now, event.Up, event.Text)
		c.interlocks.evaluate(now)
	case EventClock:
		c.watch.Jumped(now, event.Jump)
		c.zones.tellAnew()
		c.change(ledger.Change{Kind: ledger.ChangeClock, At: now, Value: event.Jump.Seconds()})
	case EventEnding:
		c.learning.record(now)
		for i := range c.tanks {
			if t := &c.tanks[i]; t.ions.account != nil {
				t.toppedUpIons() // else the water of the last minute would be nowhere
			}
		}
		c.accounts.record(now)
	}
	return &c.out
}

func (o *Output) reset() {
	o.Append, o.Orders, o.Stops = o.Append[:0], o.Orders[:0], o.Stops[:0]
	o.Schedules = o.Schedules[:0]
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
		c.calibrations.work[t].follow(r)
		if run := c.tanks[t].titration; run != nil && quality.MayDose() {
			run.read(r)
		}
	}
	if r.Quantity() == dosing.QuantityLight && quality.MayDose() {
		c.setpoints.light(now, c.settings.Safety.Inputs[r.Input()].Tank, r.Value() >= 0.5)
		return // no dose rests on it
	}
	if r.Quantity().Switch() && c.switches[r.Input()] != r.Value() {
		c.switches[r.Input()] = r.Value()
		c.interlocks.evaluate(now)
	}
}

// tick is the heartbeat of the core: interlocks every second, a decision when its
// period is over, and the lease last, so that a hung decision stops the pumps.
func (c *Core) tick(now dosing.Instant) {
	if now.Up-c.ticked < tickEvery {
		return
	}
	c.ticked = now.Up
	c.setpoints.aim(now)
	c.setpoints.followSchedule(now)
	c.modes.endPauses(now)
	c.calibrations.lapse(now)
	c.setpoints.writeNext(now)
	c.wishes.tellWaiting(now)
	c.zones.follow(now)
	if c.lines.follow(now) {
		c.zones.tell(now, c.lines.of)
	}
	c.interlocks.evaluate(now)
	c.doses.watchOpen(now)
	c.titrations.follow(now)
	c.accounts.followStages(now)
	c.fills.follow(now)
	c.accounts.follow(now)
	c.learning.learn(now)
	c.stocks.look(now)
	if now.Up-c.decided >= c.settings.ControlPeriod {
		c.decided = now.Up
		c.decisions.decide(now)
	}
	if now.Up-c.leased >= leaseEvery {
		c.leased = now.Up
		c.out.Lease = true
	}
	c.out.Changed = true
}

// aim moves the effective setpoints along their ramps and tells the gate.
func (sp *setpoints) aim(now dosing.Instant) {
	for i := range sp.tanks {
		t := &sp.tanks[i]
		t.ph.advance(now)
		t.ec.advance(now)
		sp.watch.Aim(dosing.TankID(i), t.target())
	}
}

func (t *tank) target() dosing.Target {
	if run := t.titration; run != nil {
		return dosing.Target{PH: run.aim, EC: dosing.Conductivity(t.ec.present)}
	}
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
				c.modes.disarm(now, dosing.TankID(i), "the ledger is "+state.String())
			}
		}
		c.wishes.giveUp()
	}
	c.wishes.tellWaiting(now)
	c.interlocks.evaluate(now)
}

func (c *Core) link(now dosing.Instant, up bool) {
	c.linkUp = up
	c.watch.Link(now, up)
	c.interlocks.evaluate(now)
	c.out.Changed = true
}
