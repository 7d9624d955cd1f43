package store

import (
	"bufio"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"leat/dosing"
	"leat/safety/ledger"
)

// ExportKinds are what Export knows, in the order of the help text. What their columns
// hold stands in dictionary.go, and is a table itself.
var ExportKinds = []string{"doses", "readings", "changes", "events", dictionaryKind}

// sink takes a table: its columns, then its rows.
type sink interface {
	begin(columns ...string) error
	row(cells ...any) error
	end() error
}

// export is a part of the record on its way into tables.
type export struct {
	*Record
	Selection
	into sink
}

// tables are how each kind of table is written.
var tables = map[string]func(export) error{"doses": export.doses, "readings": export.readings, "changes": export.changes,
	"events": export.events, dictionaryKind: export.dictionary}

// Export writes one kind of table to w in the given format: text, csv or json.
func (r *Record) Export(w io.Writer, kind, format string, selection Selection) error {
	table := tables[kind]
	if table == nil {
		return fmt.Errorf("kind %q: want %s", kind, strings.Join(ExportKinds, ", "))
	}
	if err := selection.check(r); err != nil {
		return err
	}
	out, err := newTable(w, format)
	if err != nil {
		return err
	}
	if err := table(export{r, selection, out}); err != nil {
		return err
	}
	return out.end()
}

// dose is one dose from its intent to its settlement.
type dose struct {
	intent  ledger.Entry
	settled ledger.Entry
}

// doses joins intents with their settlements, in the order of the intents.
func (x export) doses() error {
	var doses []dose
	place := map[uint64]int{} // by order
	_, _, err := ledger.Verify(x, func(e ledger.Entry) error {
		switch {
		case e.Kind == ledger.EntrySettlement:
			if i, known := place[e.Order.Key()]; known {
				doses[i].settled = e
			}
		case !x.picks(e):
		case e.Kind == ledger.EntryIntent:
			place[e.Order.Key()] = len(doses)
			doses = append(doses, dose{intent: e})
		case e.Kind == ledger.EntryChange && e.Change == ledger.ChangeHandDose:
			doses = append(doses, dose{intent: e, settled: e})
		}
		return nil
	})
	if err != nil {
		return err
	}
	if err := x.into.begin(columnsOf("doses")...); err != nil {
		return err
	}
	for _, d := range doses {
		if err := x.into.row(d.cells()...); err != nil {
			return err
		}
	}
	return nil
}

func (d dose) cells() []any {
	i, s := d.intent, d.settled
	if i.Kind == ledger.EntryChange {
		return []any{nil, moment(i.At.Wall), i.Tank, i.Pump, nil, "by hand", i.Volume, nil, nil, nil, nil, nil, i.Text, nil, i.By}
	}
	counted := i.Volume // an open dose counts in full
	if s.Kind == ledger.EntrySettlement {
		counted = s.Volume
	}
	return []any{i.Order.String(), moment(i.At.Wall), i.Tank, i.Pump, i.Volume, s.Outcome.String(), counted, moment(s.At.Wall),
		i.Reason.String(), reading(i.PH), reading(i.EC), reading(i.Temperature), s.Cause, i.Configuration, nil}
}

// reading is a value a dose rests on; what was not there is an empty cell.
func reading(v float64) any {
	if v == 0 || math.IsNaN(v) {
		return nil
	}
	return v
}

func moment(t time.Time) any {
	if t.IsZero() {
		return nil
	}
	return t
}

func (x export) changes() error {
	if err := x.into.begin(columnsOf("changes")...); err != nil {
		return err
	}
	_, _, err := ledger.Verify(x, func(e ledger.Entry) error {
		if e.Kind != ledger.EntryChange || !x.picks(e) {
			return nil
		}
		var quantity any
		if e.Quantity != dosing.QuantityNone {
			quantity = e.Quantity.String()
		}
		return x.into.row(e.Sequence, moment(e.At.Wall), uint64(e.Epoch), e.Change.String(), e.Tank, e.Pump, quantity, e.Old, e.Value,
			e.Spread, e.Volume, moment(e.Until), e.Trusted, e.Text, e.Note, e.By, e.From)
	})
	return err
}

// aDay is how much of the history is read at a time.
const aDay = 24 * time.Hour

func (x export) readings() error {
	if err := x.into.begin(columnsOf("readings")...); err != nil {
		return err
	}
	inputs, err := x.Inputs()
	if err != nil {
		return err
	}
	for _, input := range inputs {
		from, to, err := x.span(input)
		if err != nil {
			return err
		}
		for ; from.Before(to); from = from.Add(aDay) {
			minutes, err := x.Readings(input, from, earlier(from.Add(aDay), to))
			if err != nil {
				return err
			}
			for _, m := range minutes {
				if err := x.into.row(m.At, input, uint64(m.Count), m.Low, m.Mean, m.Top); err != nil {
					return err
				}
			}
		}
	}
	return nil
}

func earlier(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}

// span is the part of the selection in which the input has minutes.
func (x export) span(input string) (from, to time.Time, err error) {
	var first, last *int64
	err = x.read.QueryRow(`SELECT min(at), max(at) FROM minute WHERE input = (SELECT id FROM input WHERE name = ?)`, input).
		Scan(&first, &last)
	if err != nil || first == nil || last == nil {
		return from, to, err
	}
	from, to = time.Unix(*first*60, 0).UTC(), time.Unix(*last*60+60, 0).UTC()
	if from.Before(x.From) {
		from = x.From
	}
	if !x.To.IsZero() {
		to = earlier(to, x.To)
	}
	return from, to, nil
}

// Print writes every selected row of the ledger in order: as sentences, or as
// one JSON array of the rows as they stand in the record.
func (r *Record) Print(w io.Writer, asJSON bool, selection Selection, zone *time.Location) error {
	err := selection.check(r)
	if err != nil {
		return err
	}
	var out *table
	lines := bufio.NewWriter(w)
	if asJSON {
		if out, err = newTable(w, "json"); err != nil {
			return err
		}
		if err := out.begin("row", "hash", "entry"); err != nil {
			return err
		}
	}
	_, _, err = ledger.VerifyRows(r, func(row ledger.Row, e ledger.Entry) error {
		if !selection.picks(e) {
			return nil
		}
		if asJSON {
			return out.row(row.Sequence, hex.EncodeToString(row.Hash[:]), json.RawMessage(row.Body))
		}
		_, err := fmt.Fprintf(lines, "%6d  %s  %s\n", row.Sequence, e.At.Wall.In(zone).Format("2006-01-02 15:04:05 -0700"), e)
		return err
	})
	if asJSON && err == nil {
		return out.end()
	}
	// What is proved before a broken row is printed all the same.
	if flushErr := lines.Flush(); err == nil {
		err = flushErr
	}
	return err
}
