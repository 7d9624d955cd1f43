package controller

import (
	"fmt"
	"unicode"
	"unicode/utf8"
)

// Plain says what is wrong with a name or note that people will read in a list or a log:
// a line break would forge a line of its own, and a mark that turns the direction of
// writing shows another text than the one that is stored.
func Plain(text string) error {
	for i, r := range text {
		switch {
		case r == utf8.RuneError:
			return fmt.Errorf("holds bytes that are no text at place %d", i+1)
		case unicode.IsControl(r), r == '\u2028', r == '\u2029':
			return fmt.Errorf("holds a line break or control character (%U) at place %d; write it on one line", r, i+1)
		case unicode.Is(unicode.Bidi_Control, r):
			return fmt.Errorf("holds a character that turns the direction of writing (%U) at place %d; leave it out", r, i+1)
		}
	}
	return nil
}

// notPlain says which text of a request cannot stand in a list or a log.
func notPlain(r *Request) string {
	for _, text := range []struct{ what, is string }{{"name", r.By}, {"note", r.Note}, {"batch", r.Batch}, {"standard", r.Calibrating.Standard}, {"list", r.Calibrating.Found}, {"probe", r.Calibrating.Probe}, {"list", r.Runs}} {
		if err := Plain(text.is); err != nil {
			return "the " + text.what + " " + err.Error()
		}
	}
	return ""
}
