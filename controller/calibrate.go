package controller

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"leat/dosing"
	"leat/dosing/calibration"
	"leat/safety"
	"leat/safety/alarm"
	"leat/safety/ledger"
)

// calibrations leads people through the calibration of a probe, and keeps the newest.
type calibrations struct {
	*station
	wishes *wishes
	modes  *modes
	newest []ledger.Calibration // of each input; At zero = none
	work   []atWork             // by tank
}

// CalibrationStep is what a person does next in a calibration.
type CalibrationStep uint8

// The steps. A probe that its own transmitter calibrates takes one alone.
const (
	CalibrateNothing CalibrationStep = iota
	CalibrateBegin                   // nothing is dosed from now on
	CalibrateRead                    // the probe stands in Standard, which has Celsius
	CalibrateAccept                  // slope and offset are used from now on
	CalibrateCancel                  // all stays as it was
	CalibrateEntered                 // the transmitter was calibrated, and the standards read Found afterwards
	calibrationStepCount
)

var calibrationSteps = [calibrationStepCount]string{"", "begin", "read", "accept", "cancel", "entered"}

func (s CalibrationStep) String() string { return calibrationSteps[min(s, calibrationStepCount-1)] }

// CalibrationSteps are the names of the steps.
func CalibrationSteps() []string { return calibrationSteps[1:] }

// Calibrating is what a request for a calibration says beside its tank.
type Calibrating struct {
	Probe    string
	Step     string
	Standard string  // by its name, or label:VALUE
	Celsius  float64 // of the standard
	Found    string  // with entered: what it read in each standard
}

// atWork is a calibration under way.
type atWork struct {
	on     bool
	rows   rate // of its steps in the ledger
	input  dosing.InputID
	points []calibration.Point
	trail  calibration.Trail
	// touched is when its last step was asked; lapsed is the probe whose calibration was given
	// up because none came.
	touched time.Duration
	lapsed  string
}

// stepWithin is how long a calibration waits for its next step. What a standard read half an
// hour ago was another temperature's, and who began has most likely gone away; a person is
// called as for any work that is not ended.
const stepWithin = alarm.PersonFor

// lapse gives up what nobody goes on with. The tank stays withheld: where its probe stands now
// nobody knows, so only a person resumes.
func (cs *calibrations) lapse(now dosing.Instant) {
	for i := range cs.work {
		w := &cs.work[i]
		if !w.on || now.Up-w.touched < stepWithin {
			continue
		}
		id, probe := dosing.TankID(i), cs.settings.Safety.Inputs[w.input].Name
		cs.end(id)
		w.lapsed = probe
		text := fmt.Sprintf("the calibration of %s was given up: no step came for %.0f min; %s reads as before, and nothing is dosed until a person resumes", probe, stepWithin.Minutes(), probe)
		cs.change(ledger.Change{Kind: ledger.ChangeMark, At: now, Tank: cs.tankName(id), Note: text, By: "leat"})
		cs.notice(Notice{Kind: NoticeChange, Tank: id, Text: text})
	}
}

// InputCorrection is what readings of an input are corrected by from now on.
type InputCorrection struct {
	Input dosing.InputID
	dosing.Correction
}

// ask leads a person through the calibration of a probe. Each answer says what
// comes next.
func (cs *calibrations) ask(now dosing.Instant, r *Request) {
	input, why := cs.probeOf(r.Tank, r.Calibrating.Probe)
	if why != "" {
		cs.refuse(r, why)
		return
	}
	in := &cs.settings.Safety.Inputs[input]
	work := &cs.work[r.Tank]
	step := r.Calibrating.Step
	if needs := step == CalibrateRead.String() || step == CalibrateAccept.String() || step == CalibrateCancel.String(); needs && (!work.on || work.input != input) {
		cs.refuse(r, fmt.Sprintf("no calibration of %s is under way: begin one first", in.Name))
		return
	}
	if work.on && work.input == input {
		work.touched = now.Up
	}
	switch step {
	case CalibrateBegin.String():
		if cs.mayRecordStep(now, r) {
			cs.begin(now, r, input)
		}
	case CalibrateRead.String():
		p, err := work.read(now, in, &r.Calibrating)
		if err != nil {
			var notYet calibration.NotYet
			cs.refuse(r, err.Error())
			cs.out.Answers[len(cs.out.Answers)-1].Again = errors.As(err, &notYet)
			return
		}
		work.points, work.trail = append(work.points, p), calibration.Trail{}
		cs.accept(r, p.String()+": taken. "+cs.afterPoint(r.Tank))
	case CalibrateAccept.String():
		found, err := calibration.Fit(in.Quantity, work.points, cs.correction(input))
		if err == nil {
			err = cs.fitToUse(in.Quantity, found)
		}
		if err != nil {
			cs.refuse(r, err.Error())
			return
		}
		cs.record(now, r, in, found, false, work.points)
	case CalibrateCancel.String():
		*work = atWork{rows: work.rows}
		cs.accept(r, "the calibration is given up and "+in.Name+" reads as before; with the probe back in the tank: leat mode resume")
	case CalibrateEntered.String():
		cs.enter(now, r, in)
	default:
		cs.refuse(r, fmt.Sprintf("step %.20q: want one of %s", step, strings.Join(CalibrationSteps(), ", ")))
	}
}

// probeOf finds a probe of pH or EC by its name.
func (cs *calibrations) probeOf(tank dosing.TankID, name string) (dosing.InputID, string) {
	var names []string
	for i := range cs.settings.Safety.Inputs {
		in := &cs.settings.Safety.Inputs[i]
		if in.Tank != tank || in.NotFitted != "" || in.Quantity != dosing.QuantityPH && in.Quantity != dosing.QuantityEC {
			continue
		}
		if in.Name == name {
			return dosing.InputID(i), ""
		}
		names = append(names, in.Name)
	}
	return 0, fmt.Sprintf("%.40q is no probe that can be calibrated: choose one of %s", name, strings.Join(names, ", "))
}

// begin holds the tank's doses: what the probe reads from now on is not its
// water.
func (cs *calibrations) begin(now dosing.Instant, r *Request, input dosing.InputID) {
	in, t := &cs.settings.Safety.Inputs[input], &cs.tanks[r.Tank]
	var names []string
	for _, s := range calibration.Standards(in.Quantity) {
		names = append(names, s.Name)
	}
	cs.work[r.Tank] = atWork{on: true, input: input, rows: cs.work[r.Tank].rows, touched: now.Up}
	if r.Note == "" {
		r.Note = "calibrating " + in.Name
	}
	cs.wishes.lessen(now, r.Tank, "a person began to calibrate a probe", r.By, r.From)
	state := t.operator
	state.Maintenance = true
	cs.modes.setOperator(now, r.Tank, state)
	cs.wishes.awaitLess(now, r, ledger.Change{Kind: ledger.ChangePause, Text: RequestMaintenance.String()},
		"calibrating "+in.Name+": nothing is dosed until leat mode resume. Rinse the probe, put it into the first standard with the temperature probe beside it, and say which it is ("+
			strings.Join(names, ", ")+", or label:VALUE) and how warm")
}

// read takes what the probe reads in a standard, when it has come to rest.
func (w *atWork) read(now dosing.Instant, in *safety.Input, ask *Calibrating) (calibration.Point, error) {
	const most = 5
	s, err := calibration.Find(in.Quantity, ask.Standard)
	if err != nil {
		return calibration.Point{}, err
	}
	if len(w.points) == most {
		return calibration.Point{}, fmt.Errorf("%d standards are enough: accept, or cancel and begin again", most)
	}
	sent, err := w.trail.Steady(in.Quantity, now.Up)
	if err != nil {
		return calibration.Point{}, err
	}
	return calibration.Read(s, in.Compensation, ask.Celsius, sent)
}

// afterPoint says what the points come to so far and what comes next.
func (cs *calibrations) afterPoint(id dosing.TankID) string {
	work := &cs.work[id]
	in := &cs.settings.Safety.Inputs[work.input]
	found, err := calibration.Fit(in.Quantity, work.points, cs.correction(work.input))
	switch {
	case err != nil:
		return err.Error()
	case in.Quantity == dosing.QuantityPH && len(work.points) == 1:
		return "Rinse the probe and put it into a second buffer, about 3 pH apart; accepted now, only its offset changes: " + calibration.Words(in.Quantity, found)
	}
	if err := cs.fitToUse(in.Quantity, found); err != nil {
		return err.Error()
	}
	return "Accept, or read another: " + calibration.Words(in.Quantity, found)
}

// fitToUse says why a probe with this error must not be used.
func (cs *calibrations) fitToUse(q dosing.Quantity, found dosing.Correction) error {
	if calibratedHealth(q, found).MayDose() {
		return nil
	}
	if q == dosing.QuantityPH {
		return fmt.Errorf("%s is beyond 90 to 105 %% and 30 mV: clean the probe, take fresh buffers and begin again, or replace it; nothing was changed", calibration.Words(q, found))
	}
	return fmt.Errorf("%s is beyond 0.75 to 1.33: clean the cell, take a fresh standard and begin again, or replace it; nothing was changed", calibration.Words(q, found))
}

// calibratedHealth judges a probe by its error.
func calibratedHealth(q dosing.Quantity, found dosing.Correction) dosing.Quality {
	if q == dosing.QuantityPH {
		return safety.ProbeHealth(100*found.Slope, calibration.OffsetMV(found))
	}
	return safety.CellHealth(found.Slope)
}

// entersOff is by how much the standards may read off after a transmitter was calibrated.
const entersOff = 0.05 // pH, or share of EC

// enter notes that a transmitter was calibrated by its own means.
func (cs *calibrations) enter(now dosing.Instant, r *Request, in *safety.Input) {
	points, err := calibration.ReadList(in.Quantity, in.Compensation, r.Calibrating.Celsius, r.Calibrating.Found)
	if err != nil {
		cs.refuse(r, err.Error())
		return
	}
	for _, p := range points {
		off := p.Sent - p.Faithful
		if in.Quantity == dosing.QuantityEC {
			off /= p.Faithful
		}
		if off > entersOff || off < -entersOff {
			cs.refuse(r, fmt.Sprintf("%s, where a probe that was just calibrated reads %.2f: calibrate the transmitter again, or let leat correct it with leat calibrate", p, p.Faithful))
			return
		}
	}
	found, err := calibration.Fit(in.Quantity, points, dosing.Correction{})
	if err == nil {
		err = cs.fitToUse(in.Quantity, found)
	}
	if err != nil {
		cs.refuse(r, err.Error())
		return
	}
	cs.record(now, r, in, found, true, points)
}

// mayRecordStep lets few steps a minute through to the ledger: a topic may be flooded.
func (cs *calibrations) mayRecordStep(now dosing.Instant, r *Request) bool {
	rows := &cs.work[r.Tank].rows
	if !rows.free(now.Up) {
		cs.refuse(r, "three steps were written within a minute: wait, and ask again")
		return false
	}
	rows.take(now.Up)
	return true
}

func (cs *calibrations) record(now dosing.Instant, r *Request, in *safety.Input, found dosing.Correction, itself bool, points []calibration.Point) {
	if !cs.mayRecordStep(now, r) {
		return
	}
	var parts []string
	for _, p := range points {
		parts = append(parts, p.String())
	}
	words := calibration.Words(in.Quantity, found)
	text := fmt.Sprintf("%s: %s. With the probe back in the tank's water: leat mode resume", in.Name, words)
	if itself {
		text = fmt.Sprintf("%s was calibrated by its transmitter and reads %s; leat corrects nothing of it", in.Name, words)
	}
	cs.wishes.awaitMore(now, r, ledger.Change{Kind: ledger.ChangeCalibration, Quantity: in.Quantity, Value: found.Slope, Old: found.Offset,
		Text: ledger.CalibrationText(in.Name, itself, strings.Join(parts, "; ")+": "+words)}, text)
}

// calibrated takes a calibration whose row is durable into use. What was learned with the
// probe as it was says nothing any more.
func (cs *calibrations) calibrated(now dosing.Instant, id dosing.TankID, row ledger.Change) {
	probe, how := ledger.ReadCalibration(row.Text)
	input, why := cs.probeOf(id, probe)
	if why != "" {
		return
	}
	t := &cs.tanks[id]
	if cs.work[id].input == input {
		cs.end(id)
	}
	cs.newest[input] = ledger.Calibration{Correction: dosing.Correction{Slope: row.Value, Offset: row.Old}, Quantity: row.Quantity,
		Itself: how == ledger.CalibratedItself, At: row.At.Wall, By: row.By}
	cs.use(input)
	t.unlearn()
	cs.watch.Serviced(now, id)
	cs.change(ledger.Change{Kind: ledger.ChangeServiced, At: now, Tank: t.plant.Name, Text: probe + " was calibrated", By: row.By, From: row.From})
}

// end gives up what is under way in a tank. How many steps were written stands.
func (cs *calibrations) end(id dosing.TankID) { cs.work[id] = atWork{rows: cs.work[id].rows} }

// use tells what makes readings, and what judges them, of an input's newest
// calibration.
func (cs *calibrations) use(input dosing.InputID) {
	last := cs.newest[input]
	if last.At.IsZero() {
		return
	}
	cs.out.Corrections = append(cs.out.Corrections, InputCorrection{input, cs.correction(input)})
	cs.watch.Calibrated(input, calibratedHealth(last.Quantity, last.Correction))
}

// correction is what is taken out of the readings of an input.
func (cs *calibrations) correction(input dosing.InputID) dosing.Correction {
	if last := cs.newest[input]; !last.Itself {
		return last.Correction
	}
	return dosing.Correction{}
}

// restore brings back what the ledger says of each probe.
func (cs *calibrations) restore(all map[string]ledger.Calibration) {
	for i := range cs.settings.Safety.Inputs {
		in := &cs.settings.Safety.Inputs[i]
		if last, ok := all[cs.tankName(in.Tank)+"/"+in.Name]; ok && in.NotFitted == "" && last.Quantity == in.Quantity {
			cs.newest[i] = last
		}
	}
}

// useAll is for whoever starts to make readings.
func (cs *calibrations) useAll() {
	for i := range cs.newest {
		cs.use(dosing.InputID(i))
	}
}

// view is an input's newest calibration; nil where none was entered.
func (cs *calibrations) view(input dosing.InputID) *CalibrationView {
	last := cs.newest[input]
	if last.At.IsZero() {
		return nil
	}
	v := &CalibrationView{At: last.At, By: last.By, Words: calibration.Words(last.Quantity, last.Correction), Itself: last.Itself}
	if every := cs.settings.Safety.Inputs[input].CalibrateEvery; every > 0 {
		v.Due = last.At.Add(every)
	}
	return v
}

// follow remembers what a probe sends while it is calibrated.
func (w *atWork) follow(r dosing.Reading) {
	if w.on && w.input == r.Input() && !r.Retained() {
		w.trail.Add(r.At().Up, r.Sent())
	}
}

// CalibrationView is the newest calibration of a probe.
type CalibrationView struct {
	At     time.Time
	By     string
	Words  string // slope and offset
	Itself bool   // by its own transmitter
	Due    time.Time
}
