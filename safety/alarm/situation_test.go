package alarm

import (
	"strings"
	"testing"
	"time"

	"leat/dosing"
	"leat/safety"
)

func goodSituation() Situation {
	return Situation{Known: true, Mode: safety.ModeArmed, PH: 5.8, EC: 1.6, SettledEC: 1.6, Target: dosing.Target{PH: 5.8, EC: 1.6}, TopUpEC: 0.4,
		MixingTime: 10 * time.Minute, Answered: 5, Measured: true}
}

func TestQuietTankRaisesNothing(t *testing.T) {
	n := newAlarmNight()
	s := goodSituation()
	n.situation = &s
	n.pass(10 * time.Hour)
	if len(n.announced) != 0 {
		t.Errorf("announced %v in a quiet night", n.announced)
	}
}

func TestOutOfBandThatDoesNotGetNearerIsAnAlarm(t *testing.T) {
	n := newAlarmNight()
	s := goodSituation()
	s.PH = 6.2
	n.situation = &s
	n.pass(time.Hour)
	if len(n.announced) != 0 {
		t.Fatalf("announced %v after an hour", n.announced)
	}
	n.pass(2 * time.Hour)
	if n.count(safety.CauseOutOfBand, Unacknowledged) != 1 || n.announced[0].Priority != safety.PriorityTomorrow {
		t.Errorf("announced %v, want out-of-band, tomorrow", n.announced)
	}
}

func TestFarSetpointOnItsWayIsNoAlarm(t *testing.T) {
	n := newAlarmNight()
	s := goodSituation()
	n.situation = &s
	for ec := 0.6; ec < 1.5; ec += 0.05 {
		s.EC, s.SettledEC = ec, ec
		n.harm = 0
		n.pass(15*time.Minute, hold(safety.CauseHourlyCap))
	}
	for _, a := range n.announced {
		if a.Cause != safety.CauseHourlyCap || a.Priority != safety.PriorityTomorrow {
			t.Errorf("announced %+v while EC rises from 0.6 to 1.5", a)
		}
	}
}

func TestOutOfHarmBandForAnHourIsNow(t *testing.T) {
	n := newAlarmNight()
	s := goodSituation()
	s.PH = 6.6
	n.situation = &s
	n.pass(4 * time.Hour)
	if n.count(safety.CauseOutOfBand, Unacknowledged) == 0 || n.announced[len(n.announced)-1].Priority != safety.PriorityNow {
		t.Errorf("announced %v, want out-of-band, now", n.announced)
	}
}

func TestObservedTankWakesNobodyForItsPH(t *testing.T) {
	n := newAlarmNight()
	s := goodSituation()
	s.PH, s.Mode = 6.6, safety.ModeObserving
	n.situation = &s
	n.pass(8*time.Hour, hold(safety.CauseObserving))
	for _, a := range n.announced {
		if a.Priority < safety.PriorityTomorrow {
			t.Errorf("announced %+v for a tank that a person doses", a)
		}
	}
}

func TestOutOfBandIsAConsequenceOfAHold(t *testing.T) {
	n := newAlarmNight()
	s := goodSituation()
	s.PH, s.Withheld = 6.2, safety.CausePHInvalid
	n.situation = &s
	n.pass(6*time.Hour, hold(safety.CausePHInvalid))
	if n.count(safety.CauseOutOfBand, Unacknowledged) != 0 || n.count(safety.CauseDosingBlockedLong, Unacknowledged) != 0 || n.count(safety.CausePHInvalid, Unacknowledged) != 1 {
		t.Errorf("announced %v, want the unfit probe only", n.announced)
	}
}

func TestECAboveBandSaysHowMuchToDump(t *testing.T) {
	n := newAlarmNight()
	s := goodSituation()
	s.EC, s.SettledEC, s.Litres = 2.0, 2.0, 2300
	n.situation = &s
	n.pass(time.Hour)
	if len(n.announced) != 1 || n.announced[0].Cause != safety.CauseECHigh {
		t.Fatalf("announced %v, want ec-high", n.announced)
	}
	// (2.0 − 1.6) ÷ (2.0 − 0.4) = 25 %.
	if !strings.Contains(n.announced[0].Text, "dump 25 %, 575 L, and top up with water of 0.40 mS/cm") {
		t.Errorf("text %q, want the share to dump", n.announced[0].Text)
	}
}

func TestWornTubeIsTomorrowsWork(t *testing.T) {
	n := newAlarmNight()
	s := goodSituation()
	s.LnBuffer = 0.45
	n.situation = &s
	n.pass(time.Hour)
	s.LnBuffer = 0.35 // wavers
	n.pass(time.Hour)
	if len(n.announced) != 1 || n.announced[0].Cause != safety.CauseBufferScale || n.announced[0].Priority != safety.PriorityTomorrow {
		t.Fatalf("announced %v, want buffer-scale, tomorrow, once", n.announced)
	}
	s.LnBuffer, s.Answered = 0, 0 // service entered
	n.pass(5 * time.Minute)
	if n.state(safety.CauseBufferScale) != ReturnedUnacknowledged {
		t.Errorf("state %s after service", n.state(safety.CauseBufferScale))
	}
}

// A buffer that nobody measured may be twice what was commissioned: that is learned on
// the first day and calls nobody. That doses later do less than they did does.
func TestABufferThatWasOnlyCommissionedCallsNobodyUntilItChanges(t *testing.T) {
	n := newAlarmNight()
	s := goodSituation()
	s.Measured = false
	n.situation = &s
	for _, s.LnBuffer = range []float64{0.2, 0.4, 0.6} {
		n.pass(9 * time.Hour)
	}
	if len(n.announced) != 0 {
		t.Fatalf("announced %v of a buffer told wrong", n.announced)
	}
	s.LnBuffer = 0.9
	n.pass(12 * time.Hour)
	if len(n.announced) != 0 {
		t.Fatalf("announced %v of what hardly changed", n.announced)
	}
	s.LnBuffer = 1.05
	n.pass(2 * time.Hour)
	if len(n.announced) != 1 || n.announced[0].Cause != safety.CauseBufferScale {
		t.Fatalf("announced %v, want buffer-scale: doses do less than they did", n.announced)
	}
	s.LnBuffer, s.Answered = 0, 0 // service entered: another day tells what is usual
	n.pass(10 * time.Minute)
	s.LnBuffer, s.Answered = 0.6, 5
	n.pass(2 * time.Hour)
	if n.state(safety.CauseBufferScale) == Unacknowledged || n.count(safety.CauseBufferScale, Unacknowledged) != 1 {
		t.Errorf("after a service: %s, announced %v", n.state(safety.CauseBufferScale), n.announced)
	}
}

func TestUnlearnedScaleIsNotCalledWorn(t *testing.T) {
	n := newAlarmNight()
	s := goodSituation()
	s.LnBuffer, s.Answered = 0.9, 2
	n.situation = &s
	n.pass(time.Hour)
	if len(n.announced) != 0 {
		t.Errorf("announced %v before three pools were answered", n.announced)
	}
}

func TestDoseWithheldForHoursByWaitsIsAnAlarm(t *testing.T) {
	n := newAlarmNight()
	s := goodSituation()
	s.PH, s.Withheld, s.Mode = 5.95, safety.CauseMixingWait, safety.ModeHolding
	n.situation = &s
	n.pass(3*time.Hour, hold(safety.CauseMixingWait))
	if n.count(safety.CauseDosingBlockedLong, Unacknowledged) != 1 {
		t.Errorf("announced %v, want dosing-blocked-long", n.announced)
	}
}

// raised says whether an alarm stands after so long in one situation.
func raised(c safety.Cause, after time.Duration, change func(*Situation)) bool {
	n := newAlarmNight()
	s := goodSituation()
	change(&s)
	n.situation = &s
	n.pass(after)
	return n.state(c) != Normal
}

func TestAlarmsThatStopNothingComeAtTheirLimitsAndTimes(t *testing.T) {
	const day = 24 * time.Hour
	for what, c := range map[string]struct {
		cause  safety.Cause
		after  time.Duration
		change func(*Situation)
		want   bool
	}{
		"pH 0.19 off":               {safety.CauseOutOfBand, day, func(s *Situation) { s.PH = 5.99 }, false},
		"pH 0.21 off":               {safety.CauseOutOfBand, day, func(s *Situation) { s.PH = 6.01 }, true},
		"pH 0.21 below":             {safety.CauseOutOfBand, day, func(s *Situation) { s.PH = 5.59 }, true},
		"EC 0.09 low":               {safety.CauseOutOfBand, day, func(s *Situation) { s.EC = 1.51 }, false},
		"EC 0.11 low":               {safety.CauseOutOfBand, day, func(s *Situation) { s.EC = 1.49 }, true},
		"for 79 min":                {safety.CauseOutOfBand, 79 * time.Minute, func(s *Situation) { s.PH = 6.2 }, false},
		"for 81 min":                {safety.CauseOutOfBand, 81 * time.Minute, func(s *Situation) { s.PH = 6.2 }, true},
		"EC 0.09 high":              {safety.CauseECHigh, day, func(s *Situation) { s.EC, s.SettledEC = 1.69, 1.69 }, false},
		"EC 0.11 high":              {safety.CauseECHigh, day, func(s *Situation) { s.EC, s.SettledEC = 1.71, 1.71 }, true},
		"EC high for now":           {safety.CauseECHigh, day, func(s *Situation) { s.EC, s.SettledEC = 1.8, 1.6 }, false},
		"EC that will be high":      {safety.CauseECHigh, day, func(s *Situation) { s.EC, s.SettledEC = 1.6, 1.8 }, false},
		"doses do 68 %":             {safety.CauseBufferScale, day, func(s *Situation) { s.LnBuffer = 0.39 }, false},
		"doses do 66 %":             {safety.CauseBufferScale, day, func(s *Situation) { s.LnBuffer = 0.41 }, true},
		"all do a little more":      {safety.CauseBufferScale, day, func(s *Situation) { s.LnBuffer, s.ECGain = -0.39, 1.4 }, false},
		"all do more":               {safety.CauseBufferScale, day, func(s *Situation) { s.LnBuffer, s.ECGain = -0.41, 1.31 }, true},
		"acid does more, stock not": {safety.CauseBufferScale, day, func(s *Situation) { s.LnBuffer, s.ECGain = -0.6, 1.29 }, false},
		"after two answers":         {safety.CauseBufferScale, day, func(s *Situation) { s.LnBuffer, s.Answered = 0.6, 2 }, false},
		"after three":               {safety.CauseBufferScale, day, func(s *Situation) { s.LnBuffer, s.Answered = 0.6, 3 }, true},
		"withheld for 119 min":      {safety.CauseDosingBlockedLong, 119 * time.Minute, func(s *Situation) { s.Withheld = safety.CauseMixingWait }, false},
		"withheld for 121 min":      {safety.CauseDosingBlockedLong, 121 * time.Minute, func(s *Situation) { s.Withheld = safety.CauseMixingWait }, true},
		"withheld while observing":  {safety.CauseDosingBlockedLong, day, func(s *Situation) { s.Withheld, s.Mode = safety.CauseMixingWait, safety.ModeObserving }, false},
		"nothing is known":          {safety.CauseOutOfBand, day, func(s *Situation) { s.PH, s.Known = 7, false }, false},
	} {
		if got := raised(c.cause, c.after, c.change); got != c.want {
			t.Errorf("%s: %s stands: %v", what, c.cause, got)
		}
	}
}

func TestAnErrorThatShrinksByATenthInHalfAnHourIsOnItsWay(t *testing.T) {
	for step, alarmed := range map[float64]bool{0.95: true, 0.85: false} {
		n := newAlarmNight()
		s := goodSituation()
		n.situation = &s
		for off := 0.8; off > 0.3; off *= step {
			s.PH = 5.8 + off
			n.pass(30 * time.Minute)
		}
		if got := n.count(safety.CauseOutOfBand, Unacknowledged) > 0; got != alarmed {
			t.Errorf("each half hour %g of the last: told %v", step, got)
		}
	}
}

func TestAScaleThatWaversAtItsLimitIsOneAlarm(t *testing.T) {
	n := newAlarmNight()
	s := goodSituation()
	n.situation = &s
	s.LnBuffer = 0.41
	n.pass(time.Hour)
	s.LnBuffer = 0.31
	n.pass(time.Hour)
	if n.state(safety.CauseBufferScale) != Unacknowledged {
		t.Errorf("%s though it only wavers", n.state(safety.CauseBufferScale))
	}
	s.LnBuffer = 0.29
	n.pass(time.Hour)
	if n.state(safety.CauseBufferScale) == Unacknowledged {
		t.Error("it stands though doses work again")
	}
}
