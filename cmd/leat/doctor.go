package main

import (
	"flag"
	"io"

	"leat/controller/desk"
)

const doctorUsage = `usage: leat doctor -config FILE [-notify URL] [-ring] [-json]

Looks at what a farm stands on, and says what is not in order and what to do: the configuration, the running daemon,
the broker, pump nodes, alarms that stand, ledger, disk, certificates, clock. It changes nothing. With -notify it
sends a test through the Alertmanager at that address, on the way that a leak would take; with -ring the daemon
sends one on each way of [notify].
Exit code: 0 all is in order, 1 something is not, 2 wrong use.

`

// doctorCommand is leat doctor.
func doctorCommand(flags *flag.FlagSet) task {
	var d desk.Doctor
	flags.StringVar(&d.Path, "config", "", "the configuration `FILE`")
	flags.StringVar(&d.Notify, "notify", "", "send a test through the Alertmanager at this `URL`, such as http://127.0.0.1:9093")
	flags.BoolVar(&d.Ring, "ring", false, "let the running daemon send a test by the webhook and mail of [notify]")
	flags.BoolVar(&d.JSON, "json", false, "print one JSON document")
	return task{usage: doctorUsage, do: func(stdout, _ io.Writer) error {
		if d.Path == "" {
			return desk.Misuse("name the file: leat doctor -config FILE")
		}
		ctx, stop := interrupted()
		defer stop()
		return d.Do(ctx, stdout)
	}}
}
