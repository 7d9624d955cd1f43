package main

import (
	"encoding/hex"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"os"
	"sort"
	"strings"
	"text/tabwriter"
	"time"

	"leat/controller/store"
	"leat/dosing"
	"leat/safety/ledger"
)

const ledgerUsage = `usage: leat ledger -state DIR print|verify|export [flags]
       leat ledger -state DIR backup FILE
       leat ledger -state DIR restore FILE [-note TEXT] [-yes]

  print   every row in a sentence, oldest first
  verify  the whole chain; then rows, head, and sums by pump
  export  a table: -kind doses, readings (by minute) or changes
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
func ledgerCommand(args []string, stdout, stderr io.Writer) int {
	var f ledgerFlags
	flags := flag.NewFlagSet("leat ledger", flag.ContinueOnError)
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
	flags.Usage = func() {
		fmt.Fprint(stdout, ledgerUsage)
		flags.PrintDefaults()
	}
	if code, done := parseFlags(flags, args, stdout, stderr, 2); done {
		return code
	}
	verb := flags.Arg(0)
	selection, err := f.check(verb, flags)
	if err != nil {
		return misused("leat ledger", err.Error(), stderr)
	}
	switch verb {
	case "backup":
		err = backupLedger(f.state, flags.Arg(1), stdout)
	case "restore":
		err = restoreLedger(f.state, flags.Arg(1), f.note, f.yes, os.Stdin, stdout)
	default:
		err = f.run(verb, selection, stdout)
	}
	if err != nil {
		fmt.Fprintf(stderr, "leat ledger: %v\n", err)
		return 1
	}
	return 0
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
	from, fromErr := parseMoment(f.from, now, false)
	to, toErr := parseMoment(f.to, now, true)
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

// parseMoment reads a time of the command line; empty is no limit.
func parseMoment(text string, now time.Time, endOfDay bool) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	if age, err := time.ParseDuration(text); err == nil {
		return now.Add(-age), nil
	}
	if day, err := time.ParseInLocation(time.DateOnly, text, now.Location()); err == nil {
		if endOfDay {
			day = day.AddDate(0, 0, 1)
		}
		return day, nil
	}
	for _, layout := range []string{time.RFC3339, "2006-01-02T15:04:05", "2006-01-02T15:04", "2006-01-02 15:04:05", "2006-01-02 15:04"} {
		if moment, err := time.ParseInLocation(layout, text, now.Location()); err == nil {
			return moment, nil
		}
	}
	return time.Time{}, fmt.Errorf("%q: want a time such as 2031-03-04 or 2031-03-04T19:00, or an age such as 36h", text)
}

func (f *ledgerFlags) run(verb string, selection store.Selection, stdout io.Writer) (err error) {
	db, err := store.OpenReader(f.state)
	if err != nil {
		return err
	}
	defer func() {
		if closeErr := db.Close(); err == nil {
			err = closeErr
		}
	}()
	if selection.Pump != "" {
		if err := onRecord(db, selection.Pump); err != nil {
			return err
		}
	}
	switch verb {
	case "print":
		return db.Print(stdout, f.format == "json", selection, time.Local)
	case "export":
		return db.Export(stdout, f.kind, f.format, selection)
	}
	state, err := ledger.Replay(db, dosing.Instant{Wall: time.Now()}, false)
	if err != nil {
		return err
	}
	if f.format == "json" {
		return verifyJSON(state, stdout)
	}
	return verifyText(state, stdout)
}

// onRecord refuses a pump that never dosed: an empty table would hide a typing error.
func onRecord(db *store.DB, pump string) error {
	state, err := ledger.Replay(db, dosing.Instant{Wall: time.Now()}, false)
	if err != nil {
		return err
	}
	if _, known := state.Ever[pump]; !known {
		return fmt.Errorf("pump %q has no dose on record; there are: %s", pump, strings.Join(pumpsOf(state), ", "))
	}
	return nil
}

func verifyText(state ledger.State, stdout io.Writer) error {
	w := tabwriter.NewWriter(stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintf(w, "rows\t%d\nhead\t%x\n", state.Rows, state.Head)
	if state.Rows > 0 {
		fmt.Fprintf(w, "from\t%s\nto\t%s\nepoch\t%d\n", state.First.In(time.Local).Format(time.RFC3339),
			state.Last.In(time.Local).Format(time.RFC3339), state.LastEpoch)
	}
	for _, open := range state.Open {
		fmt.Fprintf(w, "open\tdose %s: %s of %s into %s, counted in full\n", open.Order, open.Volume, open.Pump, open.Tank)
	}
	if len(state.Ever) > 0 {
		fmt.Fprint(w, "\npump\tcounted mL")
		for o := ledger.OutcomeOpen; o < ledger.OutcomeCount; o++ {
			fmt.Fprintf(w, "\t%s", o)
		}
		fmt.Fprintln(w)
	}
	for _, pump := range pumpsOf(state) {
		fmt.Fprintf(w, "%s\t%s", pump, strings.TrimSuffix(state.Ever[pump].String(), " mL"))
		for _, doses := range state.Outcomes[pump].Doses {
			fmt.Fprintf(w, "\t%d", doses)
		}
		fmt.Fprintln(w)
	}
	fmt.Fprintln(w, "\nThe chain holds from the first row to the head.")
	return w.Flush()
}

func verifyJSON(state ledger.State, stdout io.Writer) error {
	type pump struct {
		Pump    string            `json:"pump"`
		Counted json.Number       `json:"counted_ml"`
		Doses   map[string]uint64 `json:"doses"`
	}
	out := struct {
		Holds bool     `json:"holds"`
		Rows  uint64   `json:"rows"`
		Head  string   `json:"head"`
		Epoch uint32   `json:"epoch"`
		Open  []string `json:"open"`
		Pumps []pump   `json:"pumps"`
	}{Holds: true, Rows: state.Rows, Head: hex.EncodeToString(state.Head[:]), Epoch: state.LastEpoch, Open: []string{}, Pumps: []pump{}}
	for _, open := range state.Open {
		out.Open = append(out.Open, open.Order.String())
	}
	for _, name := range pumpsOf(state) {
		p := pump{Pump: name, Counted: json.Number(strings.TrimSuffix(state.Ever[name].String(), " mL")), Doses: map[string]uint64{}}
		for o, doses := range state.Outcomes[name].Doses {
			p.Doses[ledger.Outcome(o).String()] = doses
		}
		out.Pumps = append(out.Pumps, p)
	}
	return writeJSON(stdout, out)
}

func pumpsOf(state ledger.State) []string {
	pumps := make([]string, 0, len(state.Ever))
	for pump := range state.Ever {
		pumps = append(pumps, pump)
	}
	sort.Strings(pumps)
	return pumps
}
