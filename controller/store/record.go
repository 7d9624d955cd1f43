package store

import (
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

// Record is what a state folder holds, open for reading. Whoever has only a Record can
// change nothing.
type Record struct {
	path string
	read *sql.DB
}

// OpenReader opens the state folder for reading, beside a running daemon or without one.
func OpenReader(dir string) (*Record, error) {
	path, err := filepath.Abs(filepath.Join(dir, fileName))
	if err != nil {
		return nil, fmt.Errorf("state folder %s: %w", dir, err)
	}
	if _, err := os.Stat(path); err != nil {
		return nil, fmt.Errorf("state folder %s holds no ledger: %w; -state names the folder that the configuration's state names", dir, err)
	}
	r, err := openRecord(path)
	if err != nil {
		return nil, err
	}
	head, err := readHead(filepath.Join(dir, headName))
	if err == nil {
		_, err = r.checkHead(head)
	}
	if err != nil {
		return nil, errors.Join(err, r.Close())
	}
	return r, nil
}

// openRecord opens a file that may stand alone, without the folder's witness.
func openRecord(path string) (*Record, error) {
	read, err := sql.Open("sqlite", source(path, "mode=ro", "_query_only=1"))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	r := &Record{path: path, read: read}
	if err := checkSchema(read, path); err != nil {
		return nil, errors.Join(err, r.Close())
	}
	return r, nil
}

// Close ends the reading.
func (r *Record) Close() error {
	if r.read == nil {
		return nil
	}
	return r.read.Close()
}

// Path is the database file.
func (r *Record) Path() string { return r.path }

// Backup writes a copy of the whole file to path, which must not exist yet. It
// may run beside the daemon; the copy is one moment of the record.
func (r *Record) Backup(path string) error {
	if _, err := os.Lstat(path); err == nil {
		return fmt.Errorf("backup %s exists already; name a new file", path)
	}
	unfinished := path + ".unfinished"
	if err := os.Remove(unfinished); err != nil && !errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("backup: %w", err)
	}
	// VACUUM INTO refuses a connection that may only query, so a reader of its own.
	from, err := sql.Open("sqlite", source(r.path, "mode=ro"))
	if err != nil {
		return fmt.Errorf("backup: %w", err)
	}
	_, err = from.Exec(`VACUUM INTO ?`, unfinished)
	if err = errors.Join(err, from.Close()); err != nil {
		return fmt.Errorf("backup %s: %w", path, errors.Join(err, removeIfThere(unfinished)))
	}
	if err := syncFile(unfinished); err != nil {
		return fmt.Errorf("backup %s: %w", path, err)
	}
	if err := os.Rename(unfinished, path); err != nil {
		return fmt.Errorf("backup: %w", err)
	}
	return syncFolder(filepath.Dir(path))
}
