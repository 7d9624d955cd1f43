package store

import (
	"database/sql"
	"errors"
	"fmt"
	"time"

	"leat/controller/diary"
	"leat/safety/ledger"
)

// Span is from the first to the last thing that the record tells, zero where it is
// empty, with the station as it was last configured; nil where it does not tell.
func (r *Record) Span() (first, last time.Time, station *diary.Station, err error) {
	stretch := func(at time.Time) {
		if first.IsZero() || at.Before(first) {
			first = at
		}
		if at.After(last) {
			last = at
		}
	}
	for query, unit := range map[string]time.Duration{
		`SELECT min(at), max(at) FROM event`: time.Millisecond,
		// Input by input: the whole table has no index by time.
		`SELECT min(low), max(high) FROM (SELECT (SELECT min(at) FROM minute WHERE input = id) AS low,
			(SELECT max(at) + 1 FROM minute WHERE input = id) AS high FROM input)`: time.Minute,
	} {
		var low, high sql.NullInt64
		if err := r.read.QueryRow(query).Scan(&low, &high); err != nil {
			return first, last, nil, fmt.Errorf("%s: %w", r.path, err)
		}
		if low.Valid && high.Valid {
			stretch(time.UnixMilli(low.Int64 * unit.Milliseconds()))
			stretch(time.UnixMilli(high.Int64 * unit.Milliseconds()))
		}
	}
	for _, order := range []string{"ASC", "DESC"} {
		var row ledger.Row
		err := r.read.QueryRow(`SELECT sequence, body FROM ledger ORDER BY sequence `+order+` LIMIT 1`).Scan(&row.Sequence, &row.Body)
		if errors.Is(err, sql.ErrNoRows) {
			break
		}
		if err != nil {
			return first, last, nil, fmt.Errorf("%s: %w", r.path, err)
		}
		if e, bad := ledger.Decode(row); bad == nil && !e.At.Wall.IsZero() {
			stretch(e.At.Wall)
		}
	}
	station, err = r.station(last.Add(time.Minute))
	return first, last, station, err
}

// station is the newest word before a moment on how the station was configured.
func (r *Record) station(before time.Time) (*diary.Station, error) {
	said, err := r.eventsWhere(`WHERE kind = ? AND at < ? ORDER BY at DESC, id DESC LIMIT 1`, diary.KindStation.String(), before.UnixMilli())
	if err != nil || len(said) == 0 {
		return nil, err
	}
	return diary.ReadStation(said[0].Text)
}

// EachEntry follows the ledger from its first row, and verifies it on the way.
func (r *Record) EachEntry(each func(ledger.Entry) error) error {
	_, _, err := ledger.Verify(r, each)
	return err
}

// Past reads what the record holds of [from, to), and verifies the whole ledger on
// the way. A time before the record, or after it, is empty.
func (r *Record) Past(from, to time.Time) (*diary.Past, error) {
	return r.past(from, to, func(each func(ledger.Entry) error) (uint64, error) {
		rows, _, err := ledger.Verify(r, each)
		return rows, err
	})
}

// Lately is Past for the page, which shows the last hours again and again: it finds the
// ledger's rows by their time and verifies nothing, so that a year of doses costs no more than
// a night.
func (r *Record) Lately(from, to time.Time) (*diary.Past, error) {
	return r.past(from, to, func(each func(ledger.Entry) error) (uint64, error) {
		entries, err := r.entriesIn(from, to)
		for _, e := range entries {
			if err == nil {
				err = each(e)
			}
		}
		return 0, err
	})
}

// Bounds of what entriesIn reads: a wall clock that was put back must not hide what came
// before, nor a flood of rows hold up the page.
const (
	newestSlack = 2 * time.Hour
	newestMost  = 50_000
)

// entriesIn are the entries of the ledger of [from, to) and a little around it, in order.
func (r *Record) entriesIn(from, to time.Time) ([]ledger.Entry, error) {
	first, err := firstSince(r, from.Add(-newestSlack))
	if err != nil {
		return nil, err
	}
	end, err := firstSince(r, to.Add(newestSlack))
	if err != nil {
		return nil, err
	}
	if end > first+newestMost {
		first = end - newestMost
	}
	return entriesFrom(r, first, end)
}

// entriesFrom are the rows [first, end) of the ledger.
func entriesFrom(r *Record, first, end uint64) (entries []ledger.Entry, err error) {
	found, err := r.read.Query(`SELECT sequence, body FROM ledger WHERE sequence >= ? AND sequence < ? ORDER BY sequence`, int64(first), int64(end))
	if err != nil {
		return nil, fmt.Errorf("ledger: %w", err)
	}
	defer func() { _ = found.Close() }() // its error is that of Err
	for found.Next() {
		var row ledger.Row
		if err := found.Scan(&row.Sequence, &row.Body); err != nil {
			return nil, fmt.Errorf("ledger: %w", err)
		}
		e, err := ledger.Decode(row)
		if err != nil {
			return nil, fmt.Errorf("ledger: row %d: %w", row.Sequence, err)
		}
		entries = append(entries, e)
	}
	return entries, found.Err()
}

func (r *Record) past(from, to time.Time, read func(each func(ledger.Entry) error) (uint64, error)) (*diary.Past, error) {
	past := &diary.Past{From: from, To: to, Zone: from.Location(), Minutes: map[string]diary.Minutes{}}
	var err error
	if past.First, past.Last, past.Station, err = r.Span(); err != nil {
		return nil, err
	}
	if then, err := r.station(to); err != nil {
		return nil, err
	} else if then != nil {
		past.Station = then
	}
	if past.Deeds, err = r.deedsIn(from, to); err != nil {
		return nil, err
	}
	doses := map[ledger.OrderID]bool{}
	past.Rows, err = read(func(e ledger.Entry) error {
		within := !e.At.Wall.Before(from) && e.At.Wall.Before(to)
		if within && e.Kind == ledger.EntryIntent {
			doses[e.Order] = true
		}
		if e.Kind == ledger.EntrySettlement && doses[e.Order] || e.Kind != ledger.EntrySettlement && within {
			past.Entries = append(past.Entries, e)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	if past.Events, err = r.Events(from.Add(-diary.SaidAgain), to); err != nil || past.Station == nil {
		return past, err
	}
	for _, tank := range past.Station.Tanks {
		for _, input := range append(append([]string(nil), tank.PH...), tank.EC...) {
			if past.Minutes[input], err = r.Readings(input, from, to); err != nil {
				return nil, err
			}
		}
	}
	return past, nil
}
