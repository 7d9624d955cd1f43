package notify

import (
	"strings"
	"testing"
	"time"

	"leat/controller"
	"leat/dosing"
	"leat/safety"
	"leat/safety/alarm"
)

// shed is a farm of two tanks whose alarms the test sets, and its time.
type shed struct {
	t    *testing.T
	book *book
	now  dosing.Instant
	view controller.View
	told []*Letter
}

func newShed(t *testing.T) *shed {
	return &shed{t: t, book: &book{}, now: dosing.Instant{Wall: time.Date(2031, 5, 4, 2, 0, 0, 0, time.UTC), Up: time.Hour},
		view: controller.View{Station: "shed", Tanks: []controller.TankView{{Name: "ferns"}, {Name: "moss"}}}}
}

// raise puts an alarm into a tank.
func (s *shed) raise(tank int, cause safety.Cause, priority safety.Priority) {
	row := safety.Of(cause)
	s.view.Tanks[tank].Alarms = append(s.view.Tanks[tank].Alarms, controller.AlarmView{Cause: cause, State: alarm.Unacknowledged, Priority: priority,
		Text: row.Text, Advice: row.Advice, Since: s.now})
}

func (s *shed) state(tank, at int, state alarm.State) { s.view.Tanks[tank].Alarms[at].State = state }

func (s *shed) clear(tank int) { s.view.Tanks[tank].Alarms = nil }

// passes lets time pass, second by second, and returns what was told in it.
func (s *shed) passes(d time.Duration) (told []*Letter) {
	for end := s.now.Up + d; s.now.Up < end; {
		s.now.Up += time.Second
		s.now.Wall = s.now.Wall.Add(time.Second)
		told = append(told, s.book.follow(s.now, &s.view)...)
	}
	s.told = append(s.told, told...)
	return told
}

func events(letters []*Letter) string {
	var all []string
	for _, l := range letters {
		var tanks []string
		for _, t := range l.Tanks {
			tanks = append(tanks, t.Tank)
		}
		all = append(all, l.Event.String()+" "+l.Cause+" "+strings.Join(tanks, "+"))
	}
	return strings.Join(all, ", ")
}

func (s *shed) want(what, want string, letters []*Letter) {
	s.t.Helper()
	if got := events(letters); got != want {
		s.t.Errorf("%s: told %q, want %q", what, got, want)
	}
}

func TestOneCauseInTwoTanksRingsOnceWithBothAndInTheWordsOfTheTable(t *testing.T) {
	s := newShed(t)
	s.raise(0, safety.CauseLeak, safety.PriorityNow)
	s.passes(2 * time.Second)
	s.raise(1, safety.CauseLeak, safety.PriorityNow)
	told := s.passes(time.Minute)
	s.want("a leak in both", "raised leak ferns+moss", told)
	row := safety.Of(safety.CauseLeak)
	if l := told[0]; !strings.Contains(l.Words(), row.Text) || !strings.Contains(l.Words(), row.Advice) || l.Summary() != "ferns, moss, now: "+row.Text {
		t.Errorf("told %q:\n%s", l.Summary(), l.Words())
	}
}

func TestNobodyAcknowledgesIsCalledAgainAndWhoDidIsNot(t *testing.T) {
	s := newShed(t)
	s.raise(0, safety.CauseLeak, safety.PriorityNow)
	s.want("within nine minutes", "raised leak ferns", s.passes(9*time.Minute))
	s.want("after ten", "again leak ferns", s.passes(2*time.Minute))
	s.want("and a quarter of an hour later", "again leak ferns", s.passes(15*time.Minute))
	s.state(0, 0, alarm.Acknowledged)
	s.want("acknowledged", "", s.passes(3*time.Hour))
}

func TestWhatComesBackWithinTenMinutesIsTheSameAndWhatStaysAwayIsOver(t *testing.T) {
	s := newShed(t)
	s.raise(0, safety.CauseLeak, safety.PriorityNow)
	s.state(0, 0, alarm.Acknowledged)
	s.passes(time.Minute)
	for range 3 {
		s.clear(0)
		s.want("away", "", s.passes(8*time.Minute))
		s.raise(0, safety.CauseLeak, safety.PriorityNow)
		s.state(0, 0, alarm.Acknowledged)
		s.want("back", "", s.passes(time.Minute))
	}
	s.clear(0)
	s.want("away for good", "over leak ferns", s.passes(time.Hour))
	s.raise(0, safety.CauseLeak, safety.PriorityNow)
	s.want("another leak", "raised leak ferns", s.passes(time.Minute))
}

func TestQuietNightCallsNobodyForWhatCanWait(t *testing.T) {
	s := newShed(t)
	s.raise(0, safety.CauseContainerLow, safety.PriorityTomorrow)
	s.raise(1, safety.CauseNodeRebooted, safety.PriorityLog)
	s.raise(1, safety.CauseLeak, safety.PriorityNow)
	s.state(1, 1, alarm.Shelved)
	s.want("between two and seven", "", s.passes(4*time.Hour+59*time.Minute))
	s.want("at seven", "raised container-low ferns", s.passes(2*time.Minute))
	s.want("by day", "", s.passes(10*time.Hour))
}

func TestAlarmThatRisesRingsAnewAndVoidsItsLink(t *testing.T) {
	s := newShed(t)
	s.raise(0, safety.CausePHStale, safety.PriorityTonight)
	s.passes(time.Minute)
	s.state(0, 0, alarm.Acknowledged)
	s.passes(time.Minute)
	id := s.book.rings[0].ID
	s.view.Tanks[0].Alarms[0].Priority = safety.PriorityNow
	s.state(0, 0, alarm.Unacknowledged)
	s.want("risen", "raised ph-stale ferns", s.passes(time.Minute))
	if r, why := s.book.claim(id); r != nil || why == "" {
		t.Errorf("the link of before can be used: %v %q", r, why)
	}
	if r, why := s.book.claim(s.book.rings[0].ID); r == nil || why != "" {
		t.Errorf("the new link cannot be used: %q", why)
	}
}

// An alarm that the core announces anew, in the ring that somebody acknowledged, is not
// quiet for ever.
func TestAcknowledgementOfTheTroubleBeforeDoesNotCoverTheNext(t *testing.T) {
	s := newShed(t)
	s.raise(0, safety.CauseLeak, safety.PriorityNow)
	s.state(0, 0, alarm.Acknowledged)
	s.passes(30 * time.Minute)
	before := s.book.rings[0].ID
	s.clear(0)
	s.passes(2 * time.Minute)
	s.raise(0, safety.CauseLeak, safety.PriorityNow)
	s.want("not acknowledged", "again leak ferns", s.passes(11*time.Minute))
	if r, _ := s.book.claim(before); r != nil {
		t.Error("the link of the alarm before acknowledges this one")
	}
}

func TestRestartRingsNobodyTwiceAndIsNoAllClear(t *testing.T) {
	s := newShed(t)
	s.raise(0, safety.CauseLeak, safety.PriorityNow)
	s.raise(0, safety.CausePHStale, safety.PriorityTonight)
	for _, l := range s.passes(time.Minute) {
		if l.Cause == "leak" {
			s.book.delivered(l)
		}
	}
	after := newShed(t)
	after.book.load(s.book.kept(), 0)
	after.now.Up = 0
	after.want("before it has looked", "", after.passes(30*time.Second))
	after.raise(0, safety.CauseLeak, safety.PriorityNow)
	after.raise(0, safety.CausePHStale, safety.PriorityTonight)
	after.want("what no door took is told, the rest is known", "raised ph-stale ferns", after.passes(5*time.Minute))

	gone := newShed(t)
	gone.book.load(s.book.kept(), 0)
	gone.now.Up = 0
	gone.want("what does not come again is dropped without a word", "", gone.passes(2*time.Hour))
	if len(gone.book.rings) != 0 {
		t.Errorf("%d rings are kept for ever", len(gone.book.rings))
	}
}
