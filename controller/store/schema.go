package store

import (
	"database/sql"
	"fmt"
	"os"
	"path/filepath"
)

// applicationID marks the file as leat's: the letters "leat".
const applicationID = 0x6c656174

// steps bring a file from one schema version to the next; user_version is the
// number of steps done. A step that was released is never changed.
var steps = []string{`
CREATE TABLE ledger (
	sequence INTEGER PRIMARY KEY,
	body     TEXT NOT NULL,
	previous BLOB NOT NULL,
	hash     BLOB NOT NULL
) STRICT;
CREATE TRIGGER ledger_is_not_edited BEFORE UPDATE ON ledger BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER ledger_is_not_deleted BEFORE DELETE ON ledger BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TABLE input (
	id   INTEGER PRIMARY KEY,
	name TEXT NOT NULL UNIQUE
) STRICT;
CREATE TABLE minute (
	input INTEGER NOT NULL REFERENCES input (id),
	at    INTEGER NOT NULL, -- minutes since 1970 UTC
	count INTEGER NOT NULL,
	low   REAL NOT NULL,
	mean  REAL NOT NULL,
	high  REAL NOT NULL,
	PRIMARY KEY (input, at)
) STRICT, WITHOUT ROWID;
CREATE TABLE audit (
	id     INTEGER PRIMARY KEY AUTOINCREMENT,
	wall   TEXT NOT NULL,
	who    TEXT NOT NULL,
	source TEXT NOT NULL,
	what   TEXT NOT NULL,
	detail TEXT NOT NULL
) STRICT;
CREATE TABLE person (
	name  TEXT PRIMARY KEY COLLATE NOCASE,
	role  TEXT NOT NULL,
	hash  TEXT NOT NULL, -- PHC string of argon2id
	added TEXT NOT NULL
) STRICT;
`, `
CREATE TABLE event (
	id    INTEGER PRIMARY KEY,
	at    INTEGER NOT NULL, -- milliseconds since 1970 UTC
	tank  TEXT NOT NULL,    -- empty = the station
	kind  TEXT NOT NULL,    -- as in controller/diary
	name  TEXT NOT NULL,
	pump  TEXT NOT NULL,
	value REAL NOT NULL,
	text  TEXT NOT NULL
) STRICT;
CREATE INDEX event_at ON event (at);
`, `
CREATE TABLE hour (
	input INTEGER NOT NULL REFERENCES input (id),
	at    INTEGER NOT NULL, -- hours since 1970 UTC
	count INTEGER NOT NULL,
	low   REAL NOT NULL,
	mean  REAL NOT NULL,
	high  REAL NOT NULL,
	PRIMARY KEY (input, at)
) STRICT, WITHOUT ROWID;
INSERT INTO hour SELECT input, at / 60 AS began, sum(count), min(low), sum(mean * count) / sum(count), max(high) FROM minute GROUP BY input, began;
CREATE TABLE day (
	day  TEXT NOT NULL, -- of the farm's calendar
	tank TEXT NOT NULL,
	body TEXT NOT NULL, -- JSON
	PRIMARY KEY (day, tank)
) STRICT, WITHOUT ROWID;
`, `
CREATE TABLE token (
	name  TEXT PRIMARY KEY COLLATE NOCASE,
	role  TEXT NOT NULL,
	hash  TEXT NOT NULL UNIQUE, -- SHA-256 of its secret
	added TEXT NOT NULL,
	until TEXT NOT NULL
) STRICT;
`, `
CREATE TABLE phone (
	id     TEXT PRIMARY KEY,
	person TEXT NOT NULL COLLATE NOCASE,
	hash   TEXT NOT NULL UNIQUE, -- SHA-256 of its secret
	device TEXT NOT NULL,
	added  TEXT NOT NULL,
	seen   TEXT NOT NULL,
	until  TEXT NOT NULL
) STRICT;
CREATE TABLE passkey (
	id     TEXT PRIMARY KEY, -- as the authenticator named it, in base64url
	person TEXT NOT NULL COLLATE NOCASE,
	site   TEXT NOT NULL,    -- the host whose key it is
	device TEXT NOT NULL,
	key    BLOB NOT NULL,    -- public, SubjectPublicKeyInfo
	count  INTEGER NOT NULL, -- of signatures, as the authenticator counts; 0 = it does not
	added  TEXT NOT NULL,
	used   TEXT NOT NULL
) STRICT;
ALTER TABLE person ADD COLUMN given TEXT NOT NULL DEFAULT '';      -- role until given_until; empty = none
ALTER TABLE person ADD COLUMN given_by TEXT NOT NULL DEFAULT '';
ALTER TABLE person ADD COLUMN given_note TEXT NOT NULL DEFAULT '';
ALTER TABLE person ADD COLUMN given_until TEXT NOT NULL DEFAULT '';
`, `
ALTER TABLE person ADD COLUMN language TEXT NOT NULL DEFAULT ''; -- of the page; empty = as the browser asks
`}

// beforeSchema is the copy of the file that is kept before it is brought up from a version: an older leat takes no
// newer file, and this is what it can go on with.
const beforeSchema = "leat-schema-%d.db"

// keepBefore makes that copy where a file is about to be brought up.
func keepBefore(db *DB) error {
	version, id, _, err := identify(db.write, db.path)
	if err != nil || id != applicationID || version == 0 || version >= len(steps) {
		return err
	}
	kept := filepath.Join(filepath.Dir(db.path), fmt.Sprintf(beforeSchema, version))
	if err := removeIfThere(kept); err != nil {
		return fmt.Errorf("copy of the older file: %w", err)
	}
	if err := db.Backup(kept); err != nil {
		return fmt.Errorf("the file is of an older leat and is copied before it is brought up: %w; free some disk, or move it", err)
	}
	return nil
}

// migrate makes or updates the tables, all in one transaction or not at all.
func migrate(db *sql.DB, path string) (err error) {
	tx, err := db.Begin()
	if err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	defer func() {
		if err != nil {
			_ = tx.Rollback() // the first error is the one that tells
		}
	}()
	version, id, tables, err := identify(tx, path)
	if err != nil {
		return err
	}
	if version == 0 && id == 0 && tables > 0 || id != 0 && id != applicationID {
		return foreign(path)
	}
	if version > len(steps) {
		return newer(path, version)
	}
	for _, step := range steps[version:] {
		if _, err := tx.Exec(step); err != nil {
			return fmt.Errorf("%s: bringing the file from version %d to %d: %w", path, version, len(steps), err)
		}
	}
	if version < len(steps) {
		if _, err := tx.Exec(fmt.Sprintf("PRAGMA application_id = %d; PRAGMA user_version = %d", applicationID, len(steps))); err != nil {
			return fmt.Errorf("%s: %w", path, err)
		}
	}
	if err := tx.Commit(); err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	return nil
}

// checkSchema says whether a reader understands the file.
func checkSchema(db *sql.DB, path string) error {
	version, id, _, err := identify(db, path)
	switch {
	case err != nil:
		return err
	case id != applicationID:
		return foreign(path)
	case version > len(steps):
		return newer(path, version)
	case version < len(steps):
		return fmt.Errorf("%s is of an older leat (version %d, this one reads %d): start the daemon once, which brings it up to date",
			path, version, len(steps))
	}
	return nil
}

type rowQuerier interface {
	QueryRow(query string, args ...any) *sql.Row
}

func identify(db rowQuerier, path string) (version, id, tables int, err error) {
	for _, ask := range []struct {
		query string
		into  *int
	}{{"PRAGMA user_version", &version}, {"PRAGMA application_id", &id}, {"SELECT count(*) FROM sqlite_schema", &tables}} {
		if err := db.QueryRow(ask.query).Scan(ask.into); err != nil {
			return 0, 0, 0, fmt.Errorf("%s cannot be read as a database: %w", path, err)
		}
	}
	return version, id, tables, nil
}

func foreign(path string) error {
	return fmt.Errorf("%s is a database of another program; name another state folder", path)
}

func newer(path string, version int) error {
	back := "name another state folder"
	for known := len(steps); known > 0; known-- {
		kept := filepath.Join(filepath.Dir(path), fmt.Sprintf(beforeSchema, known))
		if _, err := os.Stat(kept); err == nil {
			back = "put back the copy that was kept before: leat ledger restore " + kept
			break
		}
	}
	return fmt.Errorf("%s was written by a newer leat (version %d, this one knows %d): run that one, or %s", path, version, len(steps), back)
}
