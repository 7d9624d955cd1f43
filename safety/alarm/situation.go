package alarm

import (
	"fmt"
	"math"
	"time"

	"leat/dosing"
	"leat/safety"
	"leat/safety/line"
	"leat/safety/response"
)

// Situation is what the alarms that stop nothing are judged from. The zero value
// knows nothing and raises none.
type Situation struct {
	Known      bool
	Mode       safety.Mode
	PH, EC     float64 // filtered readings
	SettledEC  float64 // EC after what is in transit, mS/cm
	Target     dosing.Target
	TopUpEC    float64 // mS/cm
	Litres     float64 // that the tank holds; 0 = not told
	MixingTime time.Duration
	LnBuffer   float64 // learned mean of ln(buffer scale)
	Measured   bool    // the buffer that it refers to was measured, not only commissioned
	ECGain     float64 // effect of the stocks ÷ predicted, as learned; 0 = not known
	Acid, Base safety.Usual
	Alkaline   bool    // the top-up brings carbonate
	Slow       float64 // share of the water that answers late, as configured
	Later      float64 // share in zones that exchange too fast to be slow water, and yet not within a mixing time
	Answered   int     // pools of doses answered
	// Withheld is why the reagent that the tank needs now is not given; CauseNone
	// when none is needed or one is under way.
	Withheld safety.Cause
	// Surplus says of which nutrient acid or base brings more than the crop takes;
	// empty when of none.
	Surplus string
	// Loaded is the pH probe that stands in a ground loop; empty when none does.
	Loaded string
	// StuckLevel says why the level is not believed; empty while it is.
	StuckLevel string
	// Unanswered says what was given that no reading has shown, tests and all; empty while it has.
	Unanswered string
	// Miscompensated says how EC follows temperature; empty where it does not.
	Miscompensated string
	// StockLow names the containers that are soon empty; empty when none is known to be.
	StockLow string
	// Late says what answers later than commissioned.
	Late response.Late
	// SourceWater says what the top-up brings beyond what was told; empty while it is as told.
	SourceWater string
	// OffBalance says which stock does otherwise than the others; empty while none does.
	OffBalance string
	// Line is what the watched line around the tank calls a person for.
	Line []line.Finding
	// Disarmed is why the tank was armed and now observes without a person's word;
	// empty when it does not.
	Disarmed string
}

// armed says that a person wants doses, whether or not something holds them: a
// flood switch that sticks must not keep the plants hungry in silence.
func (s *Situation) armed() bool { return s.Mode == safety.ModeArmed || s.Mode == safety.ModeHolding }

// Observe tells what the tank looks like now, before Update.
func (a *Alarms) Observe(tank dosing.TankID, s *Situation) {
	if int(tank) < len(a.tanks) {
		a.tanks[tank].situation, a.tanks[tank].known = *s, true
	}
}

// Limits of the alarms that stop nothing.
const (
	outOfBandFor  = time.Hour        // plus two mixing times
	progressOver  = 30 * time.Minute // an error that shrank over this long, or a mixing time, is on its way
	progressShare = 0.9
	progressNotes = 3 // in that time: what turned a while ago is on its way, too
	blockedFor    = 2 * time.Hour
	worn          = 0.4 // learned ln(buffer scale) that looks like a worn tube
	wornBack      = 0.1 // less, before it looks so no more
	harmedFor     = time.Hour
)

// standing times what must last before it is an alarm.
type standing struct {
	settling settling
	outside  dosing.Timer // pH or EC outside its warn band
	harmed   dosing.Timer // pH outside its harm band; too little food can wait for the morning
	withheld dosing.Timer
	errorAt  time.Duration          // when the error was last noted
	errors   [progressNotes]float64 // in warn bands, the oldest first
	noted    bool
	stuck    bool         // the error did not shrink
	worn     bool         // acid and base do less than they should
	early    bool         // all doses do more at first than they should
	thin     bool         // acid and base do many times what they should
	scaled   bool         // one of these, until for long it was none of them
	even     dosing.Timer // none of these
	usual    float64      // ln of what the buffer is usually, where nobody measured it
	learning dosing.Timer // what is usual
}

// judgeTold raises the alarms that others have judged already.
func (t *tankAlarms) judgeTold(now dosing.Instant) {
	s := &t.situation
	if s.Surplus != "" { // an account of weeks: a reading more or less is nothing to it
		t.see(now, safety.CauseSurplus, safety.Run, false, t.detailOr(now, safety.CauseSurplus, func() string { return s.Surplus }))
	}
	if s.Disarmed != "" {
		t.see(now, safety.CauseDisarmed, safety.Run, false, s.Disarmed)
	}
	if s.StockLow != "" {
		t.see(now, safety.CauseContainerLow, safety.Run, false, t.detailOr(now, safety.CauseContainerLow, func() string { return s.StockLow }))
	}
	if s.StuckLevel != "" {
		t.see(now, safety.CauseLevelStuck, safety.Run, false, s.StuckLevel)
	}
	if s.Unanswered != "" {
		t.see(now, safety.CauseUnconfirmedLong, safety.Run, false, s.Unanswered)
	}
	if s.Miscompensated != "" {
		t.see(now, safety.CauseCompensation, safety.Run, false, t.detailOr(now, safety.CauseCompensation, func() string { return s.Miscompensated }))
	}
	for _, so := range [...]struct {
		cause safety.Cause
		words string
	}{{safety.CauseMixingSlow, s.Late.Water}, {safety.CauseProbeSlow, s.Late.Probe}, {safety.CauseSourceWater, s.SourceWater}, {safety.CauseOffBalance, s.OffBalance}} {
		if so.words != "" {
			t.see(now, so.cause, safety.Run, false, t.detailOr(now, so.cause, func() string { return so.words }))
		}
	}
	if s.Loaded != "" {
		t.see(now, safety.CauseGroundLoop, safety.Run, false, t.detailOr(now, safety.CauseGroundLoop, func() string { return s.Loaded }))
	}
}

// judgeStanding raises the alarms that stop nothing.
func (t *tankAlarms) judgeStanding(now dosing.Instant, trips []safety.Trip) {
	s, st := &t.situation, &t.standing
	if t.known {
		t.judgeTold(now)
	}
	if !t.known || !s.Known {
		st.outside.Run(false, now.Up)
		st.harmed.Run(false, now.Up)
		st.withheld.Run(false, now.Up)
		return
	}
	pH, ec := s.PH-float64(s.Target.PH), s.EC-float64(s.Target.EC)
	// EC that is too high has an alarm of its own.
	size := math.Max(math.Abs(pH)/dosing.WarnBand.PH, -ec/dosing.WarnBand.EC)
	out := st.outside.Run(!(size <= 1), now.Up)
	st.harmed.Run(math.Abs(pH) > dosing.HarmBand.PH, now.Up)
	if !st.outside.Running {
		st.noted, st.stuck = false, false
	} else if !st.noted || now.Up-st.errorAt >= max(progressOver, s.MixingTime)/progressNotes {
		if !st.noted {
			st.errors = [progressNotes]float64{math.Inf(1), math.Inf(1), math.Inf(1)}
		}
		st.stuck = !(size < float64(progressShare*st.errors[0]))
		copy(st.errors[:], st.errors[1:])
		st.errors[progressNotes-1], st.errorAt, st.noted = size, now.Up, true
	}
	if settles := st.settling.follow(s, size <= 1, now.Up); out >= outOfBandFor+2*s.MixingTime && st.stuck && !settles {
		t.see(now, safety.CauseOutOfBand, safety.Run, false, t.detailOr(now, safety.CauseOutOfBand, func() string {
			words := fmt.Sprintf("pH %.2f, wanted %.2f; EC %.2f, wanted %.2f mS/cm", s.PH, float64(s.Target.PH), s.EC, float64(s.Target.EC))
			if s.Withheld != safety.CauseNone {
				words += "; withheld by: " + safety.Of(s.Withheld).Text
			}
			return words
		}))
	}
	if over := s.SettledEC - float64(s.Target.EC); over > dosing.WarnBand.EC && ec > dosing.WarnBand.EC {
		t.see(now, safety.CauseECHigh, safety.Run, false, t.detailOr(now, safety.CauseECHigh, func() string { return dumpAdvice(s) }))
	}
	if words := st.scale(s, now.Up); words != nil {
		t.see(now, safety.CauseBufferScale, safety.Run, false, t.detailOr(now, safety.CauseBufferScale, func() string { return words(s) }))
	}
	if st.withheld.Run(s.armed() && s.Withheld != safety.CauseNone, now.Up) >= blockedFor {
		t.see(now, safety.CauseDosingBlockedLong, safety.Run, false, t.detailOr(now, safety.CauseDosingBlockedLong, func() string { return "withheld by: " + safety.Of(s.Withheld).Text }))
	}
}

// figuresHold is how long an alarm's figures are shown before they are taken anew.
const figuresHold = time.Minute

// detailOr keeps the figures of an alarm that already stands for a while, so that they
// are of now but do not flicker.
func (t *tankAlarms) detailOr(now dosing.Instant, c safety.Cause, write func() string) string {
	r := &t.record[c]
	if r.present && r.detail != "" && now.Up-r.wrote < figuresHold {
		return r.detail
	}
	r.wrote = now.Up
	return write()
}

// dumpAdvice says how much to dump: a share x replaced by top-up brings EC from e to
// e − x·(e − top-up).
func dumpAdvice(s *Situation) string {
	from, to := s.SettledEC, float64(s.Target.EC)
	if share := 100 * (from - to) / (from - s.TopUpEC); s.TopUpEC < to && share > 0 && share <= 100 {
		litres := ""
		if s.Litres > 0 {
			litres = fmt.Sprintf(", %.0f L,", math.Ceil(s.Litres*share/100))
		}
		return fmt.Sprintf("EC %.2f, wanted %.2f mS/cm: dump %.0f %%%s and top up with water of %.2f mS/cm", from, to, math.Ceil(share), litres, s.TopUpEC)
	}
	return fmt.Sprintf("EC %.2f, wanted %.2f mS/cm, and the top-up water is no weaker", from, to)
}

// priority is that of an alarm without an interlock. A tank that is only observed
// wakes nobody: a person doses it.
func (st *standing) priority(base safety.Priority, s *Situation, up time.Duration, leavesHarm time.Duration) safety.Priority {
	if !s.armed() {
		return base
	}
	if st.harmed.Running && up-st.harmed.Since >= harmedFor {
		return safety.PriorityNow
	}
	return min(base, max(base.Rise(leavesHarm), safety.PriorityTonight))
}
