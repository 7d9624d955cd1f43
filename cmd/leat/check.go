package main

import (
	"flag"
	"fmt"
	"io"

	"leat/controller/config"
	"leat/controller/desk"
)

const checkUsage = `usage: leat check -config FILE [-json] [-rehearse NIGHTS]

Reads a configuration as leat run would, each station of a folder or of a file with several, and says what the daemon would do with it: every fault at once with
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
			return desk.Misuse("name the file: leat check -config FILE")
		case *nights < 0 || *nights > 0 && *asJSON:
			return desk.Misuse("-rehearse is at least 1 and prints text: for figures as JSON, leat rehearse -config FILE -json")
		}
		if err := desk.Check(*path, *asJSON, stdout); err != nil {
			return err
		}
		// The file has no fault; but who checks it with this program is about to run it with this program.
		if files, err := config.Stations(*path); err == nil && files[0].Cluster.Shared() && runShared == nil {
			fmt.Fprintln(stderr, "leat check: "+errNoCluster.Error())
		}
		if *nights == 0 {
			return nil
		}
		ctx, stop := interrupted()
		defer stop()
		return desk.RehearseChecked(ctx, *path, *nights, stdout, stderr)
	}}
}
