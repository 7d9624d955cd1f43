package ledger

import (
	"maps"
	"slices"
	"time"

	"leat/dosing"
	"leat/safety"
)

// change follows an entry that is not a dose: what of it still holds at the end
// of the record is what the next run must know.
func (r *replayer) change(e Entry, at time.Duration) {
	moment := dosing.Instant{Wall: e.At.Wall, Up: at}
	remark := Remark{Text: e.Text, Note: e.Note, By: e.By, From: e.From, At: moment, Until: e.Until}
	r.ofStation(e, at, remark)
	r.steering(e, moment, remark)
	r.learning(e, moment, remark)
	r.tending(e, at, remark)
}

// ofStation follows what concerns every tank: runs, copies, configurations.
func (r *replayer) ofStation(e Entry, at time.Duration, remark Remark) {
	switch e.Change {
	case ChangeEpoch, ChangeRestored:
		r.Latches = slices.DeleteFunc(r.Latches, func(l Latch) bool { return l.Cause == safety.CauseLedgerBehindNode.String() })
		r.Answered = uint32(e.Value)
		if e.Change == ChangeRestored {
			r.Answered++
			r.Restored, r.Before = true, e.Until
			remark.Text = "an older copy of the ledger was put back"
		}
		for tank, mode := range r.Modes {
			if mode != safety.ModeArmed {
				continue
			}
			r.Modes[tank] = safety.ModeObserving
			if e.Change == ChangeRestored { // whoever raises the epoch is told so
				r.Disarmed[tank] = remark
			}
		}
	case ChangeStart:
		r.Restored = false
		r.Configuration = e.Text
		r.starts = append(r.starts, at)
		for len(r.starts) > 0 && at-r.starts[0] > crashLoopSpan {
			r.starts = r.starts[1:]
		}
	case ChangeSettings:
		r.Configuration = e.Text
	case ChangeSpent:
		r.keep(ReplayedDose{Pump: e.Pump, Volume: e.Volume, Up: at, SettledUp: at, Outcome: OutcomeConfirmed, Spent: true})
	}
}

// steering follows what lets a tank be dosed, and to what.
func (r *replayer) steering(e Entry, moment dosing.Instant, remark Remark) {
	switch e.Change {
	case ChangeMode:
		r.Modes[e.Tank] = modeOf(e.Text)
		delete(r.Disarmed, e.Tank)
	case ChangeDisarmed:
		r.Modes[e.Tank], r.Disarmed[e.Tank] = safety.ModeObserving, remark
	case ChangeTrip:
		r.latch(Latch{Tank: e.Tank, Pump: e.Pump, Cause: e.Text, At: moment})
	case ChangeClear:
		r.clear(e)
		if e.Pump == "" {
			// Cleared is not armed: that takes a person's word of its own.
			r.Modes[e.Tank] = safety.ModeObserving
			delete(r.Disarmed, e.Tank)
		}
	case ChangeUnconfirmed:
		r.Unconfirmed[e.Tank] = remark
		delete(r.Fillings, e.Tank)
	case ChangeConfirmed:
		delete(r.Unconfirmed, e.Tank)
		if e.Text != "" {
			r.Fillings[e.Tank] = remark
		}
		r.unlearn(e.Tank)
		r.endPauses(e.Tank, func(p Remark) bool { return p.Text == PauseCleaning })
	case ChangeFill:
		if delete(r.Fills, e.Tank); !e.Until.IsZero() {
			r.Fills[e.Tank] = remark
		}
	case ChangePause:
		r.pause(e.Tank, remark)
	case ChangeSetpoint:
		r.setpoint(Setpoint{Tank: e.Tank, Quantity: e.Quantity, Old: e.Old, Value: e.Value, FileValue: e.FileValue, Until: e.Until, By: e.By,
			From: e.From, At: moment})
	case ChangeHolidayEnd:
		if r.Holidays[e.Tank] == nil {
			r.Holidays[e.Tank] = map[string]time.Time{}
		}
		r.Holidays[e.Tank][e.Text] = e.At.Wall
	}
}

// learning follows what was learned and counted of a tank.
func (r *replayer) learning(e Entry, moment dosing.Instant, remark Remark) {
	switch e.Change {
	case ChangeLearned:
		of := Of{e.Tank, dosing.QuantityPH}
		if e.Quantity == dosing.QuantityEC {
			of.Quantity = e.Quantity
		}
		r.Learned[of] = Learned{Scale: dosing.Belief{Mean: e.Value, Spread: e.Spread}, Drift: r.Learned[of].Drift, At: moment}
	case ChangeDrift:
		of := Of{e.Tank, e.Quantity}
		r.Learned[of] = Learned{Scale: r.Learned[of].Scale, Drift: dosing.Belief{Mean: e.Value, Spread: e.Spread}, At: moment}
	case ChangeTitration:
		if e.Spread > 0 && e.Value > 0 {
			r.Titrations[e.Tank] = Titration{Buffer: e.Value, PH: e.Old, Spread: e.Spread, Text: e.Text, At: moment}
		}
	case ChangeLevel:
		r.Levels[e.Tank] = e.Value
	case ChangeUnseen:
		r.Unseen[e.Tank] = Unseen{Unseen: safety.Unseen{Acid: e.Value, Base: e.Old, Stock: e.Spread}}
	case ChangeServiced:
		r.unlearn(e.Tank)
	case ChangeOwed:
		r.owe(e)
	case ChangeAnalysis:
		r.Analyses[e.Tank] = Analysis{Text: e.Text, Ago: time.Duration(e.Value * float64(time.Second)), Trusted: e.Trusted, At: moment}
	case ChangeIons:
		r.ions(e.Tank, remark)
	}
}

// tending follows what people did at pumps, containers and probes.
func (r *replayer) tending(e Entry, at time.Duration, remark Remark) {
	switch e.Change {
	case ChangeHandDose:
		r.unseen(e.Tank, e.Pump, e.Volume)
		r.keep(ReplayedDose{Tank: e.Tank, Pump: e.Pump, Volume: e.Volume, Up: at, SettledUp: at, Outcome: OutcomeConfirmed,
			ByHand: true, Entry: remark})
	case ChangeHandVoid:
		for i := range r.doses {
			if d := &r.doses[i]; d.ByHand && e.Text != "" && d.Entry.Text == e.Text && d.Tank == e.Tank {
				d.Voided = true
			}
		}
	case ChangeRefill:
		r.Refills[e.Pump] = Refill{Volume: e.Volume, Ever: r.Ever[e.Pump], At: e.At.Wall, Batch: e.Text}
	case ChangePumpRate:
		r.Rates[e.Pump] = PumpRate{PerSecond: e.Value, At: e.At.Wall}
	case ChangeTube:
		r.Tubes[e.Pump] = Tube{Ever: r.Ever[e.Pump], At: e.At.Wall}
	case ChangeCalibration:
		probe, how := ReadCalibration(e.Text)
		r.Calibrations[e.Tank+"/"+probe] = Calibration{Correction: dosing.Correction{Slope: e.Value, Offset: e.Old}, Quantity: e.Quantity, Itself: how == CalibratedItself, At: e.At.Wall, By: e.By}
	}
}

// How far apart and how far back accounts of the ions are remembered, so that an
// analysis that comes days after its sample finds what was thought of that day.
const (
	ionsApart = 6 * time.Hour
	ionsBack  = 21 * 24 * time.Hour
)

// ions keeps the newest account of a tank and earlier ones some hours apart.
func (r *replayer) ions(tank string, remark Remark) {
	kept := r.Ions[tank]
	if n := len(kept); n > 1 && kept[n-1].At.Up-kept[n-2].At.Up < ionsApart {
		kept = kept[:n-1]
	}
	for len(kept) > 0 && remark.At.Up-kept[0].At.Up > ionsBack {
		kept = kept[1:]
	}
	r.Ions[tank] = append(kept, remark)
}

// unlearn forgets what was learned with the old tube, probe or filling, and how
// much there was of it; a service of the station concerns each of its tanks.
func (r *replayer) unlearn(tank string) {
	maps.DeleteFunc(r.Learned, func(of Of, _ Learned) bool { return tank == "" || of.Tank == tank })
	maps.DeleteFunc(r.Titrations, func(of string, _ Titration) bool { return tank == "" || of == tank })
	maps.DeleteFunc(r.Levels, func(of string, _ float64) bool { return tank == "" || of == tank })
}

// unseen adds what was dosed to what the tank's probes have not shown. Nothing but a row of
// the tank's own takes anything out, and no time.
func (r *replayer) unseen(tank, pump string, volume dosing.Volume) {
	u := r.Unseen[tank]
	if u.Since == nil {
		u.Since = map[string]dosing.Volume{}
	}
	u.Since[pump] += max(volume, 0)
	r.Unseen[tank] = u
}

// modeOf reads a recorded mode. One that is not known never doses.
func modeOf(text string) safety.Mode {
	for m := safety.ModeObserving; m < safety.ModeCount; m++ {
		if m.String() == text {
			return m
		}
	}
	return safety.ModeObserving
}

// latch keeps the oldest of equal trips: "since" must not move with each repeat.
func (r *replayer) latch(trip Latch) {
	for _, l := range r.Latches {
		if l.Tank == trip.Tank && l.Pump == trip.Pump && l.Cause == trip.Cause {
			return
		}
	}
	r.Latches = append(r.Latches, trip)
}

// clear drops the latches a person cleared: those of the tank, or of one pump if a
// pump is named, under whichever of its tanks they were recorded; or of one cause if
// Text names one. The station's own are cleared with an empty tank.
func (r *replayer) clear(e Entry) {
	kept := r.Latches[:0]
	for _, l := range r.Latches {
		behind := l.Cause == safety.CauseLedgerBehindNode.String() // ended by another epoch alone
		if behind || e.Pump == "" && l.Tank != e.Tank || e.Pump != "" && l.Pump != e.Pump || e.Text != "" && l.Cause != e.Text {
			kept = append(kept, l)
		}
	}
	r.Latches = kept
}

// pause keeps what began and is not over. An empty text ends all of the tank's
// but a cleaning; a repeat takes the place of its like.
func (r *replayer) pause(tank string, remark Remark) {
	if remark.Text == "" {
		r.endPauses(tank, func(p Remark) bool { return p.Text != PauseCleaning })
		return
	}
	for i, p := range r.Pauses[tank] {
		if p.Text == remark.Text {
			r.Pauses[tank][i] = remark
			return
		}
	}
	r.Pauses[tank] = append(r.Pauses[tank], remark)
}

func (r *replayer) endPauses(tank string, over func(Remark) bool) {
	r.Pauses[tank] = slices.DeleteFunc(r.Pauses[tank], over)
	if len(r.Pauses[tank]) == 0 {
		delete(r.Pauses, tank)
	}
}

func (r *replayer) setpoint(ask Setpoint) {
	for i, s := range r.Setpoints {
		if s.Tank == ask.Tank && s.Quantity == ask.Quantity {
			r.Setpoints[i] = ask
			return
		}
	}
	r.Setpoints = append(r.Setpoints, ask)
}

func (r *replayer) owe(e Entry) {
	if e.Volume == 0 {
		delete(r.Owed[e.Tank], e.Pump)
		if len(r.Owed[e.Tank]) == 0 {
			delete(r.Owed, e.Tank)
		}
		return
	}
	if r.Owed[e.Tank] == nil {
		r.Owed[e.Tank] = map[string]dosing.Volume{}
	}
	r.Owed[e.Tank][e.Pump] = e.Volume
}
