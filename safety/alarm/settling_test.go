package alarm

import (
	"testing"
	"time"

	"leat/safety"
)

// A tank that was just armed far from its setpoint, in strongly buffered water, needs hours of small doses.
func TestATankOnItsFirstWayThatAnswersItsDosesCallsNobody(t *testing.T) {
	for _, c := range []struct {
		what    string
		answers bool // a pool every quarter of an hour
		first   bool // it was never in its band
		called  int
	}{{"it answers", true, true, 0}, {"it shows nothing", false, true, 1}, {"it was in its band before", true, false, 1}} {
		n, s := newAlarmNight(), goodSituation()
		n.situation = &s
		if !c.first {
			n.pass(time.Minute)
		}
		s.PH = 6.2
		for range 12 {
			if c.answers {
				s.Answered++
			}
			n.pass(15 * time.Minute)
		}
		if got := n.count(safety.CauseOutOfBand, Unacknowledged); got != c.called {
			t.Errorf("%s: called %d times", c.what, got)
		}
	}
}

func TestAnErrorThatTurnedATenthOfAnHourAgoIsOnItsWay(t *testing.T) {
	n, s := newAlarmNight(), goodSituation()
	n.situation = &s
	n.pass(time.Minute)
	for s.PH = 6.2; s.PH < 6.7; s.PH += 0.02 { // an hour and a quarter of rising would be one
		n.pass(3 * time.Minute)
		if s.PH > 6.5 {
			break
		}
	}
	for ; s.PH > 6.0; s.PH -= 0.04 {
		n.pass(5 * time.Minute)
	}
	if got := n.count(safety.CauseOutOfBand, Unacknowledged); got != 0 {
		t.Errorf("called %d times", got)
	}
}
