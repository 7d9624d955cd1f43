package main

import (
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"strings"
)

// parseFlags reads a command's flags the same way everywhere: -h prints help to
// stdout and succeeds, anything unknown is exit code 2 with one line of advice.
// Flags may stand before, between and behind the arguments, of which wantArgs are
// taken at most; -1 takes any.
func parseFlags(flags *flag.FlagSet, args []string, stdout, stderr io.Writer, wantArgs int) (code int, done bool) {
	usage := flags.Usage
	flags.SetOutput(io.Discard)
	flags.Usage = func() {}
	words, err := parseBetween(flags, args)
	if errors.Is(err, flag.ErrHelp) {
		flags.SetOutput(stdout)
		if usage != nil {
			usage()
		} else {
			fmt.Fprintf(stdout, "usage: %s [flags]\n", flags.Name())
			flags.PrintDefaults()
		}
		return 0, true
	}
	if err == nil && wantArgs >= 0 && len(words) > wantArgs {
		err = fmt.Errorf("unexpected argument %q", words[wantArgs])
	}
	if err != nil {
		return exit(flags.Name(), wrongUse(err.Error()), stderr), true
	}
	return 0, false
}

// parseBetween parses flags wherever they stand and leaves the words between them as
// the arguments. What follows "--" is no flag.
func parseBetween(flags *flag.FlagSet, args []string) (words []string, err error) {
	for err = flags.Parse(args); err == nil && flags.NArg() > 0; err = flags.Parse(args) {
		rest := flags.Args()
		if read := len(args) - len(rest); read > 0 && args[read-1] == "--" {
			words = append(words, rest...)
			break
		}
		words, args = append(words, rest[0]), rest[1:]
	}
	if err == nil {
		err = flags.Parse(append([]string{"--"}, words...))
	}
	return words, err
}

// wrongUse is a fault of the command line, not of what it asks for.
type wrongUse string

func (w wrongUse) Error() string { return string(w) }

// misuse is a wrong use in words.
func misuse(format string, args ...any) error { return wrongUse(fmt.Sprintf(format, args...)) }

// exit prints a failure as one line and returns the exit code.
func exit(command string, err error, stderr io.Writer) int {
	var wrong wrongUse
	switch {
	case err == nil:
		return 0
	case errors.As(err, &wrong):
		fmt.Fprintf(stderr, "%s: %v; %s -h tells the flags\n", command, wrong, command)
		return 2
	}
	fmt.Fprintf(stderr, "%s: %v\n", command, err)
	return 1
}

// setFlags are the flags that were set, by name.
func setFlags(flags *flag.FlagSet) map[string]bool {
	names := map[string]bool{}
	flags.Visit(func(f *flag.Flag) { names[f.Name] = true })
	return names
}

// writeJSON prints one document in one line.
func writeJSON(w io.Writer, document any) error {
	encoder := json.NewEncoder(w)
	encoder.SetEscapeHTML(false)
	return encoder.Encode(document)
}

// mayWrite says before long work whether its result can be put where it is wanted.
// Nothing of a file that is there is changed.
func mayWrite(path string) error {
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
