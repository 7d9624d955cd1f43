package main

import (
	"errors"
	"flag"
	"fmt"
	"io"

	"leat/controller/desk"
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
		return exit(flags.Name(), desk.WrongUse(err.Error()), stderr), true
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

// exit prints a failure as one line and returns the exit code.
func exit(command string, err error, stderr io.Writer) int {
	var wrong desk.WrongUse
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
