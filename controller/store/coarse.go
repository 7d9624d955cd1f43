package store

import (
	"database/sql"
	"fmt"
	"time"

	"leat/controller/diary"
)

// Coarse is what a page draws of a month or a year: the readings of an input in [from, to)
// as sums over steps of whole hours, made in the database, so that a year of ten tanks
// costs a page no more than a night.
func Coarse(db *DB, input string, from, to time.Time, step time.Duration) ([]diary.Minute, error) {
	hours := max(int64(step/time.Hour), 1)
	found, err := db.read.Query(`SELECT at / ?1 * ?1 AS began, sum(count), min(low), sum(mean * count) / sum(count), max(high) FROM hour
		WHERE input = (SELECT id FROM input WHERE name = ?2) AND at >= ?3 AND at < ?4 GROUP BY began ORDER BY began`,
		hours, input, firstMinute(from)/60, firstMinute(to)/60)
	if err != nil {
		return nil, fmt.Errorf("readings of %s: %w", input, err)
	}
	defer func() { _ = found.Close() }() // its error is that of Err
	var sums []diary.Minute
	for found.Next() {
		var at int64
		var m diary.Minute
		if err := found.Scan(&at, &m.Count, &m.Low, &m.Mean, &m.Top); err != nil {
			return nil, fmt.Errorf("readings of %s: %w", input, err)
		}
		m.At = time.Unix(at*3600, 0).UTC()
		sums = append(sums, m)
	}
	return sums, found.Err()
}

// Days keeps what was told of each whole day of a tank, as text: it is made once of the
// record, and read again and again. It may be thrown away: it is made anew.
type Days struct{ db *DB }

// DaysOf are the days of a file.
func DaysOf(db *DB) Days { return Days{db} }

// Find is what was told of a day, such as 2026-03-01, by tank; empty = nothing was yet.
func (d Days) Find(day string) (map[string]string, error) {
	found, err := d.db.read.Query(`SELECT tank, body FROM day WHERE day = ?`, day)
	if err != nil {
		return nil, fmt.Errorf("day %s: %w", day, err)
	}
	defer func() { _ = found.Close() }() // its error is that of Err
	told := map[string]string{}
	for found.Next() {
		var tank, body string
		if err := found.Scan(&tank, &body); err != nil {
			return nil, fmt.Errorf("day %s: %w", day, err)
		}
		told[tank] = body
	}
	return told, found.Err()
}

// Keep keeps what is told of a day.
func (d Days) Keep(day string, told map[string]string) error {
	return d.db.inTransaction(func(tx *sql.Tx) error {
		for tank, body := range told {
			if _, err := tx.Exec(`INSERT INTO day (day, tank, body) VALUES (?, ?, ?) ON CONFLICT (day, tank) DO UPDATE SET body = excluded.body`, day, tank, body); err != nil {
				return err
			}
		}
		return nil
	})
}

// firstSince is the first row of the ledger at or after a moment. Rows are in the order
// of their writing, which is that of time unless the wall clock was put back: who asks
// leaves room for that.
func firstSince(r *Record, at time.Time) (uint64, error) {
	newest, err := r.newest()
	if err != nil {
		return 0, fmt.Errorf("ledger: %w", err)
	}
	low, high := uint64(1), uint64(newest)+1
	for low < high {
		middle := low + (high-low)/2
		entries, err := entriesFrom(r, middle, middle+1)
		switch {
		case err != nil:
			return 0, err
		case len(entries) > 0 && entries[0].At.Wall.Before(at):
			low = middle + 1
		default:
			high = middle
		}
	}
	return low, nil
}
