package store

import (
	"database/sql"
	"fmt"
	"time"

	"leat/controller/diary"
)

// mostDeeds bounds the audit: somebody who guesses passwords must not fill the
// disk. Older lines go first.
const (
	mostDeeds   = 200_000
	longestDeed = 2000 // bytes of each text
)

// Audit records a deed durably.
func (db *DB) Audit(wall time.Time, who, from, what, detail string) error {
	err := db.inTransaction(func(tx *sql.Tx) error {
		added, err := tx.Exec(`INSERT INTO audit (wall, who, source, what, detail) VALUES (?, ?, ?, ?, ?)`,
			wall.UTC().Format(time.RFC3339Nano), short(who), short(from), short(what), short(detail))
		if err != nil {
			return err
		}
		id, err := added.LastInsertId()
		if err != nil {
			return err
		}
		_, err = tx.Exec(`DELETE FROM audit WHERE id <= ?`, id-mostDeeds)
		return err
	})
	if err != nil {
		return fmt.Errorf("audit: %w", err)
	}
	return nil
}

// Deeds are the newest lines of the audit, newest first, at most limit.
func (r *Record) Deeds(limit int) ([]diary.Deed, error) {
	return r.deeds(`ORDER BY id DESC LIMIT ?`, max(limit, 0))
}

// deedsToldMost bounds what is told of a time: somebody may have guessed passwords.
const deedsToldMost = 500

// deedsIn are the lines of [from, to), oldest first.
func (r *Record) deedsIn(from, to time.Time) ([]diary.Deed, error) {
	return r.deeds(`WHERE wall >= ? AND wall < ? ORDER BY id LIMIT ?`, from.UTC().Format(time.RFC3339), to.UTC().Format(time.RFC3339), deedsToldMost)
}

func (r *Record) deeds(which string, args ...any) ([]diary.Deed, error) {
	found, err := r.read.Query(`SELECT wall, who, source, what, detail FROM audit `+which, args...)
	if err != nil {
		return nil, fmt.Errorf("audit: %w", err)
	}
	defer func() { _ = found.Close() }() // its error is that of Err
	var deeds []diary.Deed
	for found.Next() {
		var d diary.Deed
		var wall string
		if err := found.Scan(&wall, &d.Who, &d.From, &d.What, &d.Detail); err != nil {
			return nil, fmt.Errorf("audit: %w", err)
		}
		if d.Wall, err = time.Parse(time.RFC3339Nano, wall); err != nil {
			return nil, fmt.Errorf("audit: %w", err)
		}
		deeds = append(deeds, d)
	}
	return deeds, found.Err()
}

func short(text string) string {
	if len(text) > longestDeed {
		text = text[:longestDeed] + "…"
	}
	return text
}
