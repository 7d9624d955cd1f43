package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

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

// ledgerFlags are the flags of leat ledger, and which verbs each belongs to.
type ledgerFlags struct {
	state, kind, format, from, to, tank, pump, note string
	json, yes                                       bool
}

var ledgerVerbs = map[string]string{
	"print":  "state from to tank pump format json",
	"verify": "state format json",
	"export": "state kind from to tank pump format json",

	"backup":  "state",
	"restore": "state note yes",
}

// ledgerCommand reads the record of a state folder.
func ledgerCommand(flags *flag.FlagSet) task {
	var f ledgerFlags
	flags.StringVar(&f.state, "state", "", "state `folder` of the daemon")
	flags.StringVar(&f.kind, "kind", "doses", "what to export: "+strings.Join(store.ExportKinds, ", "))
	flags.StringVar(&f.format, "format", "", "text, csv or json; export writes csv unless told otherwise")
	flags.BoolVar(&f.json, "json", false, "the same as -format json")
	flags.StringVar(&f.note, "note", "", "for the ledger: why a copy is put back")
	flags.BoolVar(&f.yes, "yes", false, "put the copy back without asking")
	flags.StringVar(&f.from, "from", "", "begin at this `time`")
	flags.StringVar(&f.to, "to", "", "end before this `time`")
	flags.StringVar(&f.tank, "tank", "", "only this `tank`")
	flags.StringVar(&f.pump, "pump", "", "only this `pump`")
	return task{usage: ledgerUsage, words: 2, verbs: []string{"print", "verify", "export", "backup", "restore"},
		values: map[string][]string{"kind": store.ExportKinds, "format": {"text", "csv", "json"}},
		do: func(stdout, _ io.Writer) error {
			verb := flags.Arg(0)
			selection, err := f.check(verb, flags)
			if err != nil {
				return wrongUse(err.Error())
			}
			switch verb {
			case "backup":
				return backupLedger(f.state, flags.Arg(1), stdout)
			case "restore":
				return restoreLedger(f.state, flags.Arg(1), f.note, f.yes, os.Stdin, stdout)
			}
			return f.run(verb, selection, stdout)
		}}
}

// check finds what is wrong with the command line.
func (f *ledgerFlags) check(verb string, flags *flag.FlagSet) (store.Selection, error) {
	allowed, known := ledgerVerbs[verb]
	if !known {
		if verb == "" {
			verb = "no verb"
		}
		return store.Selection{}, fmt.Errorf("%s: want print, verify, export, backup or restore", verb)
	}
	var err error
	flags.Visit(func(given *flag.Flag) {
		if !strings.Contains(" "+allowed+" ", " "+given.Name+" ") {
			err = fmt.Errorf("-%s does not go with %s", given.Name, verb)
		}
	})
	if f.json {
		if f.format != "" && f.format != "json" {
			return store.Selection{}, fmt.Errorf("-json and -format %s contradict one another", f.format)
		}
		f.format = "json"
	}
	if f.format == "" {
		f.format = map[bool]string{true: "csv", false: "text"}[verb == "export"]
	}
	now := time.Now()
	from, fromErr := store.ReadMoment(f.from, now, false)
	to, toErr := store.ReadMoment(f.to, now, true)
	switch {
	case err != nil:
		return store.Selection{}, err
	case (verb == "backup" || verb == "restore") != (flags.NArg() == 2):
		return store.Selection{}, fmt.Errorf("%s wants %s", verb, map[bool]string{true: "one FILE", false: "no further argument"}[verb == "backup" || verb == "restore"])
	case f.state == "":
		return store.Selection{}, fmt.Errorf("-state is missing: it names the folder that holds leat.db")
	case f.format != "text" && f.format != "json" && (f.format != "csv" || verb != "export"):
		return store.Selection{}, fmt.Errorf("-format %q does not go with %s", f.format, verb)
	case !strings.Contains(" "+strings.Join(store.ExportKinds, " ")+" ", " "+f.kind+" "):
		return store.Selection{}, fmt.Errorf("-kind %q: want %s", f.kind, strings.Join(store.ExportKinds, ", "))
	case f.kind == "readings" && (f.tank != "" || f.pump != ""):
		return store.Selection{}, fmt.Errorf("readings are of inputs: -tank and -pump do not narrow them")
	case fromErr != nil:
		return store.Selection{}, fmt.Errorf("-from %w", fromErr)
	case toErr != nil:
		return store.Selection{}, fmt.Errorf("-to %w", toErr)
	case !from.IsZero() && !to.IsZero() && !from.Before(to):
		return store.Selection{}, fmt.Errorf("-from is not before -to")
	}
	return store.Selection{From: from, To: to, Tank: f.tank, Pump: f.pump}, nil
}

func (f *ledgerFlags) run(verb string, selection store.Selection, stdout io.Writer) (err error) {
	db, err := store.OpenReader(f.state)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	switch verb {
	case "print":
		return db.Print(stdout, f.format == "json", selection, time.Local)
	case "export":
		return db.Export(stdout, f.kind, f.format, selection)
	}
	return db.Verify(stdout, f.format == "json", time.Local)
}
