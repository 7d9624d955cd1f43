package main

import (
	"flag"
	"io"
	"os"

	"leat/controller/desk"
)

const doctorUsage = `usage: leat doctor -config FILE [-rights] [-notify URL] [-ring] [-json] [-drill]

Looks at what a farm stands on, and says what is not in order and what to do: the configuration, the running daemon,
the broker, pump nodes, alarms that stand, ledger, disk, certificates, clock. It changes nothing. With -notify it
sends a test through the Alertmanager at that address, on the way that a leak would take; with -ring the daemon
sends one on each way of [notify]. With -rights, while the daemon is stopped, it tries at the broker what the daemon must
be able to do and what it must not, by empty messages that no node takes.
-drill leads through the drill of each month instead: what must ring is made to ring, and the record notes it.
Exit code: 0 all is in order, 1 something is not, 2 wrong use.

`

// doctorCommand is leat doctor.
func doctorCommand(flags *flag.FlagSet) task {
	var d desk.Doctor
	flags.StringVar(&d.Path, "config", "", "the configuration `FILE`")
	flags.StringVar(&d.Notify, "notify", "", "send a test through the Alertmanager at this `URL`, such as http://127.0.0.1:9093")
	flags.BoolVar(&d.Rights, "rights", false, "try the daemon's rights at the broker; only while the daemon is stopped")
	flags.BoolVar(&d.Ring, "ring", false, "let the running daemon send a test by the webhook and mail of [notify]")
	drill := flags.Bool("drill", false, "lead through the drill of each month")
	flags.BoolVar(&d.JSON, "json", false, "print one JSON document")
	return task{usage: doctorUsage, do: func(stdout, _ io.Writer) error {
		if d.Path == "" {
			return desk.Misuse("name the file: leat doctor -config FILE")
		}
		ctx, stop := interrupted()
		defer stop()
		if *drill {
			return desk.RunDrill(ctx, d.Path, os.Stdin, stdout)
		}
		return d.Do(ctx, stdout)
	}}
}
