package alarm

import (
	"slices"
	"strings"
	"testing"
	"time"

	"leat/dosing"
	"leat/safety"
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
	return &alarmNight{alarms: New(1), warn: NotInSight, harm: NotInSight}
}

func (n *alarmNight) pass(d time.Duration, trips ...safety.Trip) {
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

func (n *alarmNight) state(c safety.Cause) State {
	for _, a := range n.alarms.Active(0, n.warn, n.harm) {
		if a.Cause == c {
			return a.State
		}
	}
	return Normal
}

func (n *alarmNight) count(c safety.Cause, s State) int {
	count := 0
	for _, a := range n.announced {
		if a.Cause == c && a.State == s {
			count++
		}
	}
	return count
}

func hold(c safety.Cause) safety.Trip {
	return safety.Trip{Cause: c, Action: safety.Of(c).Action, Scope: safety.Of(c).Scope}
}

func latched(c safety.Cause) safety.Trip {
	return safety.Trip{Cause: c, Action: safety.Stop, Scope: safety.Of(c).Scope, Latched: true}
}

func TestShortHoldCallsNobody(t *testing.T) {
	n := newAlarmNight()
	n.pass(50*time.Second, hold(safety.CausePHStale))
	n.pass(10 * time.Minute)
	if len(n.announced) != 0 {
		t.Errorf("announced %v; a reading that was late by 50 s is nobody's work", n.announced)
	}
}

func TestLastingHoldIsAnnouncedOnceWithWordsOfTheTable(t *testing.T) {
	n := newAlarmNight()
	n.pass(20*time.Minute, safety.Trip{Cause: safety.CausePHStale, Action: safety.Hold, Detail: "6 min old"})
	if len(n.announced) != 1 {
		t.Fatalf("announced %v, want one alarm", n.announced)
	}
	a := n.announced[0]
	row := safety.Of(safety.CausePHStale)
	if a.State != Unacknowledged || a.Priority != row.Priority || a.Text != row.Text+" (6 min old)" || a.Advice != row.Advice {
		t.Errorf("announced %+v, want the words and the priority of %+v", a, row)
	}
}

func TestChatterIsOneAlarm(t *testing.T) {
	n := newAlarmNight()
	for range 20 {
		n.pass(70*time.Second, hold(safety.CausePHStale))
		n.pass(20 * time.Second)
	}
	if got := n.count(safety.CausePHStale, Unacknowledged); got != 1 {
		t.Errorf("announced %d times in 30 min of chatter, want once", got)
	}
}

func TestSameTroubleWithinTenMinutesIsNotAnnouncedAgain(t *testing.T) {
	n := newAlarmNight()
	n.pass(2*time.Minute, hold(safety.CausePHStale))
	n.pass(2 * time.Minute)
	if n.state(safety.CausePHStale) != ReturnedUnacknowledged {
		t.Fatalf("state %s, want returned-unacknowledged", n.state(safety.CausePHStale))
	}
	n.pass(2*time.Minute, hold(safety.CausePHStale))
	if n.state(safety.CausePHStale) != Unacknowledged || n.count(safety.CausePHStale, Unacknowledged) != 1 {
		t.Errorf("state %s after %d announcements, want it to stand after one", n.state(safety.CausePHStale), n.count(safety.CausePHStale, Unacknowledged))
	}
}

func TestOneRootNotItsTenConsequences(t *testing.T) {
	n := newAlarmNight()
	all := []safety.Trip{hold(safety.CauseBrokerDisconnected)}
	for _, c := range roots[safety.CauseBrokerDisconnected] {
		all = append(all, hold(c))
	}
	n.pass(30*time.Minute, all...)
	if len(n.announced) != 1 || n.announced[0].Cause != safety.CauseBrokerDisconnected {
		t.Errorf("announced %v, want the broker only", n.announced)
	}
	// The readings come back a little later than the link.
	n.pass(40*time.Second, all[1:]...)
	n.pass(time.Minute)
	if len(n.announced) != 2 || n.announced[1].State != ReturnedUnacknowledged {
		t.Errorf("announced %v, want nothing but the broker's return", n.announced)
	}
}

func TestWhatWasPositivelySeenIsNotExplainedAway(t *testing.T) {
	n := newAlarmNight()
	n.pass(time.Minute, hold(safety.CauseBrokerDisconnected), latched(safety.CauseLeak))
	if n.count(safety.CauseLeak, Unacknowledged) != 1 || n.announced[0].Priority != safety.PriorityNow {
		t.Errorf("announced %v, want the leak, now", n.announced)
	}
}

func TestBriefWaitsAreSuppressedByDesign(t *testing.T) {
	n := newAlarmNight()
	var waits []safety.Trip
	for _, c := range []safety.Cause{safety.CauseMixingWait, safety.CauseDoseOpen, safety.CauseIncompatibleWait, safety.CauseAcidBaseChangeover, safety.CauseInTransitCap, safety.CauseFlood, safety.CauseStarting, safety.CauseObserving} {
		waits = append(waits, hold(c))
	}
	n.pass(time.Hour, waits...)
	if len(n.announced) != 0 || len(n.alarms.Active(0, n.warn, n.harm)) != 0 {
		t.Errorf("announced %v, active %v; waits are part of the work", n.announced, n.alarms.Active(0, n.warn, n.harm))
	}
}

func TestHoldRisesOnceAsHarmComesNearer(t *testing.T) {
	n := newAlarmNight()
	n.harm = 10 * time.Hour
	n.pass(5*time.Minute, hold(safety.CauseTemperatureInvalid))
	n.alarms.Acknowledge(0, safety.CauseTemperatureInvalid)
	n.harm = 5 * time.Hour
	n.pass(5*time.Minute, hold(safety.CauseTemperatureInvalid))
	n.harm = 7 * time.Hour // the forecast wavers
	n.pass(5*time.Minute, hold(safety.CauseTemperatureInvalid))
	n.harm = 5 * time.Hour
	n.pass(5*time.Minute, hold(safety.CauseTemperatureInvalid))
	n.harm = 30 * time.Minute
	n.pass(5*time.Minute, hold(safety.CauseTemperatureInvalid))
	var got []safety.Priority
	for _, a := range n.announced {
		got = append(got, a.Priority)
	}
	if want := []safety.Priority{safety.PriorityTomorrow, safety.PriorityTonight, safety.PriorityNow}; !slices.Equal(got, want) {
		t.Errorf("priorities announced %v, want %v", got, want)
	}
	if last := n.announced[len(n.announced)-1]; last.State != Unacknowledged || !strings.Contains(last.Text, "harm band in 30 min") {
		t.Errorf("announced %+v, want it unacknowledged with the forecast", last)
	}
}

func TestForecastThatOnlyFlickersDoesNotRaise(t *testing.T) {
	n := newAlarmNight()
	n.pass(5*time.Minute, hold(safety.CauseTemperatureInvalid))
	for range 20 {
		n.harm = 0
		n.pass(5*time.Second, hold(safety.CauseTemperatureInvalid))
		n.harm = NotInSight
		n.pass(5*time.Second, hold(safety.CauseTemperatureInvalid))
	}
	if len(n.announced) != 1 {
		t.Errorf("announced %v, want one", n.announced)
	}
}

func TestAcknowledgedLatchedAlarmStandsUntilCleared(t *testing.T) {
	n := newAlarmNight()
	n.pass(time.Minute, latched(safety.CauseNoResponse))
	if n.alarms.Acknowledge(0, safety.CauseNoResponse) != Unacknowledged {
		t.Fatal("no alarm to acknowledge")
	}
	n.pass(time.Hour, latched(safety.CauseNoResponse))
	if n.state(safety.CauseNoResponse) != Latched {
		t.Errorf("state %s, want latched", n.state(safety.CauseNoResponse))
	}
	n.pass(2 * time.Minute)
	if n.state(safety.CauseNoResponse) != Normal {
		t.Errorf("state %s after clearing, want normal", n.state(safety.CauseNoResponse))
	}
}

func TestShelvedAlarmIsQuietForItsTimeAndComesBack(t *testing.T) {
	n := newAlarmNight()
	n.pass(5*time.Minute, hold(safety.CauseECStale))
	if !n.alarms.Shelve(n.now, 0, safety.CauseECStale, time.Hour) {
		t.Fatal("no alarm to shelve")
	}
	n.pass(50*time.Minute, hold(safety.CauseECStale))
	if n.state(safety.CauseECStale) != Shelved || len(n.announced) != 1 {
		t.Fatalf("state %s, announced %v; want it shelved", n.state(safety.CauseECStale), n.announced)
	}
	n.pass(15*time.Minute, hold(safety.CauseECStale))
	if n.state(safety.CauseECStale) != Unacknowledged || len(n.announced) != 2 {
		t.Errorf("state %s, announced %v; want it back", n.state(safety.CauseECStale), n.announced)
	}
}

func TestShelvingDoesNotHideHarm(t *testing.T) {
	n := newAlarmNight()
	n.pass(5*time.Minute, hold(safety.CauseECStale))
	n.alarms.Shelve(n.now, 0, safety.CauseECStale, 8*time.Hour)
	n.harm = 10 * time.Minute
	n.pass(5*time.Minute, hold(safety.CauseECStale))
	if n.state(safety.CauseECStale) != Unacknowledged {
		t.Errorf("state %s with harm in 10 min, want it back", n.state(safety.CauseECStale))
	}
}

func TestForgottenMaintenanceBecomesTonightsWork(t *testing.T) {
	n := newAlarmNight()
	n.pass(29*time.Minute, hold(safety.CauseMaintenance))
	if len(n.announced) != 0 {
		t.Fatalf("announced %v to the person who is at work", n.announced)
	}
	n.pass(5*time.Minute, hold(safety.CauseMaintenance))
	if len(n.announced) != 1 || n.announced[0].Priority != safety.PriorityTonight {
		t.Errorf("announced %v, want tonight after 30 min", n.announced)
	}
}

func TestNothingToAcknowledgeWhereNoAlarmStands(t *testing.T) {
	n := newAlarmNight()
	if n.alarms.Acknowledge(0, safety.CauseLeak) != Normal || n.alarms.Shelve(n.now, 0, safety.CauseLeak, time.Hour) ||
		n.alarms.Acknowledge(9, safety.CauseLeak) != Normal || n.alarms.Acknowledge(0, safety.CauseCount) != Normal {
		t.Error("acknowledged or shelved an alarm that does not stand")
	}
}

func TestStandingAlarmsAllocateNothing(t *testing.T) {
	n := newAlarmNight()
	s := goodSituation()
	s.LnBuffer = 0.6
	n.situation = &s
	trips := []safety.Trip{hold(safety.CausePHStale), latched(safety.CauseNoResponse), hold(safety.CauseMixingWait)}
	n.pass(30*time.Minute, trips...)
	if got := testing.AllocsPerRun(100, func() {
		n.now = n.now.Add(time.Second)
		n.alarms.Observe(0, &s)
		n.alarms.Update(n.now, 0, trips, n.warn, n.harm)
	}); got != 0 {
		t.Errorf("%v allocations per update, want none", got)
	}
}

func TestAnAlarmIsAcknowledgedOnce(t *testing.T) {
	n := newAlarmNight()
	n.pass(time.Minute, latched(safety.CauseNoResponse))
	if was := n.alarms.Acknowledge(0, safety.CauseNoResponse); was != Unacknowledged {
		t.Fatalf("it was %s", was)
	}
	for range 10 {
		if was := n.alarms.Acknowledge(0, safety.CauseNoResponse); was != Latched {
			t.Fatalf("acknowledged once more, as if it had been %s", was)
		}
	}
}

func TestAPastAlarmIsToldAsPast(t *testing.T) {
	n := newAlarmNight()
	n.harm = 45 * time.Minute
	n.pass(14*time.Minute, hold(safety.CauseCirculationOff))
	n.pass(time.Minute)
	all := n.alarms.Active(0, n.warn, n.harm)
	if want := "Over after 14 min. It was: " + safety.Of(safety.CauseCirculationOff).Text; len(all) != 1 || all[0].Text != want || !strings.Contains(all[0].Advice, "if it comes again") {
		t.Errorf("it reads %+v, want %q", all, want)
	}
	if last := n.announced[len(n.announced)-1]; !strings.HasPrefix(last.Text, "Over after 14 min.") {
		t.Errorf("its end is announced as %q", last.Text)
	}
}

func TestTheForecastInAnAlarmIsThatOfTheMomentInWhichItIsShown(t *testing.T) {
	n := newAlarmNight()
	n.harm = 45 * time.Minute
	n.pass(5*time.Minute, hold(safety.CauseCirculationOff))
	for _, c := range []struct {
		left time.Duration
		want string
	}{{45 * time.Minute, "leaves its harm band in 45 min"}, {5 * time.Minute, "leaves its harm band in 5 min"}, {0, "is outside its harm band"}} {
		n.harm = c.left
		n.pass(time.Second, hold(safety.CauseCirculationOff))
		if all := n.alarms.Active(0, n.warn, n.harm); len(all) != 1 || !strings.Contains(all[0].Text, c.want) {
			t.Errorf("with %v to go it reads %+v", c.left, all)
		}
	}
}

func TestFiguresOfAStandingAlarmAreOfNow(t *testing.T) {
	n := newAlarmNight()
	s := goodSituation()
	s.PH = 6.4
	n.situation = &s
	n.pass(3 * time.Hour)
	s.PH = 6.9
	n.pass(2 * time.Minute)
	if all := n.alarms.Active(0, n.warn, n.harm); len(all) != 1 || all[0].Cause != safety.CauseOutOfBand || !strings.Contains(all[0].Text, "pH 6.90") {
		t.Errorf("at pH 6.90 it reads %+v", all)
	}
}

func TestWhatAPersonDoesOnPurposeRaisesNoAlarm(t *testing.T) {
	for _, c := range []safety.Cause{safety.CauseOperatorPause, safety.CauseOperatorStop, safety.CauseCleaning} {
		n := newAlarmNight()
		n.harm = 10 * time.Minute
		n.pass(90*time.Minute, hold(c))
		if len(n.announced) != 0 {
			t.Errorf("%s: a person is told of what a person did: %+v", c, n.announced)
		}
	}
	n := newAlarmNight()
	n.harm = 7 * time.Hour
	n.pass(29*time.Minute, latched(safety.CauseStopInput))
	if len(n.announced) != 0 {
		t.Errorf("the stop is pressed: %+v", n.announced)
	}
	n.pass(2*time.Minute, latched(safety.CauseStopInput))
	if len(n.announced) != 1 || n.announced[0].Priority != safety.PriorityTonight {
		t.Errorf("the stop is pressed for half an hour: %+v, want tonight's work", n.announced)
	}
}

func TestAStopContactThatDoesNotAnswerIsNobodysPurpose(t *testing.T) {
	n := newAlarmNight()
	n.pass(2*time.Minute, safety.Trip{Cause: safety.CauseStopInput, Action: safety.Hold, Detail: "the sensor does not answer"})
	if len(n.announced) != 1 {
		t.Errorf("announced %+v", n.announced)
	}
}

func TestAcknowledgedTroubleThatComesBackWithinTenMinutesCallsNobodyTwice(t *testing.T) {
	n := newAlarmNight()
	n.pass(2*time.Minute, hold(safety.CausePHStale))
	n.alarms.Acknowledge(0, safety.CausePHStale)
	n.pass(6 * time.Minute)
	n.pass(2*time.Minute, hold(safety.CausePHStale)) // told a minute after the start, it stands again eight minutes later
	if got := n.count(safety.CausePHStale, Unacknowledged); got != 1 || n.state(safety.CausePHStale) != Acknowledged {
		t.Errorf("told %d times, and it is %s; want once, and known", got, n.state(safety.CausePHStale))
	}
	n.pass(11 * time.Minute)
	n.pass(2*time.Minute, hold(safety.CausePHStale))
	if got := n.count(safety.CausePHStale, Unacknowledged); got != 2 {
		t.Errorf("told %d times; after a quiet time it is a new trouble", got)
	}
}

func TestAnAlarmReturnsHalfAMinuteAfterItsCauseWent(t *testing.T) {
	n := newAlarmNight()
	n.pass(2*time.Minute, hold(safety.CausePHStale))
	n.pass(25 * time.Second)
	if got := n.state(safety.CausePHStale); got != Unacknowledged {
		t.Errorf("%s after 25 s, want it to stand", got)
	}
	n.pass(10 * time.Second)
	if got := n.state(safety.CausePHStale); got != ReturnedUnacknowledged {
		t.Errorf("%s after 35 s, want returned", got)
	}
}

func TestWhatStaysAfterItsRootHasGoneIsToldAMinuteLater(t *testing.T) {
	n := newAlarmNight()
	n.pass(10*time.Minute, hold(safety.CauseBrokerDisconnected), hold(safety.CausePHStale))
	n.pass(55*time.Second, hold(safety.CausePHStale))
	if n.count(safety.CausePHStale, Unacknowledged) != 0 {
		t.Errorf("told %v; readings need a minute to come back after the link", n.announced)
	}
	n.pass(15*time.Second, hold(safety.CausePHStale))
	if n.count(safety.CausePHStale, Unacknowledged) != 1 {
		t.Errorf("told %v; the link is back for more than a minute, and pH is not", n.announced)
	}
}

func TestAnAlarmThatNobodyAcknowledgesForADayBecomesOneStepMoreUrgentAndNoMore(t *testing.T) {
	for _, c := range []struct {
		cause       safety.Cause
		first, then safety.Priority
		told        int
	}{
		{safety.CauseTemperatureInvalid, safety.PriorityTomorrow, safety.PriorityTonight, 2},
		{safety.CausePHStale, safety.PriorityTonight, safety.PriorityTonight, 1},
	} {
		n := newAlarmNight()
		n.pass(24*time.Hour, hold(c.cause))
		if len(n.announced) != 1 || n.announced[0].Priority != c.first {
			t.Errorf("%s in its first day: %+v", c.cause, n.announced)
		}
		n.pass(26*time.Hour, hold(c.cause))
		if last := n.announced[len(n.announced)-1]; len(n.announced) != c.told || last.Priority != c.then {
			t.Errorf("%s after two days: told %d times, at last %s; want %d and %s", c.cause, len(n.announced), last.Priority, c.told, c.then)
		}
	}
	n := newAlarmNight()
	n.pass(time.Hour, latched(safety.CauseNodeRebooted))
	n.pass(25*time.Hour, latched(safety.CauseNodeRebooted))
	if len(n.announced) != 1 || n.announced[0].Priority != safety.PriorityLog {
		t.Errorf("what is for the record only: %+v", n.announced)
	}
}

func TestAnAlarmThatCameAndWentClosesByItselfAfterADay(t *testing.T) {
	n := newAlarmNight()
	n.pass(2*time.Minute, hold(safety.CausePHStale))
	n.pass(23*time.Hour + 50*time.Minute)
	if got := n.state(safety.CausePHStale); got != ReturnedUnacknowledged {
		t.Errorf("within a day it is %s", got)
	}
	n.pass(20 * time.Minute)
	if got := n.state(safety.CausePHStale); got != Normal {
		t.Errorf("after a day it is %s", got)
	}
}

func TestTheSameTroubleAfterMoreThanTenMinutesIsToldAgainThoughNobodyAcknowledgedTheFirst(t *testing.T) {
	n := newAlarmNight()
	n.pass(2*time.Minute, hold(safety.CausePHStale))
	n.pass(9 * time.Minute)
	n.pass(2*time.Minute, hold(safety.CausePHStale))
	if got := n.count(safety.CausePHStale, Unacknowledged); got != 1 {
		t.Errorf("told %d times within ten minutes", got)
	}
	n.pass(11 * time.Minute)
	n.pass(2*time.Minute, hold(safety.CausePHStale))
	if got := n.count(safety.CausePHStale, Unacknowledged); got != 2 {
		t.Errorf("told %d times; eleven quiet minutes lie between", got)
	}
}

func TestAForgottenStopOrMaintenanceCallsAtOnceWhenHarmIsNear(t *testing.T) {
	for _, trip := range []safety.Trip{hold(safety.CauseMaintenance), latched(safety.CauseStopInput)} {
		n := newAlarmNight()
		n.harm = 30 * time.Minute
		n.pass(32*time.Minute, trip)
		if len(n.announced) == 0 || n.announced[len(n.announced)-1].Priority != safety.PriorityNow {
			t.Errorf("%s for half an hour, harm in another: %+v, want now", trip.Cause, n.announced)
		}
	}
}

func TestHarmMustBeNearForAMinuteBeforeAnAlarmRises(t *testing.T) {
	n := newAlarmNight()
	n.pass(5*time.Minute, hold(safety.CauseTemperatureInvalid))
	n.harm = 30 * time.Minute
	n.pass(60*time.Second, hold(safety.CauseTemperatureInvalid))
	if len(n.announced) != 1 {
		t.Errorf("told %v within the minute", n.announced)
	}
	n.pass(time.Second, hold(safety.CauseTemperatureInvalid))
	if len(n.announced) != 2 || n.announced[1].Priority != safety.PriorityNow {
		t.Errorf("told %v when the minute is over", n.announced)
	}
}

func TestAShelvedAlarmThatIsNowAlreadyStaysQuiet(t *testing.T) {
	n := newAlarmNight()
	n.pass(time.Minute, latched(safety.CauseLeak))
	n.alarms.Shelve(n.now, 0, safety.CauseLeak, time.Hour)
	n.pass(50*time.Minute, latched(safety.CauseLeak))
	if n.state(safety.CauseLeak) != Shelved || len(n.announced) != 1 {
		t.Errorf("%s, told %v: who shelved it knows that it is urgent", n.state(safety.CauseLeak), n.announced)
	}
	n.pass(5 * time.Minute)
	n.pass(10 * time.Minute)
	if n.state(safety.CauseLeak) != Normal {
		t.Errorf("%s though it is gone and its time is over", n.state(safety.CauseLeak))
	}
}

func TestTheMostUrgentAlarmStandsFirstAndAmongEqualsTheOneThatCameFirst(t *testing.T) {
	n := newAlarmNight()
	n.pass(2*time.Minute, hold(safety.CauseTemperatureInvalid))
	n.pass(2*time.Minute, hold(safety.CauseTemperatureInvalid), hold(safety.CauseLevelUnknown))
	n.pass(2*time.Minute, hold(safety.CauseTemperatureInvalid), hold(safety.CauseLevelUnknown), hold(safety.CausePHStale), latched(safety.CauseLeak))
	var got []safety.Cause
	for _, a := range n.alarms.Active(0, n.warn, n.harm) {
		got = append(got, a.Cause)
	}
	if want := []safety.Cause{safety.CauseLeak, safety.CauseLevelUnknown, safety.CausePHStale, safety.CauseTemperatureInvalid}; !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
}

func TestAnAlarmIsToldAndReturnsToTheSecond(t *testing.T) {
	n := newAlarmNight()
	n.pass(60*time.Second, hold(safety.CausePHStale)) // seen first after one of them
	if len(n.announced) != 0 {
		t.Errorf("told %v after 59 s of a delay of a minute", n.announced)
	}
	n.pass(time.Second, hold(safety.CausePHStale))
	if len(n.announced) != 1 {
		t.Errorf("told %v when the minute is over", n.announced)
	}
	n.pass(30 * time.Second)
	if got := n.state(safety.CausePHStale); got != Unacknowledged {
		t.Errorf("%s after 29 s without its cause", got)
	}
	n.pass(time.Second)
	if got := n.state(safety.CausePHStale); got != ReturnedUnacknowledged {
		t.Errorf("%s after 30 s", got)
	}
}
