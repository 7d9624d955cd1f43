package desk

import (
	"errors"
	"io"
	"maps"
	"slices"
	"strings"

	"leat/controller/config"
	"leat/controller/report"
	"leat/controller/report/sheet"
	"leat/controller/store"
)

// Report is what leat report is asked.
type Report struct {
	State, Config, From, To, HTML, Export string
	JSON                                  bool
	Weeks                                 int // of the shopping list
}

// pictured are the lists that are written for a browser too.
var pictured = []string{"drift", "letter"}

// lists are what can be asked for instead of a time, printed as text or JSON.
var lists = map[string]func(f *Report, db *store.Record, stdout io.Writer) error{
	"stocks": func(f *Report, db *store.Record, stdout io.Writer) error {
		return printList(db, f.JSON, stdout, report.ReadStocks, sheet.Stocks)
	},
	"probes": func(f *Report, db *store.Record, stdout io.Writer) error {
		return printList(db, f.JSON, stdout, report.ReadProbes, sheet.Probes)
	},
	"pumps": func(f *Report, db *store.Record, stdout io.Writer) error {
		return printList(db, f.JSON, stdout, report.ReadPumps, sheet.Pumps)
	},
	"drift": func(f *Report, db *store.Record, stdout io.Writer) error {
		return printOrWrite(f, db, stdout, report.ReadDrift, sheet.Drift, sheet.DriftHTML)
	},
	"letter": func(f *Report, db *store.Record, stdout io.Writer) error {
		return printOrWrite(f, db, stdout, report.ReadLetter, sheet.Letter, sheet.LetterHTML)
	},
	"water": func(f *Report, db *store.Record, stdout io.Writer) error {
		return printList(db, f.JSON, stdout, report.ReadWater, sheet.Water)
	},
	"shopping": func(f *Report, db *store.Record, stdout io.Writer) error {
		return printList(db, f.JSON, stdout, func(r report.Record) (*report.Shopping, error) { return report.ReadShopping(r, f.Weeks) }, sheet.Shopping)
	},
}

// ReportWords are the periods and lists that leat report knows.
func ReportWords() []string {
	return append(slices.Clone(report.Periods), slices.Sorted(maps.Keys(lists))...)
}

func printList[R any](db *store.Record, asJSON bool, stdout io.Writer, read func(report.Record) (R, error), write func(io.Writer, R) error) error {
	list, err := read(db)
	switch {
	case err != nil:
		return err
	case asJSON:
		return WriteJSON(stdout, list)
	}
	return write(stdout, list)
}

// printOrWrite is printList of what is written for a browser too.
func printOrWrite[R any](f *Report, db *store.Record, stdout io.Writer, read func(report.Record) (R, error), write, html func(io.Writer, R) error) error {
	if f.HTML == "" {
		return printList(db, f.JSON, stdout, read, write)
	}
	list, err := read(db)
	if err != nil {
		return err
	}
	return writeFile(f.HTML, func(w io.Writer) error { return html(w, list) })
}

// FolderOf finds the state folder by -state or -config, one of the two.
func FolderOf(state, path string) (string, error) {
	if (path == "") == (state == "") {
		return "", Misuse("name the daemon by -config FILE or -state FOLDER, one of the two")
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

// Run prints or writes the report of a time, or what the containers hold.
func (f *Report) Run(period string, stdout io.Writer) (err error) {
	list, listed := lists[period]
	switch given := given(f.HTML != "", f.Export != "", f.JSON); {
	case given > 1:
		return Misuse("-html, -export and -json are one or the other")
	case listed && (f.Export != "" || f.HTML != "" && !slices.Contains(pictured, period)):
		return Misuse("%s is printed as text or JSON; -html is of a time, of %s", period, strings.Join(pictured, " and of "))
	}
	if period != "" && (f.From != "" || f.To != "") {
		return Misuse("%s and -from or -to contradict one another", period)
	}
	folder, err := FolderOf(f.State, f.Config)
	if err != nil {
		return err
	}
	if err := MayWrite(f.HTML); err != nil {
		return err
	}
	db, err := store.OpenReader(folder)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	if listed {
		return asMisuse(list(f, db, stdout))
	}
	ask := report.Ask{Period: period, From: f.From, To: f.To}
	if f.Export != "" {
		return exportRecord(db, ask, f.Export)
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
func exportRecord(db *store.Record, ask report.Ask, path string) error {
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
		return Misuse("%v", err)
	}
	return err
}

func (f *Report) print(r *report.Report, err error, stdout io.Writer) error {
	switch {
	case err != nil:
		return asMisuse(err)
	case f.JSON:
		return WriteJSON(stdout, r)
	case f.HTML != "":
		return writeFile(f.HTML, func(w io.Writer) error { return sheet.HTML(w, r) })
	}
	return sheet.Text(stdout, r)
}
