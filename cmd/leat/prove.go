package main

import (
	"flag"
	"io"
	"os"

	"leat/controller/desk"
)

const proveUsage = `usage: leat prove -config FILE [-client ID] [-client-user USER -client-password-file FILE] [NODE]
       leat prove -config FILE -weekly [NODE]

Tries on a real pump node every rule that a dose rests on (deploy/node.md): orders that come twice, late, kept by the
broker, for another boot, too long, of another epoch; the lease, the stop, a loss of power, the wired stop, the float
switch. Each has a verdict in words and what to do. Then it measures the rate of each pump by cylinder, how quiet the
probes are, and which loads move them.

It stands in for the daemon, which must be stopped. Every line of the node must hold water and end in a measuring
cylinder: never acid, base or stock. It takes about ten minutes and needs a person at the node.

-weekly tries stop, lease and float switch alone, in about a minute, with what is in the lines: a node that obeys runs
nothing. The sheet is kept in the state folder as text and JSON and its verdict in the ledger; arming says which node
was not proved, and whose weekly proof is due.

`

func proveCommand(flags *flag.FlagSet) task {
	var p desk.Proof
	flags.StringVar(&p.Config, "config", "", "configuration `FILE` of the station")
	flags.StringVar(&p.Client.ID, "client", "", "`ID` with which the node connects to the broker; default its name")
	flags.StringVar(&p.Client.User, "client-user", "", "`USER` as whom the node signs in at the broker; default this program's own")
	flags.StringVar(&p.Client.PasswordFile, "client-password-file", "", "`FILE` with that user's password")
	flags.BoolVar(&p.Weekly, "weekly", false, "stop, lease and float switch alone")
	flags.BoolVar(&p.JSON, "json", false, "print the sheet as JSON; what is asked goes to stderr")
	return task{usage: proveUsage, words: 1, do: func(stdout, stderr io.Writer) error {
		if p.Config == "" {
			return desk.Misuse("name the configuration with -config FILE")
		}
		p.Node = flags.Arg(0)
		told := stdout
		if p.JSON {
			told = stderr
		}
		return p.Run(os.Stdin, stdout, told)
	}}
}
