package desk

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"leat/controller/store"
)

// Ledger is what leat ledger is asked.
type Ledger struct {
	State, Kind, Format, From, To, Tank, Pump, Note string
	JSON, Yes                                       bool
}

// ledgerVerbs are what it does, with the flags that go with each.
var ledgerVerbs = map[string]string{
	"print":  "state from to tank pump format json",
	"verify": "state format json",
	"export": "state kind from to tank pump format json",

	"backup":  "state",
	"restore": "state note yes",
}

// Do carries out a verb and its argument; given are the flags that were set.
func (f *Ledger) Do(words []string, given map[string]bool, stdin io.Reader, stdout io.Writer) error {
	selection, err := f.check(words, given)
	if err != nil {
		return WrongUse(err.Error())
	}
	switch words[0] {
	case "backup":
		return backupLedger(f.State, words[1], stdout)
	case "restore":
		return RestoreLedger(f.State, words[1], f.Note, f.Yes, stdin, stdout)
	}
	return f.read(words[0], selection, stdout)
}

// check finds what is wrong with the command line.
func (f *Ledger) check(words []string, given map[string]bool) (store.Selection, error) {
	verb := "no verb"
	if len(words) > 0 {
		verb = words[0]
	}
	allowed, known := ledgerVerbs[verb]
	if !known {
		return store.Selection{}, fmt.Errorf("%s: want print, verify, export, backup or restore", verb)
	}
	var err error
	for name := range given {
		if !strings.Contains(" "+allowed+" ", " "+name+" ") {
			err = fmt.Errorf("-%s does not go with %s", name, verb)
		}
	}
	if f.JSON {
		if f.Format != "" && f.Format != "json" {
			return store.Selection{}, fmt.Errorf("-json and -format %s contradict one another", f.Format)
		}
		f.Format = "json"
	}
	if f.Format == "" {
		f.Format = map[bool]string{true: "csv", false: "text"}[verb == "export"]
	}
	now := time.Now()
	from, fromErr := store.ReadMoment(f.From, now, false)
	to, toErr := store.ReadMoment(f.To, now, true)
	switch {
	case err != nil:
		return store.Selection{}, err
	case (verb == "backup" || verb == "restore") != (len(words) == 2):
		return store.Selection{}, fmt.Errorf("%s wants %s", verb, map[bool]string{true: "one FILE", false: "no further argument"}[verb == "backup" || verb == "restore"])
	case f.State == "":
		return store.Selection{}, fmt.Errorf("-state is missing: it names the folder that holds leat.db")
	case f.Format != "text" && f.Format != "json" && (f.Format != "csv" || verb != "export"):
		return store.Selection{}, fmt.Errorf("-format %q does not go with %s", f.Format, verb)
	case !strings.Contains(" "+strings.Join(store.ExportKinds, " ")+" ", " "+f.Kind+" "):
		return store.Selection{}, fmt.Errorf("-kind %q: want %s", f.Kind, strings.Join(store.ExportKinds, ", "))
	case f.Kind == "readings" && (f.Tank != "" || f.Pump != ""):
		return store.Selection{}, fmt.Errorf("readings are of inputs: -tank and -pump do not narrow them")
	case fromErr != nil:
		return store.Selection{}, fmt.Errorf("-from %w", fromErr)
	case toErr != nil:
		return store.Selection{}, fmt.Errorf("-to %w", toErr)
	case !from.IsZero() && !to.IsZero() && !from.Before(to):
		return store.Selection{}, fmt.Errorf("-from is not before -to")
	}
	return store.Selection{From: from, To: to, Tank: f.Tank, Pump: f.Pump}, nil
}

func (f *Ledger) read(verb string, selection store.Selection, stdout io.Writer) (err error) {
	db, err := store.OpenReader(f.State)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	switch verb {
	case "print":
		return db.Print(stdout, f.Format == "json", selection, time.Local)
	case "export":
		return db.Export(stdout, f.Kind, f.Format, selection)
	}
	return db.Verify(stdout, f.Format == "json", time.Local)
}
