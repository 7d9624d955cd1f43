package controller

import (
	"cmp"
	"fmt"
	"time"

	"leat/dosing"
	"leat/dosing/chem"
	"leat/dosing/loop"
	"leat/safety"
	"leat/safety/ledger"
)

// CrashLoop is how many earlier starts in ten minutes land every tank in observing.
const CrashLoop = 3

// recordRecent is the time over which ledger.State.Recent sums.
const recordRecent = 72 * time.Hour

// restore brings back what the ledger remembers. Names that the configuration no
// longer has are passed over: their caps went with them.
func (c *Core) restore(s ledger.State, now dosing.Instant) {
	c.restoreDoses(s, now)
	for _, latch := range s.Latches {
		if id, ok := c.tankNamed(latch.Tank); ok {
			// A cause that this version does not know stops the tank all the same.
			cause, _ := safety.ParseCause(latch.Cause)
			if pump, known := c.pumpNamed(latch.Pump); known {
				c.watch.RestorePumpLatch(id, pump, cause, latch.At)
			} else {
				c.watch.RestoreLatch(id, cause, latch.At)
			}
		}
	}
	for i := range c.tanks {
		c.restoreTank(s, dosing.TankID(i), now)
	}
	if s.Restored {
		c.epochs.restored, c.epochs.missing = true, missingSince(s.Before, now.Wall)
	}
	c.calibrations.restore(s.Calibrations)
	c.stocks.restoreDrawn(s.Hourly)
	for i := range c.tanks {
		t := &c.tanks[i]
		for key, at := range s.Holidays[t.plant.Name] {
			c.setpoints.holidayEnded(dosing.TankID(i), key, at)
		}
		if !t.settings.Schedule.Empty() {
			v := c.setpoints.scheduled(now, dosing.TankID(i))
			t.ph.home, t.ec.home = v.PH, v.EC
		}
	}
	for _, asked := range s.Setpoints {
		if id, ok := c.tankNamed(asked.Tank); ok {
			c.tanks[id].restoreSetpoint(asked, now)
		}
	}
}

// restoreDoses counts what earlier runs dosed. What was settled is in transit from
// its settlement on; what was open counts in full from now on.
func (c *Core) restoreDoses(s ledger.State, now dosing.Instant) {
	for _, d := range s.Doses {
		if pump, known := c.pumpNamed(d.Pump); d.Spent && known {
			c.totals.Spend(pump, d.Volume, d.Up)
			continue
		}
		id, okTank := c.tankNamed(d.Tank)
		pump, okPump := c.pumpNamed(d.Pump)
		if !okTank || !okPump {
			continue
		}
		up := d.SettledUp
		if d.Outcome == ledger.OutcomeOpen && !d.ByHand {
			up = now.Up
		}
		if d.ByHand {
			c.hands.restore(&d, id, pump)
		} else {
			c.totals.Count(dosing.Dose{Key: d.Order.Key(), Tank: id, Pump: pump, Volume: d.Volume, Up: up})
			c.doses.keepWord(c.doses.replayed(d, id, pump))
		}
	}
	for i := range c.settings.Safety.Pumps {
		pump := dosing.PumpID(i)
		name := c.settings.Safety.Pumps[i].Name
		c.watch.Used(pump, min(s.Covers, recordRecent), s.Recent[name])
		c.stocks.counts[i].before = s.Ever[name] - c.totals.Ever(pump)
		c.stocks.counts[i].refill, c.stocks.counts[i].rate, c.stocks.counts[i].tube = s.Refills[name], s.Rates[name], s.Tubes[name]
		c.stocks.counts[i].doses, c.stocks.counts[i].volume = s.Outcomes[name].Doses, s.Outcomes[name].Volume
		// What was open is settled by Begin.
		c.stocks.counts[i].doses[ledger.OutcomeOpen], c.stocks.counts[i].volume[ledger.OutcomeOpen] = 0, 0
	}
	for _, open := range s.Open {
		id, okTank := c.tankNamed(open.Tank)
		pump, okPump := c.pumpNamed(open.Pump)
		if okTank && okPump {
			c.doses.abandoned = append(c.doses.abandoned, open.Intent(id, pump))
		}
	}
}

// replayed is a dose of an earlier run as later words on it are compared with it. By
// whose word it was settled is not known any more.
func (ds *doses) replayed(d ledger.ReplayedDose, id dosing.TankID, pump dosing.PumpID) spoken {
	recalled := ledger.OpenIntent{Order: d.Order, Tank: d.Tank, Pump: d.Pump, Volume: d.Ordered, At: dosing.Instant{Up: d.Up},
		Basis: ledger.Basis{TankName: d.Tank, PumpName: d.Pump}}
	outcome := d.Outcome
	if outcome == ledger.OutcomeOpen {
		outcome = ledger.OutcomeUncertain // by the first step of this run
	}
	return spoken{intent: recalled.Intent(id, pump), run: d.Ordered.RunTime(ds.settings.Safety.Pumps[pump].PerSecond), counted: d.Volume, outcome: outcome}
}

func (c *Core) restoreTank(s ledger.State, id dosing.TankID, now dosing.Instant) {
	t := &c.tanks[id]
	name := t.plant.Name
	learned := func(q dosing.Quantity) loop.Learned {
		l := s.Learned[ledger.Of{Tank: name, Quantity: q}]
		return loop.Learned{Scale: l.Scale, Drift: l.Drift, Ago: now.Up - l.At.Up}
	}
	owed := make([]dosing.Volume, len(c.settings.Safety.Pumps))
	for pumpName, volume := range s.Owed[name] {
		if pump, ok := c.pumpNamed(pumpName); ok {
			owed[pump] = volume
		}
	}
	t.loops.Restore(owed, learned(dosing.QuantityPH), learned(dosing.QuantityEC))
	t.measure(now, s.Titrations[name], s.Learned[ledger.Of{Tank: name, Quantity: dosing.QuantityPH}].At.Up > s.Titrations[name].At.Up)
	c.watch.RestoreLevel(now, id, s.Levels[name])
	unseen := map[dosing.PumpID]dosing.Volume{}
	for pumpName, volume := range s.Unseen[name].Since {
		if pump, ok := c.pumpNamed(pumpName); ok {
			unseen[pump] = volume
		}
	}
	c.watch.RestoreUnseen(now, id, s.Unseen[name].Unseen, unseen)
	c.doses.owed[id] = append([]dosing.Volume(nil), owed...)
	c.accounts.restore(s, id, now)
	if remark, ok := s.Unconfirmed[name]; ok {
		t.operator.Unconfirmed, t.operator.Why = true, cmp.Or(remark.Note, remark.Text)
	}
	for _, remark := range s.Pauses[name] {
		switch remark.Text {
		case RequestPause.String():
			if remark.Until.IsZero() || remark.Until.After(now.Wall) {
				t.operator.Paused = true
			}
			if t.operator.Paused && !remark.Until.IsZero() {
				t.pauseEnd = now.Up + remark.Until.Sub(now.Wall)
			}
		case RequestMaintenance.String():
			t.operator.Maintenance = true
		case ledger.PauseECDoubted:
			t.operator.ECDoubted = true
		case RequestCleaning.String():
			t.operator.Cleaning, t.operator.Unconfirmed = true, true
		}
	}
	c.watch.SetState(now, id, t.operator)
	t.mode, t.disarmed = s.Modes[name], s.Disarmed[name].Text
	if t.mode == safety.ModeArmed && (!c.settings.ReArm || s.Starts >= CrashLoop) {
		t.mode, t.disarmedNow, t.disarmed = safety.ModeObserving, true, "the program was restarted"
		if s.Starts >= CrashLoop {
			t.disarmed = fmt.Sprintf("the program started %d times in ten minutes", s.Starts+1)
		}
	}
	c.watch.SetMode(now, id, t.mode)
	c.fills.restore(now, id, &s)
}

// restoreSetpoint brings back an accepted ask, unless the file has meanwhile
// changed its value or narrowed the bounds. The ramp goes on where it would have
// been: neither the ask nor its end may step because the daemon was away.
func (t *tank) restoreSetpoint(asked ledger.Setpoint, now dosing.Instant) {
	s := t.setpointOf(asked.Quantity)
	if !s.holds(asked.Value, asked.FileValue) || asked.At.Up > now.Up {
		return
	}
	s.accept(asked.Value, asked.From, asked.By, asked.At.Wall, asked.Until)
	s.present, s.moved = asked.Value, asked.At.Up
	if s.within(asked.Old) {
		s.present = asked.Old
	}
	end := now.Up
	if over := now.Wall.Sub(asked.Until); !asked.Until.IsZero() && over > 0 {
		end = max(now.Up-over, s.moved)
	}
	s.advance(dosing.Instant{Wall: asked.At.Wall, Up: end})
	s.advance(now)
}

// Begin is the first step: it records the start, settles what an earlier run left
// open, and tells all pumps to stop. Synchronised says that the system clock is
// known to be right.
func (c *Core) Begin(now dosing.Instant, synchronised bool) *Output {
	c.out.reset()
	c.change(ledger.Start(c.epochs.epoch, c.settings.Version, now, synchronised))
	for _, intent := range c.doses.abandoned {
		c.out.Append = append(c.out.Append, ledger.Settle(intent, ledger.OutcomeUncertain, 0, now, "the daemon ended during the dose; counted in full"))
		plan := intent.Plan()
		c.stocks.counts[plan.Pump].doses[ledger.OutcomeUncertain]++
		c.stocks.counts[plan.Pump].volume[ledger.OutcomeUncertain] += plan.Volume
		c.notice(Notice{Kind: NoticeDose, Tank: plan.Tank, Order: intent.Order(), Pump: plan.Pump, Volume: plan.Volume,
			Outcome: ledger.OutcomeUncertain, Text: "left open by an earlier run"})
	}
	c.doses.abandoned = nil
	c.calibrations.useAll()
	if c.epochs.restored {
		c.epochs.spend(now, c.epochs.missing)
		c.epochs.spent = true
	}
	for i := range c.tanks {
		if c.tanks[i].disarmedNow {
			c.recordDisarmed(now, dosing.TankID(i))
		}
		if why := c.tanks[i].fillEnded; why != "" {
			c.tanks[i].fillEnded = ""
			c.fills.recordEnd(now, dosing.TankID(i), "ended before it was done: "+why)
		}
	}
	c.out.Stops = append(c.out.Stops, StopOrder{Tank: dosing.AllTanks, All: true})
	c.out.Changed = true
	return &c.out
}

// Epoch is the number of this run.
func (c *Core) Epoch() uint32 { return c.epochs.epoch }

// reconfigure takes a new configuration of the same tanks, pumps, inputs and
// nodes. A dose that is under way ends under the version that it cites.
func (c *Core) reconfigure(now dosing.Instant, settings *Settings) {
	if settings == nil || len(settings.Tanks) != len(c.tanks) || len(settings.Safety.Tanks) != len(c.tanks) ||
		len(settings.Safety.Pumps) != len(c.settings.Safety.Pumps) || len(settings.Safety.Caps) != len(c.settings.Safety.Caps) ||
		len(settings.Safety.Inputs) != len(c.settings.Safety.Inputs) || len(settings.Safety.Nodes) != len(c.settings.Safety.Nodes) {
		c.notice(Notice{Kind: NoticeRefused, Tank: dosing.AllTanks, Text: "new configuration: tanks, pumps, inputs or nodes changed; restart to take it"})
		return
	}
	curves := make([]dosing.Titration, len(c.tanks))
	for i := range settings.Safety.Tanks {
		curve, err := curveOf(settings.Safety.Tanks[i].Tank)
		if err != nil {
			c.notice(Notice{Kind: NoticeRefused, Tank: dosing.AllTanks, Text: "new configuration: " + err.Error()})
			return
		}
		curves[i] = curve
	}
	*c.settings = *settings
	c.watch.Reconfigure(now, &c.settings.Safety, curves)
	for i := range c.tanks {
		t := &c.tanks[i]
		commissioned := t.curve.Buffer(t.found.PH) * t.plant.BufferScale
		t.settings, t.plant, t.curve = settings.Tanks[i], settings.Safety.Tanks[i].Tank, curves[i]
		t.loops.Reconfigure(t.plant, settings.Safety.Pumps, t.curve)
		t.measure(now, t.found.Titration, commissioned == t.curve.Buffer(t.found.PH)*t.plant.BufferScale)
		c.accounts.reconfigure(now, dosing.TankID(i))
		c.setpoints.relimit(now, dosing.TankID(i), dosing.QuantityPH, t.settings.PH)
		c.setpoints.relimit(now, dosing.TankID(i), dosing.QuantityEC, t.settings.EC)
	}
	c.lines.begin()
	c.zones.begin()
	c.calibrations.useAll()
	c.retryRefused(now)
	c.change(ledger.Change{Kind: ledger.ChangeSettings, At: now, Text: settings.Version, By: "leat"})
	c.notice(Notice{Kind: NoticeChange, Tank: dosing.AllTanks, Text: "configuration " + settings.Version + " is in force"})
	c.setpoints.aim(now)
	c.interlocks.evaluate(now)
	c.out.Changed = true
}

// retryRefused lets pumps be ordered again whose node refused the orders of the
// former configuration.
func (c *Core) retryRefused(now dosing.Instant) {
	for p := range c.settings.Safety.Pumps {
		if !c.watch.Accepted(dosing.PumpID(p)) {
			continue
		}
		for i := range c.tanks {
			if pump := &c.settings.Safety.Pumps[p]; pump.ServesTank(dosing.TankID(i)) {
				c.change(ledger.Change{Kind: ledger.ChangeClear, At: now, Tank: c.tanks[i].plant.Name, Pump: pump.Name,
					Text: safety.CauseNodeRefuses.String(), By: "leat", Note: "another configuration is in force"})
			}
		}
	}
}

// curveOf draws the titration curve of a tank's expected solution.
func curveOf(plant dosing.Tank) (dosing.Titration, error) {
	curve, err := chem.NewCurve(plant.Expected(), expectedCelsius)
	if err != nil {
		return nil, fmt.Errorf("tank %q: titration curve of the expected solution: %w; check phosphate, carbonate and ammonium", plant.Name, err)
	}
	return curve, nil
}

// relimit takes new bounds of a setpoint. A new value in the file ends an accepted ask,
// and so do bounds that no longer hold it; the record says so, or the ask would come
// back with the file's former value.
func (sp *setpoints) relimit(now dosing.Instant, id dosing.TankID, q dosing.Quantity, limits SetpointSettings) {
	s := sp.tanks[id].setpointOf(q)
	held := s.limits.Value
	s.limits, s.offer, s.home = limits, "", limits.Value
	ends := !s.holds(s.target, held)
	s.present = min(max(s.present, limits.Min), limits.Max)
	if ends {
		s.accept(limits.Value, "file", "", now.Wall, time.Time{})
		sp.record(now, id, q)
	}
}
