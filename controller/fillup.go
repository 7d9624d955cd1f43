package controller

import (
	"fmt"
	"hash/fnv"
	"math"
	"time"

	"leat/dosing"
	"leat/dosing/loop"
	"leat/safety"
	"leat/safety/ledger"
)

// fills carry out what a person approved: source water up to the working level, then what brings the
// tank to its setpoints. Every pulse and dose goes through loop, gate and ledger like any other; what was
// approved lifts the caps by recent use and nothing else. It says in which order and when it ends; a hold
// holds it, and what ends it leaves the tank to the loop.
type fills struct {
	*station
	wishes *wishes
	stocks *stocks
	offers []fillOffer // by tank
}

// fillOffer is a plan that waits for a person's yes.
type fillOffer struct {
	token, text, words string
	litres             float64
	ends               time.Duration
}

// fillOfferHolds is how long a plan can be approved: longer, and the tank is another.
const fillOfferHolds = 10 * time.Minute

type fillStep uint8

// The steps of a fill, one after the other.
const (
	fillWater  fillStep = iota // water comes in, nothing is dosed
	fillMix                    // it mixes
	fillAcid                   // acid alone
	fillStocks                 // as the loop wants, until most of the EC is there
	fillRest                   // nothing, until it has mixed and can be verified
)

var fillWords = [...]string{"source water is let in", "the water mixes", "acid is given", "stocks are given", "it mixes before it is verified"}

// fillUp is one under way.
type fillUp struct {
	by      string
	volumes []dosing.Volume // that are left of what was approved, by pump
	until   time.Duration
	step    fillStep
	since   time.Duration // of the step
	strong  time.Duration // since when EC is where stocks end; 0 = it is not
}

// When a fill has done its part, and how far off its end may be to count as verified.
const (
	fillShare    = 0.9       // of the setpoint of EC
	fillPatience = time.Hour // for acid, before and after the stocks
	fillOffEC    = 0.15      // of it
)

// ask shows the plan, and on a person's yes to it begins once that is recorded.
func (fs *fills) ask(now dosing.Instant, r *Request) {
	t, o := &fs.tanks[r.Tank], &fs.offers[r.Tank]
	mode, cause := fs.modeAndCause(r.Tank)
	switch {
	case t.fillUp != nil:
		fs.refuse(r, "a fill is under way: "+t.fillWords(now)+"; leat mode observe ends it")
	case t.titration != nil:
		fs.refuse(r, "a titration is under way: "+t.titrationWords(now))
	case mode == safety.ModeStopped:
		fs.refuse(r, "stopped: "+safety.Of(cause).Text+" It ends "+safety.Of(cause).Clears)
	case mode == safety.ModeObserving:
		fs.refuse(r, "the tank is observing and gets no dose: arm it first")
	case r.Confirm != "" && r.Confirm == o.token && now.Up <= o.ends:
		row := ledger.Change{Kind: ledger.ChangeFill, Text: o.text, Value: o.litres, Until: now.Wall.Add(fillWithin)}
		words := "approved. " + o.words
		*o = fillOffer{}
		fs.wishes.awaitMore(now, r, row, words)
	default:
		p, refusal := fs.plan(now, r.Tank)
		if refusal != "" {
			fs.refuse(r, refusal)
			return
		}
		h := fnv.New32a()
		fmt.Fprintf(h, "%d|%d|%s", r.Tank, now.Up, fs.text(p))
		*o = fillOffer{token: fmt.Sprintf("%08x", h.Sum32()), text: fs.text(p), words: p.words, litres: p.litres, ends: now.Up + fillOfferHolds}
		fs.refuse(r, p.words+". Approve it within 10 minutes")
		fs.out.Answers[len(fs.out.Answers)-1].Confirm = o.token
	}
}

// written is told that an approval is durable.
func (fs *fills) written(now dosing.Instant, w *wish, row ledger.Change) bool {
	if mode := fs.watch.Mode(w.request.Tank); mode != safety.ModeArmed && mode != safety.ModeHolding {
		w.text = "the tank is not armed any more"
		fs.recordEnd(now, w.request.Tank, "ended before it was done: "+w.text)
		return false
	}
	fs.begin(w.request.Tank, &fillUp{by: row.By, volumes: fs.volumesOf(row.Text), until: now.Up + row.Until.Sub(now.Wall), since: now.Up})
	return true
}

// begin tells the gate what was approved.
func (fs *fills) begin(id dosing.TankID, f *fillUp) {
	fs.tanks[id].fillUp = f
	fs.tell()
}

// tell tells the gate what is left of all that is approved: tanks may share pumps.
func (fs *fills) tell() {
	for p := range fs.settings.Safety.Pumps {
		left, until := dosing.Volume(0), time.Duration(0)
		for i := range fs.tanks {
			if f := fs.tanks[i].fillUp; f != nil {
				left, until = left+f.volumes[p], max(until, f.until)
			}
		}
		fs.watch.Fill(dosing.PumpID(p), left, until)
	}
}

// restore goes on with a fill of an earlier run: what was given since its approval is spent. A tank that is not
// armed after the restart is not filled.
func (fs *fills) restore(now dosing.Instant, id dosing.TankID, s *ledger.State) {
	t := &fs.tanks[id]
	row, found := s.Fills[t.plant.Name]
	if !found {
		return
	}
	if left := row.Until.Sub(now.Wall); t.mode != safety.ModeArmed || left <= 0 || left > fillWithin {
		t.fillEnded = "the program was restarted"
		t.filledUp = "ended before it was done: " + t.fillEnded
		return
	}
	f := &fillUp{by: row.By, volumes: fs.volumesOf(row.Text), until: now.Up + row.Until.Sub(now.Wall), since: now.Up}
	for _, d := range s.Doses {
		if pump, known := fs.pumpNamed(d.Pump); known && d.Tank == t.plant.Name && d.Up >= row.At.Up && !d.ByHand {
			f.volumes[pump] = max(f.volumes[pump]-d.Volume, 0)
		}
	}
	fs.begin(id, f)
}

// gave counts what was given meanwhile.
func (f *fillUp) gave(pump dosing.PumpID, volume dosing.Volume) {
	f.volumes[pump] = max(f.volumes[pump]-volume, 0)
}

// follow leads each fill through its steps, and ends what is complete or cannot be completed.
func (fs *fills) follow(now dosing.Instant) {
	for i := range fs.tanks {
		id, t := dosing.TankID(i), &fs.tanks[i]
		if t.fillUp == nil {
			continue
		}
		if why := fs.broken(now, id); why != "" {
			fs.end(now, id, "ended before it was done: "+why)
		} else if fs.dose.state == doseNone {
			fs.lead(now, id)
		}
	}
}

// broken is why a fill cannot go on.
func (fs *fills) broken(now dosing.Instant, id dosing.TankID) string {
	t := &fs.tanks[id]
	mode, cause := fs.modeAndCause(id)
	switch {
	case fs.unconfirmed(id) || t.operator.Cleaning:
		return "nobody has confirmed the water"
	case mode == safety.ModeStopped:
		return safety.Of(cause).Text
	case mode != safety.ModeArmed && mode != safety.ModeHolding:
		return "the tank is " + mode.String()
	case now.Up >= t.fillUp.until:
		return "its 12 h are over"
	}
	return ""
}

// lead goes to the next step when one is done. A step that waits for what is not known waits.
func (fs *fills) lead(now dosing.Instant, id dosing.TankID) {
	t := &fs.tanks[id]
	f, mixing := t.fillUp, t.plant.MixingTime()
	e := t.loops.Estimate(now, t.target())
	done := false
	switch level, rests := fs.watch.Resting(now, id); f.step {
	case fillWater:
		_, fitted := fs.valve(id)
		done = rests && !(fs.watch.Lacks(now, id) > 0) && (!fitted || level >= float64(fs.settings.Safety.Tanks[id].TopUpBand.Low))
	case fillMix:
		done = now.Up-f.since >= mixing && e.Known
	case fillAcid:
		// Acid that is held back for long must not keep the nutrients from the plants; the gate keeps stocks from a pH far off.
		done = e.PHKnown && !(float64(e.PH) > t.ph.present+dosing.StartBand.PH) || fs.without(id, dosing.RoleAcid) || now.Up-f.since >= fillPatience
	case fillStocks:
		if !e.ECKnown || float64(e.EC) < fillShare*t.ec.present && !fs.without(id, dosing.RoleStock) || fs.owes(t) {
			f.strong = 0
			break
		}
		if f.strong == 0 {
			f.strong = now.Up
		}
		done = e.PHKnown && math.Abs(float64(e.PH)-t.ph.present) <= dosing.WarnBand.PH || now.Up-f.strong >= fillPatience
	case fillRest:
		if now.Up-f.since >= mixing && e.Known {
			fs.verify(now, id, &e)
			return
		}
	}
	if done {
		f.step, f.since = f.step+1, now.Up
		fs.out.Changed = true
	}
}

// without says that no pump of a role has anything left of what was approved.
func (fs *fills) without(id dosing.TankID, role dosing.Role) bool {
	for i, volume := range fs.tanks[id].fillUp.volumes {
		if p := &fs.settings.Safety.Pumps[i]; p.Role == role && p.ServesTank(id) && volume >= p.MinDose {
			return false
		}
	}
	return true
}

// owes says that a begun portion is not given whole yet.
func (fs *fills) owes(t *tank) bool {
	for i, volume := range t.loops.Owed() {
		if p := &fs.settings.Safety.Pumps[i]; p.MacroIon && volume >= p.MinDose {
			return true
		}
	}
	return false
}

// verify compares what came of it with what was wanted; the loop goes on either way.
func (fs *fills) verify(now dosing.Instant, id dosing.TankID, e *loop.Estimate) {
	t := &fs.tanks[id]
	text := fmt.Sprintf("pH %.2f and EC %.2f mS/cm, where %.2f and %.2f are wanted", float64(e.MeasuredPH), float64(e.MeasuredEC), t.ph.present, t.ec.present)
	short := t.ec.present - float64(e.MeasuredEC)
	if math.Abs(float64(e.MeasuredPH)-t.ph.present) > dosing.HarmBand.PH || math.Abs(short) > (1-fillShare+fillOffEC)*t.ec.present {
		fs.end(now, id, "ended and not borne out: "+text+". Measure with a hand meter, look at containers and pumps")
		return
	}
	fs.end(now, id, "done: "+text)
}

// end takes back what was approved. What was dosed stands.
func (fs *fills) end(now dosing.Instant, id dosing.TankID, why string) {
	t := &fs.tanks[id]
	t.fillUp, t.filledUp = nil, why
	fs.tell()
	fs.recordEnd(now, id, why)
	fs.notice(Notice{Kind: NoticeChange, Tank: id, Text: "fill: " + why})
	fs.out.Changed = true
}

func (fs *fills) recordEnd(now dosing.Instant, id dosing.TankID, why string) {
	fs.change(ledger.Change{Kind: ledger.ChangeFill, At: now, Tank: fs.tankName(id), Text: why, By: "leat"})
}

// valve is our own that lets source water into a tank.
func (fs *fills) valve(id dosing.TankID) (dosing.PumpID, bool) {
	for i := range fs.settings.Safety.Pumps {
		if p := &fs.settings.Safety.Pumps[i]; p.Role == dosing.RoleWater && p.ServesTank(id) {
			return dosing.PumpID(i), true
		}
	}
	return 0, false
}

// narrow leaves of the limits what the step allows.
func (f *fillUp) narrow(pumps []dosing.Pump, limits []dosing.Volume) {
	for i := range limits {
		switch role := pumps[i].Role; {
		case f.step == fillStocks && (f.strong == 0 || role != dosing.RoleStock):
		case f.step == fillAcid && role == dosing.RoleAcid:
		default:
			limits[i] = 0
		}
	}
}

// fillWords say how far a fill is, or what came of the last one of this run; "" = there was none.
func (t *tank) fillWords(now dosing.Instant) string {
	f := t.fillUp
	if f == nil {
		return t.filledUp
	}
	return fmt.Sprintf("under way, approved by %s: %s; it ends within %s", f.by, fillWords[f.step], roughly(f.until-now.Up))
}
