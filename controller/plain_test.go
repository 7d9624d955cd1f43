package controller_test

import (
	"strings"
	"testing"

	"leat/controller"
	"leat/safety"
)

func TestNamesAndNotesWithLineBreaksOrTurnedWritingAreRefused(t *testing.T) {
	s := dosingStage(t)
	for _, bad := range []string{"ok\nnorth stopped by mara", "a\u202eb", "\x1b[2J", "tab\there", "\u2066x", "line\u2028two", "\xff"} {
		for _, r := range []controller.Request{{Note: bad, By: "mara"}, {Note: "checked", By: bad}} {
			r.Kind, r.Tank, r.Role = controller.RequestObserve, north, controller.RoleEngineer
			a := s.Ask(r)
			if a.Accepted || !strings.Contains(a.Text, "at place") || controller.Plain(a.Text) != nil || controller.Plain(a.By) != nil {
				t.Errorf("%q, %q: %+v", r.Note, r.By, a)
			}
		}
	}
	if s.view(north).Mode == safety.ModeObserving {
		t.Error("a refused request was carried out")
	}
	if a := s.ask(controller.RequestObserve, "Größe geprüft – ok, 水"); !a.Accepted {
		t.Error(a.Text)
	}
}
