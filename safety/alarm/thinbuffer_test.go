package alarm

import (
	"strings"
	"testing"
	"time"

	"leat/safety"
	"leat/safety/response"
)

func TestALostBufferIsToldByWhatAcidAndBaseUsuallyDo(t *testing.T) {
	does := func(times float64) safety.Usual { return safety.Usual{Known: true, Does: times} }
	for name, c := range map[string]struct {
		situation Situation
		stood     bool
		want      bool
	}{
		"nothing is known":                 {Situation{}, false, false},
		"five times, but not answered yet": {Situation{Acid: safety.Usual{Does: 5}}, false, false},
		"as commissioned":                  {Situation{Acid: does(1)}, false, false},
		"a buffer told wrong by three":     {Situation{Acid: does(3.4)}, false, false},
		"five times what was commissioned": {Situation{Acid: does(5)}, false, true},
		"base five times":                  {Situation{Acid: does(1), Base: does(5)}, false, true},
		"a little less than when it began": {Situation{Acid: does(3.5)}, true, true},
		"clearly less":                     {Situation{Acid: does(3)}, true, false},
	} {
		if got := c.situation.thin(c.stood); got != c.want {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
	}
	s := Situation{Acid: does(5), Base: does(4.2)}
	if got := s.lost(); !strings.HasPrefix(got, "acid does 5.0 times, base 4.2 times what was commissioned: the water has lost its buffer") {
		t.Errorf("it says %q", got)
	}
}

func TestWhatDosesDoMayWaverWithoutAnAlarmThatComesAndGoes(t *testing.T) {
	var st standing
	s := Situation{Answered: response.AnswersWant, ECGain: 1, Measured: true}
	stands := func(ln float64, up time.Duration) bool {
		s.LnBuffer = ln
		return st.scale(&s, up) != nil
	}
	if stands(0.2, 0) || !stands(0.6, time.Minute) {
		t.Fatal("a buffer that looks 1.8 times as strong is no alarm")
	}
	for up := 2 * time.Minute; up < 3*time.Hour; up += 20 * time.Minute { // it wavers by the quarter of an hour
		if !stands(0.1, up) || !stands(0.5, up+10*time.Minute) {
			t.Fatalf("it ended at %v, ten minutes after it was so", up)
		}
	}
	if !stands(0.1, 4*time.Hour) || !stands(0.1, 4*time.Hour+29*time.Minute) {
		t.Error("it ended before half an hour was over")
	}
	if stands(0.1, 4*time.Hour+30*time.Minute) {
		t.Error("it stands although doses work as commissioned for half an hour")
	}
	if !stands(0.6, 5*time.Hour) {
		t.Fatal("it does not come again")
	}
	if s.Answered = 0; stands(0.6, 5*time.Hour) {
		t.Error("it outlives a service")
	}
}
