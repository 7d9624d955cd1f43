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
func checkCommand(flags *flag.FlagSet) task {
	path := flags.String("config", "", "the configuration `FILE`")
	asJSON := flags.Bool("json", false, "print one JSON document")
	nights := flags.Int("rehearse", 0, "then play so many `NIGHTS` of this farm; 20 tell much")
	return task{usage: checkUsage, do: func(stdout, stderr io.Writer) error {
		switch {
		case *path == "":
			return misuse("name the file: leat check -config FILE")
		case *nights < 0 || *nights > 0 && *asJSON:
			return misuse("-rehearse is at least 1 and prints text: for figures as JSON, leat rehearse -config FILE -json")
		}
		if err := check(*path, *asJSON, stdout); err != nil || *nights == 0 {
			return err
		}
		return rehearseChecked(*path, *nights, stdout, stderr)
	}}
}

func check(path string, asJSON bool, stdout io.Writer) error {
	report, err := config.CheckFile(path)
	if err != nil {
		return err
	}
	if asJSON {
		err = writeJSON(stdout, &report)
	} else {
		err = report.Write(stdout)
	}
	if err == nil && !report.OK {
		err = fmt.Errorf("%s refused, faults: %d", path, len(report.Faults))
	}
	return err
}

// rehearseChecked plays nights of a farm whose file passed and says what they showed.
func rehearseChecked(path string, nights int, stdout, stderr io.Writer) error {
	farm, err := farmOf(path)
	if err != nil {
		return err
	}
	debug.SetGCPercent(400)
	o := &campaign.Options{Set: "standard", Nights: nights, Seed: 1, Faults: "none", Workers: runtime.GOMAXPROCS(0), Farm: farm, Path: path, Stderr: stderr}
	fmt.Fprintf(stdout, "\nRehearsal, nights: %d\n", nights)
	return violated(rehearseAll(o, false, "", stdout, stderr))
}
