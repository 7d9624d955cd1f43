package main

import (
	"flag"
	"fmt"
	"io"
	"runtime"
	"runtime/debug"

	"leat/controller/campaign"
	"leat/controller/config"
)

const checkUsage = `usage: leat check -config FILE [-json] [-rehearse NIGHTS]

Reads a configuration as leat run would, and says what the daemon would do with it: every fault at once with
its line, sizes of pumps and doses against what is safe, the largest rates under the caps against the worst
demand, what a whole container would do, what is not fitted. It changes nothing and needs no broker.
With -rehearse it then plays so many nights of the file's own farm, each without a fault, and says what it found.
Exit code: 0 no fault, 1 refused or a rehearsed rule did not hold, 2 wrong use.

`

// checkCommand is leat check.
func checkCommand(args []string, stdout, stderr io.Writer) int {
	flags := flag.NewFlagSet("leat check", flag.ContinueOnError)
	path := flags.String("config", "", "the configuration `FILE`")
	asJSON := flags.Bool("json", false, "print one JSON document")
	nights := flags.Int("rehearse", 0, "then play so many `NIGHTS` of this farm; 20 tell much")
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
	if *nights < 0 || *nights > 0 && *asJSON {
		return misused("leat check", "-rehearse is at least 1 and prints text: for figures as JSON, leat rehearse -config FILE -json", stderr)
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
	if *nights > 0 {
		return rehearseChecked(*path, *nights, stdout, stderr)
	}
	return 0
}

// rehearseChecked plays nights of a farm whose file passed and says what they showed.
func rehearseChecked(path string, nights int, stdout, stderr io.Writer) int {
	farm, err := farmOf(path)
	if err != nil {
		return exit("leat check", err, stderr)
	}
	debug.SetGCPercent(400)
	o := &campaign.Options{Set: "standard", Nights: nights, Seed: 1, Faults: "none", Workers: runtime.GOMAXPROCS(0), Farm: farm, Path: path, Stderr: stderr}
	fmt.Fprintf(stdout, "\nRehearsal, nights: %d\n", nights)
	violation, err := rehearseAll(o, false, "", stdout, stderr)
	if err == nil && violation != "" {
		err = fmt.Errorf("%w: %s", errViolation, violation)
	}
	return exit("leat check", err, stderr)
}
