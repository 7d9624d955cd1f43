package main

import (
	"flag"
	"io"
	"os"
	"strings"

	"leat/controller/desk"
	"leat/controller/store"
)

const ledgerUsage = `usage: leat ledger -state DIR print|verify|export [flags]
       leat ledger -state DIR backup FILE
       leat ledger -state DIR restore FILE [-note TEXT] [-yes]

  print   every row in a sentence, oldest first
  verify  the whole chain; then rows, head, and sums by pump
  export  a table: -kind doses, readings (by minute), changes, events (interlocks, alarms, setpoints and what else
          came and went) or dictionary (what the columns hold, and in which unit); all in one file: leat report -export
  backup  a copy of one moment, beside a running daemon too, into a new FILE
  restore puts such a copy in the place of the folder's ledger, which is kept beside it; no daemon may run. A new
          epoch begins above what the nodes have seen, every tank observes, and as much as the caps allow counts
          as dosed since the copy was made. It asks before it does so; -yes answers

But for restore the folder may belong to a running daemon, and nothing in it is changed.
-from and -to take 2031-03-04, 2031-03-04T19:00, RFC 3339, or an age such as 36h.
A day given to -to is included. Times without a zone are this machine's.

`

// ledgerCommand reads the record of a state folder.
func ledgerCommand(flags *flag.FlagSet) task {
	var f desk.Ledger
	flags.StringVar(&f.State, "state", "", "state `folder` of the daemon")
	flags.StringVar(&f.Kind, "kind", "doses", "what to export: "+strings.Join(store.ExportKinds, ", "))
	flags.StringVar(&f.Format, "format", "", "text, csv or json; export writes csv unless told otherwise")
	flags.BoolVar(&f.JSON, "json", false, "the same as -format json")
	flags.StringVar(&f.Note, "note", "", "for the ledger: why a copy is put back")
	flags.BoolVar(&f.Yes, "yes", false, "put the copy back without asking")
	flags.StringVar(&f.From, "from", "", "begin at this `time`")
	flags.StringVar(&f.To, "to", "", "end before this `time`")
	flags.StringVar(&f.Tank, "tank", "", "only this `tank`")
	flags.StringVar(&f.Pump, "pump", "", "only this `pump`")
	return task{usage: ledgerUsage, words: 2, verbs: []string{"print", "verify", "export", "backup", "restore"},
		values: map[string][]string{"kind": store.ExportKinds, "format": {"text", "csv", "json"}},
		do: func(stdout, _ io.Writer) error {
			return f.Do(flags.Args(), setFlags(flags), os.Stdin, stdout)
		}}
}
