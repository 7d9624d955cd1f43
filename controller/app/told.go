package app

import (
	"fmt"
	"io"
	"time"

	"leat/controller/diary"
	"leat/controller/report"
	"leat/controller/store"
	"leat/controller/web"
)

// lately is a record that is read for the page: its ledger is found by time and not verified.
type lately struct{ *store.Record }

// Past reads what the record holds of a time.
func (l lately) Past(from, to time.Time) (*diary.Past, error) { return l.Lately(from, to) }

// aDay is the period of the page of doses.
const aDay = "day"

// told is the report of a period by name, or of the last day.
func (n nights) told(period string) (*report.Report, error) {
	if period != aDay {
		return report.Read(lately{n.db.Record}, nil, report.Ask{Period: period})
	}
	_, last, station, err := n.db.Span()
	if err != nil {
		return nil, err
	}
	zone := time.Local
	if station != nil {
		if zone, err = time.LoadLocation(station.Zone); err != nil {
			return nil, fmt.Errorf("the farm's zone: %w", err)
		}
	}
	past, err := n.db.Lately(last.Add(-24*time.Hour).In(zone), last.Add(time.Second).In(zone))
	if err != nil {
		return nil, err
	}
	return report.Of(past, "the last day"), nil
}

// export writes rows of a kind as CSV, since a time.
func (n nights) export(w io.Writer, kind string, from time.Time) error {
	return n.db.Export(w, kind, "csv", store.Selection{From: from})
}

// people are those who may sign in.
func (n nights) people() ([]web.Person, error) {
	all, err := n.db.People().List()
	people := make([]web.Person, 0, len(all))
	for _, p := range all {
		person := personOf(p)
		person.Hash = ""
		people = append(people, person)
	}
	return people, err
}
