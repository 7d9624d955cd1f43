package desk

import (
	"io"
	"os"

	"golang.org/x/term"
)

// Columns tells how wide a terminal is now; nil where w is none.
func Columns(w io.Writer) func() int {
	if !isTerminal(w) {
		return nil
	}
	return func() int {
		wide, _, err := term.GetSize(int(w.(*os.File).Fd()))
		if err != nil {
			return 80
		}
		return wide
	}
}

// isTerminal says whether w can be redrawn.
func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}
