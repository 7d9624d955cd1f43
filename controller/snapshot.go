package controller

import (
	"fmt"
	"math"
	"time"

	"leat/dosing"
	"leat/dosing/loop"
	"leat/safety"
	"leat/safety/alarm"
	"leat/safety/ledger"
)

// snapshot looks at all that the core keeps, for people and metrics; it changes nothing.
type snapshot struct {
	*station
	stocks       *stocks
	hands        *hands
	calibrations *calibrations
	epochs       *epochs
	interlocks   *interlocks
	waits        *waits
	decisions    *decisions
	setpoints    *setpoints
	lines        *lines
}

// view is built new each time, so the rim may hand it to any goroutine.
func (sn *snapshot) view(now dosing.Instant) *View {
	v := &View{At: now, Station: sn.settings.Safety.Station, Epoch: sn.epochs.epoch, Configuration: sn.settings.Version, LinkUp: sn.linkUp, Ledger: sn.ledger}
	for i := range sn.tanks {
		v.Tanks = append(v.Tanks, sn.ofTank(now, dosing.TankID(i)))
	}
	for i := range sn.settings.Safety.Pumps {
		v.Pumps = append(v.Pumps, sn.pumpView(now, dosing.PumpID(i)))
		v.Pumps[i].Largest = sn.largest(now, dosing.PumpID(i))
	}
	for i := range sn.settings.Safety.Nodes {
		boot, _, age, seen := sn.watch.Node(now, safety.NodeID(i))
		v.Nodes = append(v.Nodes, NodeView{Name: sn.settings.Safety.Nodes[i].Name, Seen: seen, Age: age, Boot: boot})
	}
	v.Judge()
	return v
}

// ofTank is one tank of the View.
func (sn *snapshot) ofTank(now dosing.Instant, id dosing.TankID) TankView {
	t := &sn.tanks[id]
	target := t.target()
	estimate := t.loops.Estimate(now, target)
	v := TankView{Name: t.plant.Name, PH: t.ph.view(), EC: t.ec.view(), WouldDose: sn.decisions.would[id], Withheld: sn.waits.of[id].withheld}
	v.Settled = t.settledView(estimate)
	v.Unseen = sn.unseenViews(id)
	v.Wants, v.ToppedUp = t.lacks(&estimate), t.loops.ToppedUp()
	v.Ions = t.ions.view
	v.Titration, v.Titrating = t.titrationWords(now), t.titration != nil
	v.Fill, v.Filling = t.fillWords(now), t.fillUp != nil
	v.LeavesWarn, v.LeavesHarm = t.leaves(now)
	v.Leaving = t.leaving(now)
	if t.operator.Paused && t.pauseEnd > 0 {
		v.PauseEnds = now.Wall.Add(t.pauseEnd - now.Up)
	}
	v.Inputs = make([]InputView, 0, len(sn.settings.Safety.Inputs))
	for i := range sn.settings.Safety.Inputs {
		in := &sn.settings.Safety.Inputs[i]
		if in.Tank == id || in.Tank == dosing.AllTanks {
			v.Inputs = append(v.Inputs, sn.inputView(now, dosing.InputID(i), in))
		}
	}
	v.Holds = sn.holdViews(id)
	v.Alarms = sn.alarmViews(id, v.LeavesWarn, v.LeavesHarm)
	v.Line = sn.lines.of[id].Figures()
	v.Pours, v.Hands = sn.hands.pours(id), sn.hands.views(id)
	v.Stocks = sn.stocks.views(id)
	if !t.settings.Schedule.Empty() {
		s := sn.setpoints.scheduled(now, id)
		v.Schedule, v.Plan = s.Words(), &t.settings.Schedule
	}
	work := &sn.calibrations.work[id]
	if v.Lapsed = work.lapsed; work.on {
		v.Calibrating = sn.settings.Safety.Inputs[work.input].Name
		v.StepBy = now.Wall.Add(work.touched + stepWithin - now.Up)
	}
	v.Mode, v.Cause = sn.modeAndCause(id)
	v.Reason, v.Next = sn.words(now, id, v, estimate)
	v.Fit, v.FitCause = sn.fit(id, v)
	return v
}

// holdViews are the active interlocks of a tank and what its loops wait for.
func (sn *snapshot) holdViews(id dosing.TankID) (all []HoldView) {
	for _, trip := range sn.watch.Trips(id) {
		all = append(all, sn.holdView(trip))
	}
	for _, trip := range sn.waits.of[id].now {
		all = append(all, sn.holdView(trip))
	}
	return all
}

func (sn *snapshot) alarmViews(id dosing.TankID, warn, harm time.Duration) (all []AlarmView) {
	for _, alarm := range sn.interlocks.alarms.Active(id, warn, harm) {
		all = append(all, AlarmView(alarm))
	}
	return all
}

func (sn *snapshot) unseenViews(id dosing.TankID) []UnseenView {
	all := make([]UnseenView, 0, 3)
	for _, role := range [...]dosing.Role{dosing.RoleAcid, dosing.RoleBase, dosing.RoleStock} {
		all = append(all, UnseenView{Role: role, Share: sn.watch.UnseenShare(id, role), Words: sn.watch.UnseenWords(id, role)})
	}
	return all
}

// words says why the tank does what it does and what comes next.
func (sn *snapshot) words(now dosing.Instant, id dosing.TankID, v TankView, e loop.Estimate) (reason, next string) {
	switch {
	case v.Cause != safety.CauseNone:
		row := safety.Of(v.Cause)
		return v.Mode.String() + ": " + row.Text, "clears: " + row.Clears
	case sn.dose.state != doseNone && sn.dose.intent.Plan().Tank == id:
		plan := sn.dose.intent.Plan()
		return fmt.Sprintf("dosing %s of %s: %s", plan.Volume, sn.settings.Safety.Pumps[plan.Pump].Reagent, plan.Reason),
			"waits for the pump's report"
	case v.Titrating:
		return "titration " + v.Titration, "doses as usual when it is over"
	case v.Filling:
		return "fill " + v.Fill, "doses as usual when it is over"
	case v.Mode != safety.ModeArmed:
		return v.Mode.String(), "arm it to dose"
	case !e.Known:
		return "armed: waits for readings", "doses when pH and EC are known"
	}
	return "armed: " + balance(v), sn.nextStep(now, id)
}

// balance compares the settled prediction with the setpoints.
func balance(v TankView) string {
	pH := v.Settled.PH - v.PH.Working
	ec := v.Settled.EC - v.EC.Working
	if math.Abs(pH) <= dosing.StartBand.PH && math.Abs(ec) <= dosing.StartBand.EC {
		return "pH and EC are in band"
	}
	return fmt.Sprintf("will settle at pH %.2f (wanted %.2f) and EC %.2f (wanted %.2f mS/cm)", v.Settled.PH, v.PH.Working, v.Settled.EC, v.EC.Working)
}

// nextStep names what the wanted reagent waits for.
func (sn *snapshot) nextStep(now dosing.Instant, id dosing.TankID) string {
	t := &sn.tanks[id]
	waits := sn.waits.of[id].now
	for i := range waits {
		if w := &waits[i]; w.Cause != safety.CauseDoseOpen {
			return fmt.Sprintf("%s waits: %s", sn.settings.Safety.Pumps[w.Pump].Role, safety.Of(w.Cause).Text)
		}
	}
	if role := t.needs(now); role != dosing.RoleNone {
		return fmt.Sprintf("adds %s at the next decision", role)
	}
	return "watches; nothing to add"
}

// wouldDose says what an armed tank would dose now, in the grower's arithmetic.
func (de *decisions) wouldDose(now dosing.Instant, id dosing.TankID) string {
	t := &de.tanks[id]
	if lacks := de.watch.Lacks(now, id); lacks > 0 {
		return fmt.Sprintf("would let in %.0f L of source water", lacks)
	}
	role := t.needs(now)
	if role == dosing.RoleNone {
		return ""
	}
	e, target := t.loops.Estimate(now, t.target()), t.target()
	if role == dosing.RoleStock {
		return fmt.Sprintf("would dose stock: EC %.2f, wanted %.2f mS/cm", float64(e.EC), float64(target.EC))
	}
	return fmt.Sprintf("would dose %s: pH %.2f, wanted %.2f", role, float64(e.PH), float64(target.PH))
}

// fit says whether the water may go to plants. Only evidence forbids it: a usable
// reading that the dose record bears out, or water that nobody has confirmed.
func (sn *snapshot) fit(id dosing.TankID, v TankView) (bool, string) {
	if sn.tanks[id].operator.Unconfirmed || v.Cause == safety.CauseSolutionUnconfirmed {
		return false, "solution unconfirmed"
	}
	for _, in := range v.Inputs {
		if !in.Present || !in.Quality.MayDose() || !v.Settled.Known {
			continue
		}
		switch in.Quantity {
		case dosing.QuantityPH:
			if (in.Value < 4.5 && v.Settled.PH < 4.5) || (in.Value > 7.5 && v.Settled.PH > 7.5) {
				return false, fmt.Sprintf("pH %.2f is outside 4.5 to 7.5", in.Value)
			}
		case dosing.QuantityEC:
			if most := 1.5 * v.EC.Working; in.Value > most && v.Settled.EC > most {
				return false, fmt.Sprintf("EC %.2f mS/cm is above %.2f", in.Value, most)
			}
		}
	}
	return true, ""
}

func (sn *snapshot) inputView(now dosing.Instant, id dosing.InputID, in *safety.Input) InputView {
	v := InputView{Name: in.Name, Quantity: in.Quantity, NotFitted: in.NotFitted, Calibration: sn.calibrations.view(id)}
	reading, quality, ok := sn.watch.Input(id)
	if !ok {
		return v
	}
	v.Present, v.Value, v.Quality, v.Retained = true, reading.Value(), quality, reading.Retained()
	v.Age = now.Since(reading.At())
	return v
}

func (sn *snapshot) holdView(trip safety.Trip) HoldView {
	row := safety.Of(trip.Cause)
	v := HoldView{Cause: trip.Cause, Action: trip.Action, Scope: trip.Scope, Since: trip.Since, Text: row.Text, Clears: row.Clears}
	if trip.Detail != "" {
		v.Text += " (" + trip.Detail + ")"
	}
	if trip.Scope == safety.ScopePump && int(trip.Pump) < len(sn.settings.Safety.Pumps) {
		v.Pump = sn.settings.Safety.Pumps[trip.Pump].Name
	}
	return v
}

// largest is how large a dose of a pump may be now, by tank that it serves.
func (sn *snapshot) largest(now dosing.Instant, id dosing.PumpID) (all []LargestView) {
	for i := range sn.tanks {
		if tank := dosing.TankID(i); sn.settings.Safety.Pumps[id].ServesTank(tank) {
			a := sn.gate.Allowance(now, tank, id)
			all = append(all, LargestView{Tank: sn.tanks[i].plant.Name, Most: a.Most, By: a.By, Words: a.Words})
		}
	}
	return all
}

func (sn *snapshot) pumpView(now dosing.Instant, id dosing.PumpID) PumpView {
	p, counts := &sn.settings.Safety.Pumps[id], &sn.stocks.counts[id]
	v := PumpView{Name: p.Name, Reagent: p.Reagent, Liquid: p.Liquid(), Role: p.Role, Hour: sn.totals.Hour(id, now.Up), Day: sn.totals.Day(id, now.Up),
		Ever: counts.before + sn.totals.Ever(id), HourlyCap: sn.watch.HourlyCap(id), DailyCap: sn.watch.DailyCap(id), Refilled: counts.refill.At, Batch: counts.refill.Batch,
		Doses: counts.doses, Volume: counts.volume}
	v.Lasts = sn.stocks.view(id)
	v.Left = v.Lasts.Left
	v.TubeRan, v.Measured, v.MeasuredAt = sn.stocks.tubeRan(id), counts.rate.PerSecond, counts.rate.At
	if sn.dose.state != doseNone && sn.dose.intent.Plan().Pump == id {
		v.OpenOrder = sn.dose.intent.Order().String()
	}
	return v
}

func (s *setpoint) view() SetpointView {
	return SetpointView{Working: s.present, Final: s.target, Source: s.source, Min: s.limits.Min, Max: s.limits.Max,
		AdvisedMin: s.limits.AdvisedMin, AdvisedMax: s.limits.AdvisedMax, Confirm: s.limits.Confirm, By: s.by, At: s.at, Until: s.until,
		Undoable: s.before.known && s.before.value != s.target, Before: s.before.value, BeforeUntil: s.before.until}
}

func (t *tank) settledView(e loop.Estimate) SettledView {
	if !e.Known {
		return SettledView{}
	}
	buffer := t.buffer(e)
	v := SettledView{Known: true, PH: float64(e.PH), EC: float64(e.EC), ECInTransit: e.ECInTransit, DriftEC: e.DriftEC,
		BufferScale: t.plant.BufferScale * math.Exp(e.LnBuffer), BufferScaleSpread: e.LnBufferSpread, ECGain: e.ECGain}
	if buffer > 0 {
		v.AcidInTransit = (e.AcidInTransit - e.BaseInTransit) / buffer
		v.DriftPH = e.DriftAcid / buffer
	}
	return v
}

// buffer is the buffer capacity at the present pH as learned, meq/L per pH.
func (t *tank) buffer(e loop.Estimate) float64 {
	return float64(t.curve.Buffer(float64(e.MeasuredPH))*t.plant.BufferScale) * math.Exp(e.LnBuffer)
}

// lastSeen is a settled value, what it does in an hour without doses, and when that was
// last known.
type lastSeen struct {
	value, perHour float64
	at             time.Duration
	ever           bool
}

// follow notes what is known of pH and EC.
func (t *tank) follow(now dosing.Instant, e *loop.Estimate) {
	if e.PHKnown {
		t.seenPH = lastSeen{value: float64(e.PH), at: now.Up, ever: true}
		if buffer := t.buffer(*e); buffer > 0 {
			t.seenPH.perHour = e.DriftAcid / buffer
		}
	}
	if e.ECKnown {
		t.seenEC = lastSeen{value: float64(e.EC), perHour: e.DriftEC, at: now.Up, ever: true}
	}
}

// leaves forecasts when the band around target is left. Blind is not calm: without a
// reading the value drifts on as it last did.
func (l *lastSeen) leaves(now dosing.Instant, target, halfBand float64) time.Duration {
	if !l.ever {
		return alarm.Unforeseen
	}
	return alarm.Leaves(l.value+float64(l.perHour*(now.Up-l.at).Hours()), target, halfBand, l.perHour)
}

// leaves forecasts when pH or EC leaves the warn and the harm band if nothing is
// dosed.
func (t *tank) leaves(now dosing.Instant) (warn, harm time.Duration) {
	pH, ec := float64(t.target().PH), float64(t.target().EC)
	return alarm.Sooner(t.seenPH.leaves(now, pH, dosing.WarnBand.PH), t.seenEC.leaves(now, ec, dosing.WarnBand.EC)),
		alarm.Sooner(t.seenPH.leaves(now, pH, dosing.HarmBand.PH), t.seenEC.leaves(now, ec, dosing.HarmBand.EC))
}

// leaving is which of the two leaves its warn band first.
func (t *tank) leaving(now dosing.Instant) dosing.Quantity {
	pH, ec := t.seenPH.leaves(now, float64(t.target().PH), dosing.WarnBand.PH), t.seenEC.leaves(now, float64(t.target().EC), dosing.WarnBand.EC)
	switch {
	case pH < 0 && ec < 0:
		return dosing.QuantityNone
	case ec < 0 || pH >= 0 && pH <= ec:
		return dosing.QuantityPH
	}
	return dosing.QuantityEC
}

// Outcomes counts the doses of a pump by outcome, for the night report.
func (p *PumpView) Outcomes() (doses uint64, counted dosing.Volume) {
	for o := ledger.OutcomeConfirmed; o < ledger.OutcomeCount; o++ {
		doses += p.Doses[o]
		counted += p.Volume[o]
	}
	return doses, counted
}
