package controller

import (
	"slices"
	"time"

	"leat/dosing"
	"leat/dosing/loop"
	"leat/safety"
	"leat/safety/alarm"
	"leat/safety/ledger"
)

// station is what every part of the core sees: the settings, the tanks, what is in the
// water, and what the step under way puts out.
type station struct {
	settings *Settings
	watch    *safety.Watch
	gate     *safety.Gate
	totals   *dosing.Totals
	tanks    []tank
	dose     openDose
	switches []float64 // the last value of each input that is a switch
	linkUp   bool
	ledger   safety.LedgerState
	out      Output
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
	estimate    loop.Estimate // at most lookEvery old
	looked      time.Duration
	looks       bool
	warn        time.Duration // until pH or EC leaves its bands, as then forecast
	harm        time.Duration
	seenPH      lastSeen
	seenEC      lastSeen
	curve       dosing.Titration
	blendEC     float64 // what 1 mL of the blend does in 1 L, mS/cm
	ions        ions
	titration   *titration // under way; nil = none is
	titrated    string     // what came of the last one
	found       measured   // by it
	diluting    bool       // water is let in since EC is high
	fillUp      *fillUp    // under way; nil = none is
	filledUp    string     // what came of the last one
	fillEnded   string     // why this start ended one, which it records
	disarmed    string     // why it was armed and now observes without a person's word; empty = it does not
	disarmedNow bool       // by this start, which records it
}

// unlearn forgets what answers and titrations told of other water, another tube or probe.
func (t *tank) unlearn() {
	t.loops.ResetLearning()
	t.found, t.titrated = measured{}, ""
	if t.titration != nil {
		t.titration.spoilt = "the water, a pump or a probe was changed meanwhile"
	}
}

func (s *station) change(change ledger.Change) { s.out.Append = append(s.out.Append, change) }
func (s *station) notice(n Notice)             { s.out.Notices = append(s.out.Notices, n) }

func (s *station) tankName(id dosing.TankID) string {
	if int(id) < len(s.tanks) {
		return s.tanks[id].plant.Name
	}
	return ""
}

func (s *station) tankNamed(name string) (dosing.TankID, bool) {
	for i := range s.tanks {
		if s.tanks[i].plant.Name == name {
			return dosing.TankID(i), true
		}
	}
	return 0, false
}

func (s *station) pumpNamed(name string) (dosing.PumpID, bool) {
	for i := range s.settings.Safety.Pumps {
		if s.settings.Safety.Pumps[i].Name == name {
			return dosing.PumpID(i), true
		}
	}
	return 0, false
}

func (s *station) recordDisarmed(now dosing.Instant, id dosing.TankID) {
	s.change(ledger.Change{Kind: ledger.ChangeDisarmed, At: now, Tank: s.tankName(id), Text: s.tanks[id].disarmed, By: "leat"})
}

func (s *station) recordLearnedOf(now dosing.Instant, id dosing.TankID) {
	t := &s.tanks[id]
	ph, ec := t.loops.Learned()
	note := func(kind ledger.ChangeKind, q dosing.Quantity, b dosing.Belief) {
		if b.Spread > 0 {
			s.change(ledger.Change{Kind: kind, At: now, Tank: t.plant.Name, Quantity: q, Value: b.Mean, Spread: b.Spread})
		}
	}
	note(ledger.ChangeLearned, dosing.QuantityPH, ph.Scale)
	note(ledger.ChangeLearned, dosing.QuantityEC, ec.Scale)
	note(ledger.ChangeDrift, dosing.QuantityPH, ph.Drift)
	note(ledger.ChangeDrift, dosing.QuantityEC, ec.Drift)
	if litres, ok := s.watch.Resting(now, id); ok {
		s.change(ledger.Change{Kind: ledger.ChangeLevel, At: now, Tank: t.plant.Name, Value: litres})
	}
}

// modeAndCause is the mode as a person sees it: an armed tank is holding while
// anything withholds its doses, and stopped while a latched trip stands. Of what
// withholds them the root is named, not what follows from it: just started, not
// the ten inputs that have not spoken yet.
func (s *station) modeAndCause(id dosing.TankID) (safety.Mode, safety.Cause) {
	mode, cause := s.watch.Mode(id), safety.CauseNone
	trips := s.watch.Trips(id)
	starting := slices.ContainsFunc(trips, func(t safety.Trip) bool { return t.Cause == safety.CauseStarting })
	for i := range trips {
		trip := &trips[i]
		if trip.Action <= safety.Stop && trip.Scope <= safety.ScopeTank {
			return safety.ModeStopped, trip.Cause
		}
		if trip.Action >= safety.Run || alarm.Explained(trip, trips) || trip.Cause == safety.CauseBrokerDisconnected && s.linkUp && starting {
			continue // with the link up it waits for its first readings, as the start does
		}
		if cause == safety.CauseNone {
			cause = trip.Cause
		}
		if mode == safety.ModeArmed && trip.Action == safety.Hold && trip.Scope != safety.ScopePump {
			mode, cause = safety.ModeHolding, trip.Cause
		}
	}
	return mode, cause
}

// recordTrip writes down a latched trip; row says when, where and why.
func (s *station) recordTrip(row ledger.Change, trip safety.Trip) {
	row.Kind, row.Text = ledger.ChangeTrip, trip.Cause.String()
	if trip.Cause == safety.CauseSolutionUnconfirmed {
		row.Kind = ledger.ChangeUnconfirmed
	}
	if trip.Scope == safety.ScopePump {
		row.Pump = s.settings.Safety.Pumps[trip.Pump].Name
	}
	s.change(row)
}

// unconfirmed says that only a person's word on the water lets the tank be dosed.
func (s *station) unconfirmed(id dosing.TankID) bool {
	if s.tanks[id].operator.Unconfirmed {
		return true
	}
	for _, trip := range s.watch.Trips(id) {
		if trip.Cause == safety.CauseSolutionUnconfirmed && trip.Latched {
			return true
		}
	}
	return false
}

func (s *station) refuse(r *Request, text string) {
	s.out.Answers = append(s.out.Answers, Answer{Request: r.ID, Kind: r.Kind, Tank: r.Tank, Quantity: r.Quantity, New: r.Value, Text: text, From: r.From, By: r.By})
	s.notice(Notice{Kind: NoticeRefused, Tank: r.Tank, Text: r.Kind.String() + ": " + text})
}

func (s *station) accept(r *Request, text string) {
	s.out.Answers = append(s.out.Answers, Answer{Request: r.ID, Kind: r.Kind, Tank: r.Tank, Quantity: r.Quantity, New: r.Value, Accepted: true, Text: text, From: r.From, By: r.By})
	s.notice(Notice{Kind: NoticeChange, Tank: r.Tank, Text: r.Kind.String() + ": " + text})
}
