package safety

import (
	"slices"
	"strings"
	"testing"
	"time"

	"leat/dosing"
)

// night lets seconds pass over one tank's alarms and keeps what was announced.
type alarmNight struct {
	alarms    *Alarms
	now       dosing.Instant
	warn      time.Duration
	harm      time.Duration
	announced []Alarm
	situation *Situation
}

func newAlarmNight() *alarmNight {
	return &alarmNight{alarms: NewAlarms(1), warn: NotInSight, harm: NotInSight}
}

func (n *alarmNight) pass(d time.Duration, trips ...Trip) {
	for end := n.now.Up + d; n.now.Up < end; {
		n.now = n.now.Add(time.Second)
		if n.situation != nil {
			n.alarms.Observe(0, n.situation)
		}
		for _, c := range n.alarms.Update(n.now, 0, trips, n.warn, n.harm) {
			n.announced = append(n.announced, c.Alarm)
		}
	}
}

func (n *alarmNight) state(c Cause) AlarmState {
	for _, a := range n.alarms.Active(0) {
		if a.Cause == c {
			return a.State
		}
	}
	return AlarmNormal
}

func (n *alarmNight) count(c Cause, s AlarmState) int {
	count := 0
	for _, a := range n.announced {
		if a.Cause == c && a.State == s {
			count++
		}
	}
	return count
}

func hold(c Cause) Trip {
	return Trip{Cause: c, Action: Of(c).Action, Scope: Of(c).Scope}
}

func latched(c Cause) Trip {
	return Trip{Cause: c, Action: Stop, Scope: Of(c).Scope, Latched: true}
}

func TestShortHoldCallsNobody(t *testing.T) {
	n := newAlarmNight()
	n.pass(50*time.Second, hold(CausePHStale))
	n.pass(10 * time.Minute)
	if len(n.announced) != 0 {
		t.Errorf("announced %v; a reading that was late by 50 s is nobody's work", n.announced)
	}
}

func TestLastingHoldIsAnnouncedOnceWithWordsOfTheTable(t *testing.T) {
	n := newAlarmNight()
	n.pass(20*time.Minute, Trip{Cause: CausePHStale, Action: Hold, Detail: "6 min old"})
	if len(n.announced) != 1 {
		t.Fatalf("announced %v, want one alarm", n.announced)
	}
	a := n.announced[0]
	row := Of(CausePHStale)
	if a.State != AlarmUnacknowledged || a.Priority != row.Priority || a.Text != row.Text+" (6 min old)" || a.Advice != row.Advice {
		t.Errorf("announced %+v, want the words and the priority of %+v", a, row)
	}
}

func TestChatterIsOneAlarm(t *testing.T) {
	n := newAlarmNight()
	for range 20 {
		n.pass(70*time.Second, hold(CausePHStale))
		n.pass(20 * time.Second)
	}
	if got := n.count(CausePHStale, AlarmUnacknowledged); got != 1 {
		t.Errorf("announced %d times in 30 min of chatter, want once", got)
	}
}

func TestSameTroubleWithinTenMinutesIsNotAnnouncedAgain(t *testing.T) {
	n := newAlarmNight()
	n.pass(2*time.Minute, hold(CausePHStale))
	n.pass(2 * time.Minute)
	if n.state(CausePHStale) != AlarmReturnedUnacknowledged {
		t.Fatalf("state %s, want returned-unacknowledged", n.state(CausePHStale))
	}
	n.pass(2*time.Minute, hold(CausePHStale))
	if n.state(CausePHStale) != AlarmUnacknowledged || n.count(CausePHStale, AlarmUnacknowledged) != 1 {
		t.Errorf("state %s after %d announcements, want it to stand after one", n.state(CausePHStale), n.count(CausePHStale, AlarmUnacknowledged))
	}
}

func TestOneRootNotItsTenConsequences(t *testing.T) {
	n := newAlarmNight()
	all := []Trip{hold(CauseBrokerDown)}
	for _, c := range roots[CauseBrokerDown] {
		all = append(all, hold(c))
	}
	n.pass(30*time.Minute, all...)
	if len(n.announced) != 1 || n.announced[0].Cause != CauseBrokerDown {
		t.Errorf("announced %v, want the broker only", n.announced)
	}
	// The readings come back a little later than the link.
	n.pass(40*time.Second, all[1:]...)
	n.pass(time.Minute)
	if len(n.announced) != 2 || n.announced[1].State != AlarmReturnedUnacknowledged {
		t.Errorf("announced %v, want nothing but the broker's return", n.announced)
	}
}

func TestWhatWasPositivelySeenIsNotExplainedAway(t *testing.T) {
	n := newAlarmNight()
	n.pass(time.Minute, hold(CauseBrokerDown), latched(CauseLeak))
	if n.count(CauseLeak, AlarmUnacknowledged) != 1 || n.announced[0].Priority != PriorityNow {
		t.Errorf("announced %v, want the leak, now", n.announced)
	}
}

func TestBriefWaitsAreSuppressedByDesign(t *testing.T) {
	n := newAlarmNight()
	var waits []Trip
	for _, c := range []Cause{CauseMixingWait, CauseDoseOpen, CauseIncompatibleWait, CauseCounterReagent, CauseInTransitCap, CauseFlood, CauseStarting, CauseObserving} {
		waits = append(waits, hold(c))
	}
	n.pass(time.Hour, waits...)
	if len(n.announced) != 0 || len(n.alarms.Active(0)) != 0 {
		t.Errorf("announced %v, active %v; waits are part of the work", n.announced, n.alarms.Active(0))
	}
}

func TestHoldRisesOnceAsHarmComesNearer(t *testing.T) {
	n := newAlarmNight()
	n.harm = 10 * time.Hour
	n.pass(5*time.Minute, hold(CauseTemperatureUnfit))
	n.alarms.Acknowledge(n.now, 0, CauseTemperatureUnfit)
	n.harm = 5 * time.Hour
	n.pass(5*time.Minute, hold(CauseTemperatureUnfit))
	n.harm = 7 * time.Hour // the forecast wavers
	n.pass(5*time.Minute, hold(CauseTemperatureUnfit))
	n.harm = 5 * time.Hour
	n.pass(5*time.Minute, hold(CauseTemperatureUnfit))
	n.harm = 30 * time.Minute
	n.pass(5*time.Minute, hold(CauseTemperatureUnfit))
	var got []Priority
	for _, a := range n.announced {
		got = append(got, a.Priority)
	}
	if want := []Priority{PriorityTomorrow, PriorityTonight, PriorityNow}; !slices.Equal(got, want) {
		t.Errorf("priorities announced %v, want %v", got, want)
	}
	if last := n.announced[len(n.announced)-1]; last.State != AlarmUnacknowledged || !strings.Contains(last.Text, "harm band in 30 min") {
		t.Errorf("announced %+v, want it unacknowledged with the forecast", last)
	}
}

func TestForecastThatOnlyFlickersDoesNotRaise(t *testing.T) {
	n := newAlarmNight()
	n.pass(5*time.Minute, hold(CauseTemperatureUnfit))
	for range 20 {
		n.harm = 0
		n.pass(5*time.Second, hold(CauseTemperatureUnfit))
		n.harm = NotInSight
		n.pass(5*time.Second, hold(CauseTemperatureUnfit))
	}
	if len(n.announced) != 1 {
		t.Errorf("announced %v, want one", n.announced)
	}
}

func TestAcknowledgedLatchedAlarmStandsUntilCleared(t *testing.T) {
	n := newAlarmNight()
	n.pass(time.Minute, latched(CauseNoResponse))
	if !n.alarms.Acknowledge(n.now, 0, CauseNoResponse) {
		t.Fatal("no alarm to acknowledge")
	}
	n.pass(time.Hour, latched(CauseNoResponse))
	if n.state(CauseNoResponse) != AlarmLatched {
		t.Errorf("state %s, want latched", n.state(CauseNoResponse))
	}
	n.pass(2 * time.Minute)
	if n.state(CauseNoResponse) != AlarmNormal {
		t.Errorf("state %s after clearing, want normal", n.state(CauseNoResponse))
	}
}

func TestShelvedAlarmIsQuietForItsTimeAndComesBack(t *testing.T) {
	n := newAlarmNight()
	n.pass(5*time.Minute, hold(CauseECStale))
	if !n.alarms.Shelve(n.now, 0, CauseECStale, time.Hour) {
		t.Fatal("no alarm to shelve")
	}
	n.pass(50*time.Minute, hold(CauseECStale))
	if n.state(CauseECStale) != AlarmShelved || len(n.announced) != 1 {
		t.Fatalf("state %s, announced %v; want it shelved", n.state(CauseECStale), n.announced)
	}
	n.pass(15*time.Minute, hold(CauseECStale))
	if n.state(CauseECStale) != AlarmUnacknowledged || len(n.announced) != 2 {
		t.Errorf("state %s, announced %v; want it back", n.state(CauseECStale), n.announced)
	}
}

func TestShelvingDoesNotHideHarm(t *testing.T) {
	n := newAlarmNight()
	n.pass(5*time.Minute, hold(CauseECStale))
	n.alarms.Shelve(n.now, 0, CauseECStale, 8*time.Hour)
	n.harm = 10 * time.Minute
	n.pass(5*time.Minute, hold(CauseECStale))
	if n.state(CauseECStale) != AlarmUnacknowledged {
		t.Errorf("state %s with harm in 10 min, want it back", n.state(CauseECStale))
	}
}

func TestForgottenMaintenanceBecomesTonightsWork(t *testing.T) {
	n := newAlarmNight()
	n.pass(29*time.Minute, hold(CauseMaintenance))
	if len(n.announced) != 1 || n.announced[0].Priority != PriorityRecord {
		t.Fatalf("announced %v, want a record", n.announced)
	}
	n.pass(5*time.Minute, hold(CauseMaintenance))
	if last := n.announced[len(n.announced)-1]; last.Priority != PriorityTonight {
		t.Errorf("announced %v, want tonight after 30 min", n.announced)
	}
}

func TestNothingToAcknowledgeWhereNoAlarmStands(t *testing.T) {
	n := newAlarmNight()
	if n.alarms.Acknowledge(n.now, 0, CauseLeak) || n.alarms.Shelve(n.now, 0, CauseLeak, time.Hour) ||
		n.alarms.Acknowledge(n.now, 9, CauseLeak) || n.alarms.Acknowledge(n.now, 0, CauseCount) {
		t.Error("acknowledged or shelved an alarm that does not stand")
	}
}

func TestStandingAlarmsAllocateNothing(t *testing.T) {
	n := newAlarmNight()
	s := goodSituation()
	s.LnBuffer = 0.6
	n.situation = &s
	trips := []Trip{hold(CausePHStale), latched(CauseNoResponse), hold(CauseMixingWait)}
	n.pass(30*time.Minute, trips...)
	if got := testing.AllocsPerRun(100, func() {
		n.now = n.now.Add(time.Second)
		n.alarms.Observe(0, &s)
		n.alarms.Update(n.now, 0, trips, n.warn, n.harm)
	}); got != 0 {
		t.Errorf("%v allocations per update, want none", got)
	}
}
