package desk

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/user"
	"strings"

	"leat/controller"
)

// WrongUse is a fault of the command line, not of what it asks for.
type WrongUse string

func (w WrongUse) Error() string { return string(w) }

// Misuse is a wrong use in words.
func Misuse(format string, args ...any) error { return WrongUse(fmt.Sprintf(format, args...)) }

// WriteJSON prints one document in one line.
func WriteJSON(w io.Writer, document any) error {
	encoder := json.NewEncoder(w)
	encoder.SetEscapeHTML(false)
	return encoder.Encode(document)
}

// MayWrite says before long work whether its result can be put where it is wanted.
// Nothing of a file that is there is changed.
func MayWrite(path string) error {
	if path == "" {
		return nil
	}
	_, err := os.Stat(path)
	fresh := errors.Is(err, os.ErrNotExist)
	file, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE, 0o644)
	if err != nil {
		return fmt.Errorf("%w; name a file in a folder that is there and may be written", err)
	}
	err = file.Close()
	if fresh {
		err = errors.Join(err, os.Remove(path))
	}
	return err
}

// progress draws how much of long work is done, where a person watches; nil where
// nobody does. Call the second function at the end.
func progress(stderr io.Writer, of string) (draw func(done, all float64), end func()) {
	if !isTerminal(stderr) {
		return nil, func() {}
	}
	const wide = 40
	draw = func(done, all float64) {
		filled := min(max(int(wide*done/all), 0), wide)
		fmt.Fprintf(stderr, "\r%s%s %.0f of %.0f %s", strings.Repeat("█", filled), strings.Repeat("░", wide-filled), done, all, of)
	}
	return draw, func() { fmt.Fprint(stderr, "\r\x1b[K") }
}

// writeFile writes a file whole: what is printed into it is there, or an error.
func writeFile(path string, print func(io.Writer) error) (err error) {
	file, err := os.Create(path)
	if err != nil {
		return err
	}
	return errors.Join(print(file), file.Close())
}

// TellAnswer says what the daemon answered; a refusal is an error.
func TellAnswer(of string, answer controller.Answer, asJSON bool, stdout io.Writer) (err error) {
	of = cmp.Or(of, "station")
	switch {
	case asJSON:
		err = WriteJSON(stdout, struct {
			Tank     string `json:"tank"`
			Accepted bool   `json:"accepted"`
			Text     string `json:"text"`
		}{of, answer.Accepted, answer.Text})
	case answer.Accepted:
		_, err = fmt.Fprintf(stdout, "%s: %s\n", of, answer.Text)
	}
	if !answer.Accepted {
		err = fmt.Errorf("%s: refused: %s", of, answer.Text)
	}
	return err
}

// WhoAmI is the account under which the program runs, for the ledger.
func WhoAmI() string {
	if u, err := user.Current(); err == nil {
		return u.Username
	}
	return "local"
}
