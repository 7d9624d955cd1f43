package controller

import (
	"fmt"
	"math"
	"time"

	"leat/dosing"
	"leat/safety"
	"leat/safety/alarm"
)

// Standing is how a tank fares, for a person who has just woken up. The zero standing
// knows nothing and is never shown as good.
type Standing uint8

// The standings.
const (
	StandingUnknown Standing = iota
	StandingNow
	StandingTonight
	StandingResting  // an interlock withholds doses, and nobody is called for it
	StandingMoving   // armed, outside a warn band, and free to dose
	StandingTomorrow // something is to be done by day
	StandingWell     // armed, by valid readings inside both warn bands, and nothing is to be done
	StandingCount
)

var standingNames = [StandingCount]string{"not known", "needs you now", "needs you tonight", "not dosing", "on its way", "for tomorrow", "well"}

func (s Standing) String() string { return standingNames[min(s, StandingCount-1)] }

// MarshalText lets programs read what a person reads.
func (s Standing) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// Calls says that a person is needed before the day.
func (s Standing) Calls() bool { return s == StandingNow || s == StandingTonight }

// Verdict is a tank, or all of them, in one sentence.
type Verdict struct {
	Standing Standing
	Text     string
	Step     string // what a person is to do; empty = nothing
	Wait     string // a wait that is part of the work, for the small print
	brief    string // what cannot be done, or has happened, where all tanks are told of
}

// Judge says of each tank and of all together how they fare.
func (v *View) Judge() {
	for i := range v.Tanks {
		v.Tanks[i].Verdict = v.verdict(&v.Tanks[i])
	}
	v.Verdict = v.together()
}

// verdict is a tank in one sentence. Who is called comes first, then what withholds
// doses, then what the readings say; only what is left is well.
func (v *View) verdict(t *TankView) Verdict {
	called, hold := t.urgent(), t.worstHold()
	switch {
	case called != nil && called.Priority <= safety.PriorityTonight:
		standing := StandingNow
		if called.Priority == safety.PriorityTonight {
			standing = StandingTonight
		}
		return Verdict{Standing: standing, Text: v.alarmWords(t, called), brief: v.alarmBrief(t, called), Step: firstSentence(called.Advice)}
	case hold != nil:
		row := safety.Of(hold.Cause)
		d := Verdict{Standing: StandingResting, Text: v.impact(hold) + ": " + headline(row.Text) + v.sinceWords(hold.Since) + t.pauseWords(), Step: firstSentence(row.Advice)}
		if hold.Cause == safety.CauseObserving {
			d.Text, d.Wait = "Observing: nothing is dosed", t.WouldDose
		}
		if off := t.outside(); off != "" {
			d.Text += "; " + off
		}
		d.Text += "."
		return d
	}
	off, known := t.outside(), t.readingsKnown()
	switch {
	case known != "":
		return Verdict{Text: known + " is not known by a valid reading.", Step: "Look at its probe if this stays.", Wait: t.waitWords()}
	case called != nil:
		d := Verdict{Standing: StandingTomorrow, Text: v.alarmWords(t, called), brief: v.alarmBrief(t, called), Step: firstSentence(called.Advice), Wait: t.waitWords()}
		if off == "" {
			d.Text = "In control; " + lowerFirst(d.Text)
		}
		return d
	case !t.Fit:
		return Verdict{Standing: StandingMoving, Text: "Not fit for plants: " + t.FitCause + ".", Step: "Keep this water from the crop until it is.", Wait: t.waitWords()}
	case off != "":
		return Verdict{Standing: StandingMoving, Text: upperFirst(off) + "; " + t.actWords() + ".", Wait: t.waitWords()}
	case t.Mode != safety.ModeArmed && t.Mode != safety.ModeHolding:
		return Verdict{Standing: StandingResting, Text: upperFirst(t.Reason) + ".", Step: t.Next}
	}
	return Verdict{Standing: StandingWell, Text: "pH and EC are held.", Wait: t.waitWords()}
}

// urgent is the alarm that calls soonest, of those that stand and are not kept quiet.
func (t *TankView) urgent() *AlarmView {
	var worst *AlarmView
	for i := range t.Alarms {
		a := &t.Alarms[i]
		if a.State.Stands() && a.Priority < safety.PriorityLog && (worst == nil || a.Priority < worst.Priority) {
			worst = a
		}
	}
	return worst
}

// worstHold is the most severe interlock that is no part of the work: a stop, a
// person's word, or something that calls a person if it stays.
func (t *TankView) worstHold() *HoldView {
	for i := range t.Holds {
		if h := &t.Holds[i]; !h.Routine() {
			return h
		}
	}
	return nil
}

// Routine says that an interlock is part of the work and ends by itself.
func (h *HoldView) Routine() bool {
	switch h.Cause {
	case safety.CauseObserving, safety.CauseOperatorPause, safety.CauseMaintenance, safety.CauseCleaning, safety.CauseOperatorStop:
		return false
	}
	return h.Action >= safety.Run || h.Action == safety.Hold && safety.Of(h.Cause).Priority == safety.PriorityLog
}

// alarmWords is an alarm in a sentence: what cannot be done, why, since when, whether
// somebody knows, and until when that is bearable.
func (v *View) alarmWords(t *TankView, a *AlarmView) string {
	text := headline(safety.Of(a.Cause).Text)
	h := t.withheldFor(a.Cause)
	if h != nil {
		text = v.impact(h) + ": " + text
		if h.Pump != "" {
			text += " (" + h.Pump + ")"
		}
	}
	text = upperFirst(text) + v.sinceWords(a.Since)
	if a.State == alarm.Acknowledged || a.State == alarm.Latched {
		text += ", acknowledged"
	}
	if h != nil {
		text += v.safeUntil(t)
	}
	return text + "."
}

// alarmBrief is what of an alarm fits into a sentence over all tanks: what cannot be done
// and until when that is bearable, or what happened.
func (v *View) alarmBrief(t *TankView, a *AlarmView) string {
	if h := t.withheldFor(a.Cause); h != nil {
		return lowerFirst(v.impact(h)) + v.safeUntil(t)
	}
	return headline(safety.Of(a.Cause).Text)
}

// withheldFor is the interlock of a cause that withholds doses; nil = none does.
func (t *TankView) withheldFor(cause safety.Cause) *HoldView {
	for i := range t.Holds {
		if h := &t.Holds[i]; h.Cause == cause && h.Action < safety.Run {
			return h
		}
	}
	return nil
}

// impact is what an interlock keeps from being done.
func (v *View) impact(h *HoldView) string {
	switch h.Scope {
	case safety.ScopeReagents:
		return "Cannot correct pH"
	case safety.ScopeNutrients:
		return "Cannot feed"
	case safety.ScopePump:
		for i := range v.Pumps {
			if p := &v.Pumps[i]; p.Name == h.Pump {
				switch p.Role {
				case dosing.RoleAcid:
					return "Cannot lower pH"
				case dosing.RoleBase:
					return "Cannot raise pH"
				}
				return "Cannot add " + p.Reagent
			}
		}
	}
	return "Doses nothing"
}

// aDayAhead is how far off a clock time is understood without a date.
const aDayAhead = 18 * time.Hour

// safeUntil says when the bands are left. The time is rounded down: what is promised
// must hold.
func (v *View) safeUntil(t *TankView) string {
	what := "pH or EC"
	if t.Leaving == dosing.QuantityPH {
		what = "pH"
	} else if t.Leaving == dosing.QuantityEC {
		what = "EC"
	}
	switch {
	case t.LeavesHarm == 0:
		return "; " + t.beyond(dosing.HarmBand, "pH or EC") + " is outside its harm band"
	case t.LeavesWarn > 0 && t.LeavesWarn < aDayAhead:
		return "; " + what + " leaves its band at about " + v.clock(t.LeavesWarn)
	case t.LeavesWarn == 0 && t.LeavesHarm > 0 && t.LeavesHarm < aDayAhead:
		return "; harm from about " + v.clock(t.LeavesHarm)
	}
	return ""
}

func (v *View) clock(ahead time.Duration) string {
	const step = 10 * time.Minute
	at := v.At.Wall.Add(ahead)
	if ahead > 2*step {
		at = at.Truncate(step)
	}
	return at.Format("15:04")
}

func (v *View) sinceWords(since dosing.Instant) string {
	if since.Wall.IsZero() {
		return ""
	}
	layout := "15:04"
	if v.At.Wall.Sub(since.Wall) >= aDayAhead {
		layout = "2 Jan 15:04"
	}
	return " since " + since.Wall.Format(layout)
}

func (t *TankView) pauseWords() string {
	if t.PauseEnds.IsZero() {
		return ""
	}
	return ", until " + t.PauseEnds.Format("15:04")
}

// readingsKnown names what no valid reading tells.
func (t *TankView) readingsKnown() string {
	pH, ec := true, true
	for i := range t.Inputs {
		in := &t.Inputs[i]
		if !in.Present || in.Retained || !in.Quality.MayDose() {
			continue
		}
		pH, ec = pH && in.Quantity != dosing.QuantityPH, ec && in.Quantity != dosing.QuantityEC
	}
	switch {
	case pH && ec:
		return "Neither pH nor EC"
	case pH:
		return "pH"
	case ec:
		return "EC"
	}
	return ""
}

// outside says what lies outside its warn band.
func (t *TankView) outside() string {
	in, wanted := t.off(dosing.WarnBand)
	if in == nil {
		return ""
	}
	side := "too high"
	if in.Value < wanted {
		side = "too low"
	}
	return fmt.Sprintf("%s is %s (%.1f, setpoint %.2f)", labelOf(in.Quantity), side, in.Value, wanted)
}

// beyond names what lies outside a band, or says otherwise.
func (t *TankView) beyond(band dosing.Band, otherwise string) string {
	if in, _ := t.off(band); in != nil {
		return labelOf(in.Quantity)
	}
	return otherwise
}

func labelOf(q dosing.Quantity) string {
	if q == dosing.QuantityEC {
		return "EC"
	}
	return "pH"
}

// off is the first reading outside a band around its setpoint; nil = none is.
func (t *TankView) off(band dosing.Band) (*InputView, float64) {
	for i := range t.Inputs {
		in := &t.Inputs[i]
		wanted, wide := t.PH.Working, band.PH
		switch {
		case !in.Present:
			continue
		case in.Quantity == dosing.QuantityEC:
			wanted, wide = t.EC.Working, band.EC
		case in.Quantity != dosing.QuantityPH:
			continue
		}
		if math.Abs(in.Value-wanted) > wide {
			return in, wanted
		}
	}
	return nil, 0
}

// actWords is what is done about it.
func (t *TankView) actWords() string {
	switch t.Wants {
	case dosing.RoleAcid:
		return "acid is added"
	case dosing.RoleBase:
		return "base is added"
	case dosing.RoleStock:
		return "stock is added"
	}
	return "what was dosed is mixing, or the drift brings it back"
}

// waitWords is the first wait that is part of the work.
func (t *TankView) waitWords() string {
	for i := range t.Holds {
		if h := &t.Holds[i]; h.Action < safety.Run {
			return upperFirst(headline(safety.Of(h.Cause).Text)) + "."
		}
	}
	return ""
}
