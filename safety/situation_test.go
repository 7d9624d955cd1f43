package safety

import (
	"strings"
	"testing"
	"time"

	"leat/dosing"
)

func goodSituation() Situation {
	return Situation{Known: true, Mode: ModeArmed, PH: 5.8, EC: 1.6, SettledEC: 1.6, Target: dosing.Target{PH: 5.8, EC: 1.6}, TopUpEC: 0.4,
		MixingTime: 10 * time.Minute, Answered: 5}
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
	if n.count(CauseOutOfBand, AlarmUnacknowledged) != 1 || n.announced[0].Priority != PriorityTomorrow {
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
		n.pass(15*time.Minute, hold(CauseHourCap))
	}
	for _, a := range n.announced {
		if a.Cause != CauseHourCap || a.Priority != PriorityTomorrow {
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
	if n.count(CauseOutOfBand, AlarmUnacknowledged) == 0 || n.announced[len(n.announced)-1].Priority != PriorityNow {
		t.Errorf("announced %v, want out-of-band, now", n.announced)
	}
}

func TestObservedTankWakesNobodyForItsPH(t *testing.T) {
	n := newAlarmNight()
	s := goodSituation()
	s.PH, s.Mode = 6.6, ModeObserving
	n.situation = &s
	n.pass(8*time.Hour, hold(CauseObserving))
	for _, a := range n.announced {
		if a.Priority < PriorityTomorrow {
			t.Errorf("announced %+v for a tank that a person doses", a)
		}
	}
}

func TestOutOfBandIsAConsequenceOfAHold(t *testing.T) {
	n := newAlarmNight()
	s := goodSituation()
	s.PH, s.Withheld = 6.2, CausePHUnfit
	n.situation = &s
	n.pass(6*time.Hour, hold(CausePHUnfit))
	if n.count(CauseOutOfBand, AlarmUnacknowledged) != 0 || n.count(CauseWithheldLong, AlarmUnacknowledged) != 0 || n.count(CausePHUnfit, AlarmUnacknowledged) != 1 {
		t.Errorf("announced %v, want the unfit probe only", n.announced)
	}
}

func TestECAboveBandSaysHowMuchToDump(t *testing.T) {
	n := newAlarmNight()
	s := goodSituation()
	s.EC, s.SettledEC = 2.0, 2.0
	n.situation = &s
	n.pass(time.Hour)
	if len(n.announced) != 1 || n.announced[0].Cause != CauseECHigh {
		t.Fatalf("announced %v, want ec-high", n.announced)
	}
	// (2.0 − 1.6) ÷ (2.0 − 0.4) = 25 %.
	if !strings.Contains(n.announced[0].Text, "dump 25 % and top up with water of 0.40 mS/cm") {
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
	if len(n.announced) != 1 || n.announced[0].Cause != CauseBufferScale || n.announced[0].Priority != PriorityTomorrow {
		t.Fatalf("announced %v, want buffer-scale, tomorrow, once", n.announced)
	}
	s.LnBuffer, s.Answered = 0, 0 // service entered
	n.pass(5 * time.Minute)
	if n.state(CauseBufferScale) != AlarmReturnedUnacknowledged {
		t.Errorf("state %s after service", n.state(CauseBufferScale))
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
	s.PH, s.Withheld, s.Mode = 5.95, CauseMixingWait, ModeHolding
	n.situation = &s
	n.pass(3*time.Hour, hold(CauseMixingWait))
	if n.count(CauseWithheldLong, AlarmUnacknowledged) != 1 {
		t.Errorf("announced %v, want withheld-long", n.announced)
	}
}
