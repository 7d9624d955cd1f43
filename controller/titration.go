package controller

import (
	"fmt"
	"math"
	"time"

	"leat/dosing"
	"leat/dosing/calibration"
	"leat/dosing/loop"
	"leat/safety"
	"leat/safety/ledger"
)

// titrations lets a person measure how much acid or base a tank's water takes. While one runs, small
// doses of one reagent are all that the tank is given, each after the one before has settled; they go
// through gate and ledger like any other, and a hold holds them.
type titrations struct {
	*station
	wishes *wishes
}

// How far a titration may lead and how long it may take.
const (
	titrateMost    = 0.25          // pH that it may lead away from where it began
	titrateNear    = 0.02          // pH before that, where a dose would lead beyond it
	titratePatient = 4             // mixing times for which a dose may be withheld
	titrateLeast   = 3 * time.Hour // that it may take, floods and top-up included
)

// titration is one under way.
type titration struct {
	by, from string
	role     dosing.Role
	pump     dosing.PumpID
	aim      dosing.PH // that the gate is told of meanwhile
	began    time.Duration
	settled  time.Duration // when the last dose will have
	wanted   time.Duration // since when the next is withheld; 0 = it is not
	came     dosing.Litres // top-up that had ever come
	stirred  time.Duration // until then water that came in or home mixes; no reading says anything
	titrant  *calibration.Titrant
	spoilt   string // why it must end; empty = nothing
}

// measured is what the newest titration of a tank found, if any, and what it is worth.
type measured struct {
	ledger.Titration
	came dosing.Litres // top-up that had ever come
	left float64       // spread as it has aged; 0 = it says nothing any more
}

// ask begins a titration once that is recorded.
func (ts *titrations) ask(now dosing.Instant, r *Request) {
	t := &ts.tanks[r.Tank]
	mode, cause := ts.modeAndCause(r.Tank)
	switch {
	case t.titration != nil:
		ts.refuse(r, "a titration is under way: "+t.titrationWords(now)+"; a pause ends it")
	case mode == safety.ModeObserving || mode == safety.ModeStopped:
		ts.refuse(r, "the tank is "+mode.String()+" and gets no dose: arm it first; what it doses at first is as small as a titration's doses")
	case mode == safety.ModeHolding:
		ts.refuse(r, "held now: "+safety.Of(cause).Text+" Ask again when that has passed")
	default:
		begun, refusal := ts.plan(now, r)
		if refusal != "" {
			ts.refuse(r, refusal)
			return
		}
		ts.wishes.awaitMore(now, r, ledger.Change{Kind: ledger.ChangeTitration},
			fmt.Sprintf("small doses of %s, each when the one before has settled, at most six; pH goes to %.2f at the farthest, nothing else is dosed meanwhile, and it is over within %s",
				begun.role, float64(begun.aim), roughly(begun.longest(&t.plant))))
	}
}

// plan is a titration as it would begin now, or why it cannot.
func (ts *titrations) plan(now dosing.Instant, r *Request) (*titration, string) {
	t := &ts.tanks[r.Tank]
	e := t.loops.Estimate(now, t.target())
	if !e.PHKnown {
		return nil, "pH is not known now"
	}
	// Toward the setpoint; at it the way down, since acid is what most waters need.
	run := &titration{by: r.By, from: r.From, role: dosing.RoleAcid, began: now.Up, came: t.loops.ToppedUp(), titrant: calibration.NewTitrant(t.plant, t.curve)}
	pH, limits := float64(e.PH), t.ph.limits // settled: what is on its way goes on
	run.aim = dosing.PH(math.Max(pH-titrateMost, limits.Min))
	if pH < t.ph.present-dosing.StartBand.PH {
		run.role, run.aim = dosing.RoleBase, dosing.PH(math.Min(pH+titrateMost, limits.Max))
	}
	if math.Abs(pH-float64(run.aim)) < titrateMost/2 {
		return nil, fmt.Sprintf("pH %.2f is too near the bound %.2f of its setpoint to be moved on; change the setpoint first", pH, float64(run.aim))
	}
	for i := range ts.settings.Safety.Pumps {
		if p := &ts.settings.Safety.Pumps[i]; p.ServesTank(r.Tank) && p.Role == run.role && p.AcidPerML != 0 && p.MinDose > 0 {
			run.pump, run.settled = dosing.PumpID(i), ts.onWay(now, r.Tank, run.titrant)+t.plant.MixingTime()
			return run, ""
		}
	}
	return nil, "no pump gives this tank " + run.role.String()
}

// onWay tells a titration what is on its way from before, and returns when the last of it was given.
func (ts *titrations) onWay(now dosing.Instant, id dosing.TankID, titrant *calibration.Titrant) time.Duration {
	plant, last := &ts.tanks[id].plant, now.Up-ts.tanks[id].plant.MixingTime()
	ts.totals.EachInTransit(id, now.Up, plant.DeadTime, plant.TimeConstant, func(d *dosing.Dose, _ float64) {
		last = max(last, d.Up)
		titrant.Before(d.Up-now.Up, float64(d.Volume.Millilitres()*ts.settings.Safety.Pumps[d.Pump].AcidPerML)/float64(plant.Quick()))
	})
	return last
}

// longest is how long it may take.
func (run *titration) longest(plant *dosing.Tank) time.Duration {
	return max(3*(calibration.MostDoses+2)*plant.MixingTime(), titrateLeast)
}

// begin starts what was asked for, if it may still start.
func (ts *titrations) begin(now dosing.Instant, r *Request) (text string, ok bool) {
	run, refusal := ts.plan(now, r)
	if mode := ts.watch.Mode(r.Tank); refusal == "" && mode != safety.ModeArmed && mode != safety.ModeHolding {
		refusal = "the tank is not armed any more"
	}
	if refusal != "" {
		ts.change(ledger.Change{Kind: ledger.ChangeTitration, At: now, Tank: ts.tankName(r.Tank), Text: "ended: " + refusal, By: "leat"})
		return refusal, false
	}
	ts.tanks[r.Tank].titration = run
	return "", true
}

// read takes a reading of pH that may dose.
func (run *titration) read(r dosing.Reading) {
	switch {
	case r.Quantity() != dosing.QuantityPH || r.Retained():
	case r.At().Up < run.stirred:
		run.titrant.Break()
	default:
		run.titrant.Read(r.At().Up-run.began, r.Value())
	}
}

// gave takes a dose that is settled, by the middle of its run.
func (run *titration) gave(now dosing.Instant, t *tank, pump *dosing.Pump, plan dosing.Plan, outcome ledger.Outcome, volume dosing.Volume) {
	switch {
	case outcome == ledger.OutcomeWithdrawn:
		run.wanted = now.Up
	case plan.Pump != run.pump: // it was under way when the titration began
		run.settled = max(run.settled, now.Up+t.plant.MixingTime())
	case outcome != ledger.OutcomeConfirmed:
		run.spoilt = "how much of a dose went in is not known"
	default:
		middle := now.Up - volume.RunTime(pump.PerSecond)/2
		run.titrant.Give(middle-run.began, float64(volume.Millilitres()*pump.AcidPerML)/float64(t.plant.Quick()))
		run.settled, run.wanted = now.Up+t.plant.MixingTime(), 0
	}
}

// next is the dose that is due, if the limits leave room for it.
func (run *titration) next(now dosing.Instant, id dosing.TankID, t *tank, pumps []dosing.Pump, limits []dosing.Volume) (dosing.Plan, bool) {
	if now.Up < run.settled || run.spoilt != "" || run.enough(t) {
		return dosing.Plan{}, false
	}
	if run.wanted == 0 {
		run.wanted = now.Up
	}
	e := t.loops.Estimate(now, t.target())
	pump := &pumps[run.pump]
	if !e.PHKnown || limits[run.pump] < pump.MinDose {
		return dosing.Plan{}, false
	}
	amount := run.titrant.Next(float64(e.MeasuredPH)) * float64(t.plant.Quick()) / math.Abs(pump.AcidPerML)
	volume := min(max(dosing.FromMillilitres(amount), pump.MinDose), limits[run.pump])
	return dosing.Plan{Tank: id, Pump: run.pump, Volume: volume, Reason: dosing.ReasonTitration}, true
}

// enough says that no more doses are wanted, or that pH is where the last one may lead.
func (run *titration) enough(t *tank) bool {
	return run.titrant.Enough() || run.beyond(t) > -titrateNear
}

// beyond is how far pH is past where it may be led, below zero before it.
func (run *titration) beyond(t *tank) float64 {
	switch pH := float64(t.estimate.MeasuredPH); {
	case !t.estimate.PHKnown:
		return math.Inf(-1)
	case run.role == dosing.RoleBase:
		return pH - float64(run.aim)
	default:
		return float64(run.aim) - pH
	}
}

// follow ends what is complete, and what cannot be completed.
func (ts *titrations) follow(now dosing.Instant) {
	for i := range ts.tanks {
		t, id := &ts.tanks[i], dosing.TankID(i)
		if t.titration == nil {
			t.age(now)
			ts.watch.Measured(id, t.found.left)
			continue
		}
		t.titration.stir(now, t)
		if why := ts.spoilt(now, id); why != "" {
			ts.end(now, id, why)
		} else if run := t.titration; now.Up >= run.settled && ts.dose.state == doseNone && run.enough(t) {
			ts.conclude(now, id)
		}
	}
}

// stir waits while water comes in or home and mixes.
func (run *titration) stir(now dosing.Instant, t *tank) {
	if came := t.loops.ToppedUp(); t.estimate.Away || came != run.came {
		run.came, run.stirred, run.wanted = came, now.Up+t.plant.MixingTime(), 0
		run.settled = max(run.settled, run.stirred)
	}
}

// spoilt is why a titration cannot be completed.
func (ts *titrations) spoilt(now dosing.Instant, id dosing.TankID) string {
	t := &ts.tanks[id]
	run := t.titration
	mode, cause := ts.modeAndCause(id)
	switch {
	case run.spoilt != "":
		return run.spoilt
	case mode != safety.ModeArmed && mode != safety.ModeHolding:
		return "the tank is " + mode.String()
	case t.operator.Paused || t.operator.Maintenance || t.operator.Cleaning:
		return "a person paused the tank"
	case run.beyond(t) > dosing.StartBand.PH:
		return "pH went farther than it should"
	case run.wanted > 0 && now.Up-run.wanted > titratePatient*t.plant.MixingTime():
		return "the next dose was withheld for too long: " + safety.Of(cause).Text
	case now.Up-run.began > run.longest(&t.plant):
		return "it took too long"
	}
	return ""
}

// end gives a titration up. What it dosed stands.
func (ts *titrations) end(now dosing.Instant, id dosing.TankID, why string) {
	t := &ts.tanks[id]
	run := t.titration
	t.titration, t.titrated = nil, "ended without a result: "+why
	ts.change(ledger.Change{Kind: ledger.ChangeTitration, At: now, Tank: t.plant.Name, Text: "ended: " + why, By: run.by, From: run.from})
	ts.notice(Notice{Kind: NoticeChange, Tank: id, Text: "titration " + t.titrated})
	ts.out.Changed = true
}

// conclude writes the result down; it is used once that is durable.
func (ts *titrations) conclude(now dosing.Instant, id dosing.TankID) {
	t := &ts.tanks[id]
	run := t.titration
	found, err := run.titrant.Result()
	if err != nil {
		ts.end(now, id, err.Error())
		return
	}
	t.titration = nil
	at := t.ph.present
	capacity := t.curve.Buffer(at) * t.plant.BufferScale * math.Exp(found.LnScale)
	row := ledger.Change{Kind: ledger.ChangeTitration, Value: capacity, Old: at, Spread: found.Spread, Text: t.bufferWords(found, capacity, at)}
	ts.wishes.await(now, wish{request: Request{Kind: RequestTitrate, Tank: id, By: run.by, From: run.from}, told: true, inForce: true}, row)
	ts.notice(Notice{Kind: NoticeChange, Tank: id, Text: "titration: " + row.Text})
}

// written is told that a row of a titration is durable.
func (ts *titrations) written(now dosing.Instant, w *wish, row ledger.Change) bool {
	if row.Text == "" {
		text, ok := ts.begin(now, &w.request)
		if !ok {
			w.text = text
		}
		return ok
	}
	t := &ts.tanks[w.request.Tank]
	t.found = measured{}
	t.measure(now, ledger.Titration{Buffer: row.Value, PH: row.Old, Spread: row.Spread, Text: row.Text, At: row.At}, false)
	return true
}

// measure takes what a titration found, of this run or an earlier one. What answers have taught since stands
// where it is the newer.
func (t *tank) measure(now dosing.Instant, found ledger.Titration, newer bool) {
	commissioned := t.curve.Buffer(found.PH) * t.plant.BufferScale
	if !(found.Spread > 0) || !(commissioned > 0) {
		return
	}
	if t.found.At != found.At {
		t.found = measured{came: t.loops.ToppedUp()}
	}
	t.found.Titration, t.titrated = found, found.Text
	if !newer {
		loop.Titrated{Mean: math.Log(found.Buffer / commissioned), Spread: found.Spread}.Begin(t.loops)
	}
	t.age(now)
}

// age is how much what was measured is worth now.
func (t *tank) age(now dosing.Instant) {
	if t.found.Spread > 0 {
		if t.found.left = (loop.Titrated{Spread: t.found.Spread}).Age(t.loops, (now.Up - t.found.At.Up).Hours(), t.loops.ToppedUp()-t.found.came); t.found.left == 0 {
			t.found = measured{}
		}
	}
}

// bufferWords are a result for a person, beside what was stated.
func (t *tank) bufferWords(b calibration.Buffer, found, at float64) string {
	return fmt.Sprintf("buffer %.3g meq/L per pH at pH %.2f ± %.0f %%, where %.3g was stated; dead time %s, time constant %s, where %s and %s were; from %d doses that moved pH by %.2f",
		found, at, 100*b.Spread, t.curve.Buffer(at)*t.plant.BufferScale, b.DeadTime, b.TimeConstant, t.plant.DeadTime, t.plant.TimeConstant, b.Doses, b.Moved)
}

// titrationWords say how far a titration is, or what the last one found; "" = there was none.
func (t *tank) titrationWords(now dosing.Instant) string {
	run := t.titration
	switch {
	case run == nil && t.found.left > 0:
		return fmt.Sprintf("%s; now taken for ± %.0f %%", t.titrated, 100*t.found.left)
	case run == nil:
		return t.titrated
	case now.Up < run.settled:
		return fmt.Sprintf("under way: %d doses of %s given, the next in %s", run.titrant.Doses(), run.role, roughly(run.settled-now.Up))
	}
	return fmt.Sprintf("under way: %d doses of %s given", run.titrant.Doses(), run.role)
}

// roughly is a time as one says it.
func roughly(d time.Duration) string {
	if d < 2*time.Minute {
		return fmt.Sprintf("%.0f s", d.Seconds())
	}
	if d < 2*time.Hour {
		return fmt.Sprintf("%.0f min", d.Minutes())
	}
	return fmt.Sprintf("%.1f h", d.Hours())
}
