package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
)

// parseFlags reads a command's flags the same way everywhere: -h prints help to
// stdout and succeeds, anything unknown is exit code 2 with one line of advice.
// wantArgs is the number of arguments after the flags; -1 takes any.
func parseFlags(flags *flag.FlagSet, args []string, stdout, stderr io.Writer, wantArgs int) (code int, done bool) {
	usage := flags.Usage
	flags.SetOutput(io.Discard)
	flags.Usage = func() {}
	err := flags.Parse(args)
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
	if err == nil && wantArgs >= 0 && flags.NArg() > wantArgs {
		err = fmt.Errorf("unexpected argument %q", flags.Arg(wantArgs))
	}
	if err != nil {
		fmt.Fprintf(stderr, "%s: %v; %s -h tells the flags\n", flags.Name(), err, flags.Name())
		return 2, true
	}
	return 0, false
}
