package main

import (
	"errors"
	"flag"
	"io"
	"slices"

	"leat/controller/config"
	"leat/controller/report"
	"leat/controller/report/sheet"
	"leat/controller/store"
)

const reportUsage = `usage: leat report -state DIR [night|week|month] [flags]
       leat report -config FILE [night|week|month] [flags]
       leat report -config FILE stocks [-json]
       leat report -config FILE -export FILE.sqlite [night|week|month]

What was dosed and why something was withheld, who changed what, water and nutrients. The folder may belong to a
running daemon, and nothing in it is changed.

  night   18:00 to 08:00: the one that ended last, or from 01:00 on the one under way; the default
  week    the seven days up to the end of the record
  month   the month up to the end of the record
  stocks  what the containers hold by the refills that were entered, and how many days it lasts

-export writes doses, readings, changes and events into one SQLite file, with a table dictionary that tells each
column's unit and meaning: the whole record, or the time asked for. As CSV: leat ledger export.

-from and -to take 2031-03-04, 2031-03-04T19:00, RFC 3339, or an age such as 36h, which counts from the end of the
record. Times without a zone are the farm's.

`

// reportFlags are the flags of leat report.
type reportFlags struct {
	state, config, from, to, html, export string
	json                                  bool
}

func reportCommand(flags *flag.FlagSet) task {
	var f reportFlags
	flags.StringVar(&f.state, "state", "", "state `FOLDER` of the daemon")
	flags.StringVar(&f.config, "config", "", "configuration `FILE` of the daemon, to find its state folder")
	flags.StringVar(&f.from, "from", "", "begin at this `TIME`")
	flags.StringVar(&f.to, "to", "", "end before this `TIME`")
	flags.StringVar(&f.html, "html", "", "write the report with pictures into this `FILE`, for a browser")
	flags.StringVar(&f.export, "export", "", "write the data of the time into this new SQLite `FILE`, for other programs")
	flags.BoolVar(&f.json, "json", false, "print the report as JSON")
	return task{usage: reportUsage, words: 1, verbs: append(slices.Clone(report.Periods), stocksWord), do: func(stdout, _ io.Writer) error {
		return f.run(flags.Arg(0), stdout)
	}}
}

// stocksWord asks for the containers instead of a time.
const stocksWord = "stocks"

func printStocks(db *store.DB, asJSON bool, stdout io.Writer) error {
	stocks, err := report.ReadStocks(db)
	switch {
	case err != nil:
		return err
	case asJSON:
		return writeJSON(stdout, stocks)
	}
	return sheet.Stocks(stdout, stocks)
}

// folderOf finds the state folder by -state or -config, one of the two.
func folderOf(state, path string) (string, error) {
	if (path == "") == (state == "") {
		return "", misuse("name the daemon by -config FILE or -state FOLDER, one of the two")
	}
	if state != "" {
		return state, nil
	}
	file, err := config.Look(path)
	if err != nil {
		return "", err
	}
	return file.State, nil
}

func (f *reportFlags) run(period string, stdout io.Writer) (err error) {
	if given := given(f.html != "", f.export != "", f.json); given > 1 || period == stocksWord && (f.html != "" || f.export != "") {
		return misuse("-html, -export and -json are one or the other, and stocks are printed as text or JSON")
	}
	if period != "" && (f.from != "" || f.to != "") {
		return misuse("%s and -from or -to contradict one another", period)
	}
	folder, err := folderOf(f.state, f.config)
	if err != nil {
		return err
	}
	if err := mayWrite(f.html); err != nil {
		return err
	}
	db, err := store.OpenReader(folder)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	if period == stocksWord {
		return printStocks(db, f.json, stdout)
	}
	ask := report.Ask{Period: period, From: f.from, To: f.to}
	if f.export != "" {
		return exportRecord(db, ask, f.export)
	}
	r, err := report.Read(db, store.ReadMoment, ask)
	return f.print(r, err, stdout)
}

// given counts what was given.
func given(all ...bool) (n int) {
	for _, one := range all {
		if one {
			n++
		}
	}
	return n
}

// exportRecord writes the whole record, or the time asked for, into a file.
func exportRecord(db *store.DB, ask report.Ask, path string) error {
	var selection store.Selection
	if ask != (report.Ask{}) {
		period, _, err := report.PeriodIn(db, store.ReadMoment, ask)
		if err != nil {
			return asMisuse(err)
		}
		selection.From, selection.To = period.From, period.To
	}
	return db.ExportFile(path, selection)
}

// asMisuse makes a wrong use of a question that cannot be answered.
func asMisuse(err error) error {
	var unclear report.Unclear
	if errors.As(err, &unclear) {
		return misuse("%v", err)
	}
	return err
}

func (f *reportFlags) print(r *report.Report, err error, stdout io.Writer) error {
	switch {
	case err != nil:
		return asMisuse(err)
	case f.json:
		return writeJSON(stdout, r)
	case f.html != "":
		return writeFile(f.html, func(w io.Writer) error { return sheet.HTML(w, r) })
	}
	return sheet.Text(stdout, r)
}
