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

What was dosed and why something was withheld, who changed what, water and nutrients. The folder may belong to a
running daemon, and nothing in it is changed.

  night   18:00 to 08:00: the one that ended last, or from 01:00 on the one under way; the default
  week    the seven days up to the end of the record
  month   the month up to the end of the record
  stocks  what the containers hold by the refills that were entered, and how many days it lasts

-from and -to take 2031-03-04, 2031-03-04T19:00, RFC 3339, or an age such as 36h, which counts from the end of the
record. Times without a zone are the farm's.

`

// reportFlags are the flags of leat report.
type reportFlags struct {
	state, config, from, to, html string
	json                          bool
}

func reportCommand(flags *flag.FlagSet) task {
	var f reportFlags
	flags.StringVar(&f.state, "state", "", "state `FOLDER` of the daemon")
	flags.StringVar(&f.config, "config", "", "configuration `FILE` of the daemon, to find its state folder")
	flags.StringVar(&f.from, "from", "", "begin at this `TIME`")
	flags.StringVar(&f.to, "to", "", "end before this `TIME`")
	flags.StringVar(&f.html, "html", "", "write the report with pictures into this `FILE`, for a browser")
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
	if period == stocksWord && f.html != "" {
		return misuse("stocks are printed as text or JSON")
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
	r, err := report.Read(db, store.ReadMoment, report.Ask{Period: period, From: f.from, To: f.to})
	var unclear report.Unclear
	switch {
	case errors.As(err, &unclear):
		return misuse("%v", err)
	case err != nil:
		return err
	case f.json:
		return writeJSON(stdout, r)
	case f.html != "":
		return writeFile(f.html, func(w io.Writer) error { return sheet.HTML(w, r) })
	}
	return sheet.Text(stdout, r)
}
