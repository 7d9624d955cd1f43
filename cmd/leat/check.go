package main

import (
	"flag"
	"fmt"
	"io"

	"leat/controller/config"
)

const checkUsage = `usage: leat check -config FILE [-json]

Reads a configuration as leat run would, and says what the daemon would do with it: every fault at once with
its line, sizes of pumps and doses against what is safe, the largest rates under the caps against the worst
demand, what a whole container would do, what is not fitted. It changes nothing and needs no broker.
Exit code: 0 no fault, 1 refused, 2 wrong use.

`

// checkCommand is leat check.
func checkCommand(args []string, stdout, stderr io.Writer) int {
	flags := flag.NewFlagSet("leat check", flag.ContinueOnError)
	path := flags.String("config", "", "the configuration `FILE`")
	asJSON := flags.Bool("json", false, "print one JSON document")
	flags.Usage = func() {
		fmt.Fprint(flags.Output(), checkUsage)
		flags.PrintDefaults()
	}
	if code, done := parseFlags(flags, args, stdout, stderr, 0); done {
		return code
	}
	if *path == "" {
		return misused("leat check", "name the file: leat check -config FILE", stderr)
	}
	report, err := config.CheckFile(*path)
	if err != nil {
		fmt.Fprintln(stderr, "leat check:", err)
		return 1
	}
	if *asJSON {
		err = writeJSON(stdout, &report)
	} else {
		err = report.Write(stdout)
	}
	if err != nil {
		fmt.Fprintln(stderr, "leat check:", err)
		return 1
	}
	if !report.OK {
		fmt.Fprintf(stderr, "leat check: %s refused, faults: %d\n", *path, len(report.Faults))
		return 1
	}
	return 0
}
