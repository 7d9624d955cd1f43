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
	for _, a := range n.alarms.Active(0, n.warn, n.harm) {
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
	all := []Trip{hold(CauseBrokerDisconnected)}
	for _, c := range roots[CauseBrokerDisconnected] {
		all = append(all, hold(c))
	}
	n.pass(30*time.Minute, all...)
	if len(n.announced) != 1 || n.announced[0].Cause != CauseBrokerDisconnected {
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
	n.pass(time.Minute, hold(CauseBrokerDisconnected), latched(CauseLeak))
	if n.count(CauseLeak, AlarmUnacknowledged) != 1 || n.announced[0].Priority != PriorityNow {
		t.Errorf("announced %v, want the leak, now", n.announced)
	}
}

func TestBriefWaitsAreSuppressedByDesign(t *testing.T) {
	n := newAlarmNight()
	var waits []Trip
	for _, c := range []Cause{CauseMixingWait, CauseDoseOpen, CauseIncompatibleWait, CauseAcidBaseChangeover, CauseInTransitCap, CauseFlood, CauseStarting, CauseObserving} {
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
	n.pass(5*time.Minute, hold(CauseTemperatureInvalid))
	n.alarms.Acknowledge(0, CauseTemperatureInvalid)
	n.harm = 5 * time.Hour
	n.pass(5*time.Minute, hold(CauseTemperatureInvalid))
	n.harm = 7 * time.Hour // the forecast wavers
	n.pass(5*time.Minute, hold(CauseTemperatureInvalid))
	n.harm = 5 * time.Hour
	n.pass(5*time.Minute, hold(CauseTemperatureInvalid))
	n.harm = 30 * time.Minute
	n.pass(5*time.Minute, hold(CauseTemperatureInvalid))
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
	n.pass(5*time.Minute, hold(CauseTemperatureInvalid))
	for range 20 {
		n.harm = 0
		n.pass(5*time.Second, hold(CauseTemperatureInvalid))
		n.harm = NotInSight
		n.pass(5*time.Second, hold(CauseTemperatureInvalid))
	}
	if len(n.announced) != 1 {
		t.Errorf("announced %v, want one", n.announced)
	}
}

func TestAcknowledgedLatchedAlarmStandsUntilCleared(t *testing.T) {
	n := newAlarmNight()
	n.pass(time.Minute, latched(CauseNoResponse))
	if n.alarms.Acknowledge(0, CauseNoResponse) != AlarmUnacknowledged {
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
	if len(n.announced) != 0 {
		t.Fatalf("announced %v to the person who is at work", n.announced)
	}
	n.pass(5*time.Minute, hold(CauseMaintenance))
	if len(n.announced) != 1 || n.announced[0].Priority != PriorityTonight {
		t.Errorf("announced %v, want tonight after 30 min", n.announced)
	}
}

func TestNothingToAcknowledgeWhereNoAlarmStands(t *testing.T) {
	n := newAlarmNight()
	if n.alarms.Acknowledge(0, CauseLeak) != AlarmNormal || n.alarms.Shelve(n.now, 0, CauseLeak, time.Hour) ||
		n.alarms.Acknowledge(9, CauseLeak) != AlarmNormal || n.alarms.Acknowledge(0, CauseCount) != AlarmNormal {
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

func TestAnAlarmIsAcknowledgedOnce(t *testing.T) {
	n := newAlarmNight()
	n.pass(time.Minute, latched(CauseNoResponse))
	if was := n.alarms.Acknowledge(0, CauseNoResponse); was != AlarmUnacknowledged {
		t.Fatalf("it was %s", was)
	}
	for range 10 {
		if was := n.alarms.Acknowledge(0, CauseNoResponse); was != AlarmLatched {
			t.Fatalf("acknowledged once more, as if it had been %s", was)
		}
	}
}

func TestAPastAlarmIsToldAsPast(t *testing.T) {
	n := newAlarmNight()
	n.harm = 45 * time.Minute
	n.pass(14*time.Minute, hold(CauseCirculationOff))
	n.pass(time.Minute)
	all := n.alarms.Active(0, n.warn, n.harm)
	if want := "Over after 14 min. It was: " + Of(CauseCirculationOff).Text; len(all) != 1 || all[0].Text != want || !strings.Contains(all[0].Advice, "if it comes again") {
		t.Errorf("it reads %+v, want %q", all, want)
	}
	if last := n.announced[len(n.announced)-1]; !strings.HasPrefix(last.Text, "Over after 14 min.") {
		t.Errorf("its end is announced as %q", last.Text)
	}
}

func TestTheForecastInAnAlarmIsThatOfTheMomentInWhichItIsShown(t *testing.T) {
	n := newAlarmNight()
	n.harm = 45 * time.Minute
	n.pass(5*time.Minute, hold(CauseCirculationOff))
	for _, c := range []struct {
		left time.Duration
		want string
	}{{45 * time.Minute, "leaves its harm band in 45 min"}, {5 * time.Minute, "leaves its harm band in 5 min"}, {0, "is outside its harm band"}} {
		n.harm = c.left
		n.pass(time.Second, hold(CauseCirculationOff))
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
	if all := n.alarms.Active(0, n.warn, n.harm); len(all) != 1 || all[0].Cause != CauseOutOfBand || !strings.Contains(all[0].Text, "pH 6.90") {
		t.Errorf("at pH 6.90 it reads %+v", all)
	}
}

func TestWhatAPersonDoesOnPurposeRaisesNoAlarm(t *testing.T) {
	for _, c := range []Cause{CauseOperatorPause, CauseOperatorStop, CauseCleaning} {
		n := newAlarmNight()
		n.harm = 10 * time.Minute
		n.pass(90*time.Minute, hold(c))
		if len(n.announced) != 0 {
			t.Errorf("%s: a person is told of what a person did: %+v", c, n.announced)
		}
	}
	n := newAlarmNight()
	n.harm = 7 * time.Hour
	n.pass(29*time.Minute, latched(CauseStopInput))
	if len(n.announced) != 0 {
		t.Errorf("the stop is pressed: %+v", n.announced)
	}
	n.pass(2*time.Minute, latched(CauseStopInput))
	if len(n.announced) != 1 || n.announced[0].Priority != PriorityTonight {
		t.Errorf("the stop is pressed for half an hour: %+v, want tonight's work", n.announced)
	}
}

func TestAStopContactThatDoesNotAnswerIsNobodysPurpose(t *testing.T) {
	n := newAlarmNight()
	n.pass(2*time.Minute, Trip{Cause: CauseStopInput, Action: Hold, Detail: "the sensor does not answer"})
	if len(n.announced) != 1 {
		t.Errorf("announced %+v", n.announced)
	}
}

// The broker answers, the farm does not: a switch in the cellar has no power.
func TestALostNetworkIsOneAlarmNotOneForEachInput(t *testing.T) {
	f := newFarm(t)
	alarms := NewAlarms(2)
	told := map[Cause]Priority{}
	pass := func(d time.Duration) {
		for end := f.now.Up + d; f.now.Up < end; {
			f.pass(time.Second)
			for tank := range dosing.TankID(2) {
				for _, c := range alarms.Update(f.now, tank, f.w.Trips(tank), NotInSight, NotInSight) {
					if c.State == AlarmUnacknowledged {
						told[c.Cause] = c.Priority
					}
				}
			}
		}
	}
	for i := range f.s.Inputs {
		f.mute[dosing.InputID(i)] = true
	}
	f.node[0].silent, f.node[1].silent = true, true
	pass(time.Hour)
	if p, ok := told[CauseFarmSilent]; len(told) != 1 || !ok || p != PriorityTonight {
		t.Errorf("told of %v, want the network alone, tonight", told)
	}
	f.wantFree(0, "nothing arrives", noneFree)
	clear(f.mute)
	f.node[0].silent, f.node[1].silent = false, false
	pass(10 * time.Minute)
	if len(told) != 1 {
		t.Errorf("after it came back: %v", told)
	}
	f.wantFree(0, "and back", allFree)
}

func TestOneSilentNodeIsNotTheNetwork(t *testing.T) {
	f := newFarm(t)
	f.node[0].silent, f.node[1].silent = true, true
	f.pass(5 * time.Minute)
	if trip, tripped := f.trip(0, CauseFarmSilent); tripped {
		t.Errorf("readings arrive: %+v", trip)
	}
}

func TestAcknowledgedTroubleThatComesBackWithinTenMinutesCallsNobodyTwice(t *testing.T) {
	n := newAlarmNight()
	n.pass(2*time.Minute, hold(CausePHStale))
	n.alarms.Acknowledge(0, CausePHStale)
	n.pass(6 * time.Minute)
	n.pass(2*time.Minute, hold(CausePHStale)) // told a minute after the start, it stands again eight minutes later
	if got := n.count(CausePHStale, AlarmUnacknowledged); got != 1 || n.state(CausePHStale) != AlarmAcknowledged {
		t.Errorf("told %d times, and it is %s; want once, and known", got, n.state(CausePHStale))
	}
	n.pass(11 * time.Minute)
	n.pass(2*time.Minute, hold(CausePHStale))
	if got := n.count(CausePHStale, AlarmUnacknowledged); got != 2 {
		t.Errorf("told %d times; after a quiet time it is a new trouble", got)
	}
}

func TestAnAlarmReturnsHalfAMinuteAfterItsCauseWent(t *testing.T) {
	n := newAlarmNight()
	n.pass(2*time.Minute, hold(CausePHStale))
	n.pass(25 * time.Second)
	if got := n.state(CausePHStale); got != AlarmUnacknowledged {
		t.Errorf("%s after 25 s, want it to stand", got)
	}
	n.pass(10 * time.Second)
	if got := n.state(CausePHStale); got != AlarmReturnedUnacknowledged {
		t.Errorf("%s after 35 s, want returned", got)
	}
}

func TestWhatStaysAfterItsRootHasGoneIsToldAMinuteLater(t *testing.T) {
	n := newAlarmNight()
	n.pass(10*time.Minute, hold(CauseBrokerDisconnected), hold(CausePHStale))
	n.pass(55*time.Second, hold(CausePHStale))
	if n.count(CausePHStale, AlarmUnacknowledged) != 0 {
		t.Errorf("told %v; readings need a minute to come back after the link", n.announced)
	}
	n.pass(15*time.Second, hold(CausePHStale))
	if n.count(CausePHStale, AlarmUnacknowledged) != 1 {
		t.Errorf("told %v; the link is back for more than a minute, and pH is not", n.announced)
	}
}

func TestAnAlarmThatNobodyAcknowledgesForADayBecomesOneStepMoreUrgentAndNoMore(t *testing.T) {
	for _, c := range []struct {
		cause       Cause
		first, then Priority
		told        int
	}{
		{CauseTemperatureInvalid, PriorityTomorrow, PriorityTonight, 2},
		{CausePHStale, PriorityTonight, PriorityTonight, 1},
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
	n.pass(time.Hour, latched(CauseNodeRebooted))
	n.pass(25*time.Hour, latched(CauseNodeRebooted))
	if len(n.announced) != 1 || n.announced[0].Priority != PriorityLog {
		t.Errorf("what is for the record only: %+v", n.announced)
	}
}

func TestAnAlarmThatCameAndWentClosesByItselfAfterADay(t *testing.T) {
	n := newAlarmNight()
	n.pass(2*time.Minute, hold(CausePHStale))
	n.pass(23*time.Hour + 50*time.Minute)
	if got := n.state(CausePHStale); got != AlarmReturnedUnacknowledged {
		t.Errorf("within a day it is %s", got)
	}
	n.pass(20 * time.Minute)
	if got := n.state(CausePHStale); got != AlarmNormal {
		t.Errorf("after a day it is %s", got)
	}
}

func TestTheSameTroubleAfterMoreThanTenMinutesIsToldAgainThoughNobodyAcknowledgedTheFirst(t *testing.T) {
	n := newAlarmNight()
	n.pass(2*time.Minute, hold(CausePHStale))
	n.pass(9 * time.Minute)
	n.pass(2*time.Minute, hold(CausePHStale))
	if got := n.count(CausePHStale, AlarmUnacknowledged); got != 1 {
		t.Errorf("told %d times within ten minutes", got)
	}
	n.pass(11 * time.Minute)
	n.pass(2*time.Minute, hold(CausePHStale))
	if got := n.count(CausePHStale, AlarmUnacknowledged); got != 2 {
		t.Errorf("told %d times; eleven quiet minutes lie between", got)
	}
}

func TestAForgottenStopOrMaintenanceCallsAtOnceWhenHarmIsNear(t *testing.T) {
	for _, trip := range []Trip{hold(CauseMaintenance), latched(CauseStopInput)} {
		n := newAlarmNight()
		n.harm = 30 * time.Minute
		n.pass(32*time.Minute, trip)
		if len(n.announced) == 0 || n.announced[len(n.announced)-1].Priority != PriorityNow {
			t.Errorf("%s for half an hour, harm in another: %+v, want now", trip.Cause, n.announced)
		}
	}
}

func TestHarmMustBeNearForAMinuteBeforeAnAlarmRises(t *testing.T) {
	n := newAlarmNight()
	n.pass(5*time.Minute, hold(CauseTemperatureInvalid))
	n.harm = 30 * time.Minute
	n.pass(60*time.Second, hold(CauseTemperatureInvalid))
	if len(n.announced) != 1 {
		t.Errorf("told %v within the minute", n.announced)
	}
	n.pass(time.Second, hold(CauseTemperatureInvalid))
	if len(n.announced) != 2 || n.announced[1].Priority != PriorityNow {
		t.Errorf("told %v when the minute is over", n.announced)
	}
}

func TestAShelvedAlarmThatIsNowAlreadyStaysQuiet(t *testing.T) {
	n := newAlarmNight()
	n.pass(time.Minute, latched(CauseLeak))
	n.alarms.Shelve(n.now, 0, CauseLeak, time.Hour)
	n.pass(50*time.Minute, latched(CauseLeak))
	if n.state(CauseLeak) != AlarmShelved || len(n.announced) != 1 {
		t.Errorf("%s, told %v: who shelved it knows that it is urgent", n.state(CauseLeak), n.announced)
	}
	n.pass(5 * time.Minute)
	n.pass(10 * time.Minute)
	if n.state(CauseLeak) != AlarmNormal {
		t.Errorf("%s though it is gone and its time is over", n.state(CauseLeak))
	}
}

func TestTheMostUrgentAlarmStandsFirstAndAmongEqualsTheOneThatCameFirst(t *testing.T) {
	n := newAlarmNight()
	n.pass(2*time.Minute, hold(CauseTemperatureInvalid))
	n.pass(2*time.Minute, hold(CauseTemperatureInvalid), hold(CauseLevelUnknown))
	n.pass(2*time.Minute, hold(CauseTemperatureInvalid), hold(CauseLevelUnknown), hold(CausePHStale), latched(CauseLeak))
	var got []Cause
	for _, a := range n.alarms.Active(0, n.warn, n.harm) {
		got = append(got, a.Cause)
	}
	if want := []Cause{CauseLeak, CauseLevelUnknown, CausePHStale, CauseTemperatureInvalid}; !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
}

func TestAnAlarmIsToldAndReturnsToTheSecond(t *testing.T) {
	n := newAlarmNight()
	n.pass(60*time.Second, hold(CausePHStale)) // seen first after one of them
	if len(n.announced) != 0 {
		t.Errorf("told %v after 59 s of a delay of a minute", n.announced)
	}
	n.pass(time.Second, hold(CausePHStale))
	if len(n.announced) != 1 {
		t.Errorf("told %v when the minute is over", n.announced)
	}
	n.pass(30 * time.Second)
	if got := n.state(CausePHStale); got != AlarmUnacknowledged {
		t.Errorf("%s after 29 s without its cause", got)
	}
	n.pass(time.Second)
	if got := n.state(CausePHStale); got != AlarmReturnedUnacknowledged {
		t.Errorf("%s after 30 s", got)
	}
}
