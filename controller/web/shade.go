package web

import (
	"leat/controller"
	"leat/safety"
)

// kindOf is how a stretch is shaded: a person's word, a wait that is part of the work, or
// trouble. What the program does not know is trouble.
func kindOf(name string) string {
	cause, known := safety.ParseCause(name)
	row := safety.Of(cause)
	switch h := (controller.HoldView{Cause: cause, Action: row.Action}); {
	case !known:
		return "trouble"
	case h.Routine():
		return "wait"
	case row.Priority == safety.PriorityLog:
		return "person"
	}
	return "trouble"
}
