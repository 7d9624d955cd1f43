package payload

import "fmt"

// Error says which payload was refused, why, and what to do about it.
type Error struct {
	Topic string // filled in by whoever knows it
	What  string
	Hint  string
	Cause error // a refusal further down, if any
}

func (e *Error) Error() string {
	text := e.What
	if e.Topic != "" {
		text = e.Topic + ": " + text
	}
	if e.Hint != "" {
		text += "; " + e.Hint
	}
	return text
}

// Unwrap is the refusal further down.
func (e *Error) Unwrap() error { return e.Cause }

// refuse builds an Error; the hint comes first because it never has arguments.
func refuse(hint, what string, args ...any) *Error {
	return &Error{What: fmt.Sprintf(what, args...), Hint: hint}
}

// excerpt is as much of a payload as an error shows: a hostile sender must not
// fill the log.
func excerpt(body []byte) string { return fmt.Sprintf("%.40q", body) }
