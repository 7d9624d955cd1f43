package store

import (
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"time"
)

// Copies is what is known of the copies of a folder's ledger. It lies beside the ledger, since who copies is another program
// than the daemon, which tells people of it.
type Copies struct {
	Good   time.Time `json:"good,omitzero"` // the newest copy that was verified; zero = none
	Rows   uint64    `json:"rows,omitempty"`
	Failed string    `json:"failed,omitempty"` // why the last try failed; empty = it did not
}

const copiesFile = "copies.json"

// KnownCopies reads it. None were ever made where nothing is written.
func KnownCopies(dir string) (c Copies, err error) {
	text, err := os.ReadFile(filepath.Join(dir, copiesFile))
	if errors.Is(err, fs.ErrNotExist) {
		return c, nil
	}
	if err == nil {
		err = json.Unmarshal(text, &c)
	}
	return c, err
}

// NoteCopy writes how a copy went: made is what was verified, failed why it was not. What was known of an earlier one that
// cannot be read is as good as none.
func NoteCopy(dir string, now time.Time, made Copied, failed error) error {
	known, _ := KnownCopies(dir)
	if failed == nil {
		known = Copies{Good: now, Rows: made.Rows}
	} else {
		known.Failed = failed.Error()
	}
	text, err := json.Marshal(known)
	if err != nil {
		return err
	}
	path := filepath.Join(dir, copiesFile)
	unfinished := path + ".new"
	if err := os.WriteFile(unfinished, text, 0o600); err != nil {
		return err
	}
	// Root copies, the daemon reads: whatever root's mask is, and nothing of it is secret.
	if err := os.Chmod(unfinished, 0o644); err != nil { //nolint:gosec // as said
		return err
	}
	return os.Rename(unfinished, path)
}
