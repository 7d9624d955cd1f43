package controller_test

import (
	"regexp"
	"testing"
	"time"

	"leat/controller"
	"leat/dosing"
	"leat/safety"
)

// outletsWired fits the end switch of every tank's outlet, which the sample leaves to the
// node.
func outletsWired(text string) string {
	return regexp.MustCompile(`(\[tank\.input\.outlet\]\n)not_fitted = .*\n`).ReplaceAllString(text, "$1")
}

// Two tanks share the pumps: each dose shuts the outlet of the other tank.
func TestOutletsThatAreWiredDoNotHoldTheTankThatIsNotDosed(t *testing.T) {
	st := newStage(t, &scenario{text: outletsWired})
	if got := len(regexp.MustCompile(`outlet`).FindAllString(names(st), -1)); got != 2 {
		t.Fatalf("%d outlets are wired, want 2", got)
	}
	st.Arm()
	st.pass(12 * time.Minute)
	started := st.Now().Up
	st.pass(2 * time.Hour)
	for tank := range dosing.TankID(2) {
		if !st.dosed(tank, 0, acids...) && !st.dosed(tank, 0, stocks...) {
			t.Errorf("tank %d was not dosed in two hours", tank)
		}
	}
	for _, n := range st.notices {
		if n.at.Up > started && n.Cause == safety.CauseOutletUnproved && (n.Kind == controller.NoticeInterlock || n.Kind == controller.NoticeAlarm) {
			t.Fatalf("%s, tank %d: %s", n.at.Up, n.Tank, n.Text)
		}
	}
}

func names(st *stage) (all string) {
	for _, tank := range st.Core.View(st.Now()).Tanks {
		for _, in := range tank.Inputs {
			if in.NotFitted == "" {
				all += in.Name + "\n"
			}
		}
	}
	return all
}
