package store

import (
	"database/sql"
	"fmt"
	"time"

	"leat/controller/diary"
)

func writeEvents(tx *sql.Tx, events []diary.Event) error {
	for i := range events {
		e := &events[i]
		_, err := tx.Exec(`INSERT INTO event (at, tank, kind, name, pump, value, text) VALUES (?, ?, ?, ?, ?, ?, ?)`,
			e.At.UnixMilli(), e.Tank, e.Kind.String(), e.Name, e.Pump, e.Value, e.Text)
		if err != nil {
			return err
		}
	}
	return nil
}

// pruneEvents forgets what is older than a minute of the calendar, at most a day of it
// at once, as minutes are pruned.
func pruneEvents(tx *sql.Tx, before int64) error {
	_, err := tx.Exec(`DELETE FROM event WHERE at < ?1 AND at < (SELECT min(at) FROM event) + ?2`,
		before*time.Minute.Milliseconds(), prunedAtOnce*time.Minute.Milliseconds())
	return err
}

// Events are what came and went in [from, to), in order. Kinds that this program does
// not know are passed over.
func (r *Record) Events(from, to time.Time) ([]diary.Event, error) {
	return r.eventsWhere(`WHERE at >= ? AND at < ? ORDER BY at, id`, from.UnixMilli(), to.UnixMilli())
}

func (r *Record) eventsWhere(where string, args ...any) ([]diary.Event, error) {
	found, err := r.read.Query(`SELECT at, tank, kind, name, pump, value, text FROM event `+where, args...)
	if err != nil {
		return nil, fmt.Errorf("events: %w", err)
	}
	defer func() { _ = found.Close() }() // its error is that of Err
	var events []diary.Event
	for found.Next() {
		var at int64
		var kind string
		var e diary.Event
		if err := found.Scan(&at, &e.Tank, &kind, &e.Name, &e.Pump, &e.Value, &e.Text); err != nil {
			return nil, fmt.Errorf("events: %w", err)
		}
		var known bool
		if e.Kind, known = diary.ParseKind(kind); known {
			e.At = time.UnixMilli(at).UTC()
			events = append(events, e)
		}
	}
	return events, found.Err()
}

// events writes what came and went.
func (x export) events() error {
	if err := x.into.begin(columnsOf("events")...); err != nil {
		return err
	}
	from, to, _, err := x.Span()
	if err != nil || from.IsZero() {
		return err
	}
	to = to.Add(time.Minute)
	if from.Before(x.From) {
		from = x.From
	}
	if !x.To.IsZero() {
		to = earlier(to, x.To)
	}
	for ; from.Before(to); from = from.Add(aDay) {
		events, err := x.Events(from, earlier(from.Add(aDay), to))
		if err != nil {
			return err
		}
		for _, e := range events {
			if x.Tank != "" && e.Tank != x.Tank || x.Pump != "" && e.Pump != x.Pump {
				continue
			}
			if err := x.into.row(e.At, e.Tank, e.Kind.String(), e.Name, e.Pump, e.Value, e.Text); err != nil {
				return err
			}
		}
	}
	return nil
}
