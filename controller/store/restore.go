package store

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"leat/dosing"
	"leat/safety/ledger"
)

// epochsAhead is how far above the highest epoch that any ledger here knows a restored
// one begins: nodes may have seen some that are lost with the rest, and they take no
// epoch more than a hundred above the last one they saw.
const epochsAhead = 40

// Copied is what a copy of the record holds, for whoever decides whether to put it back.
type Copied struct {
	Path        string
	Rows        uint64
	First, Last time.Time
	Epoch       uint32
}

// Examine verifies a copy from its first row.
func Examine(path string) (Copied, error) {
	db, err := openCopy(path)
	if err != nil {
		return Copied{}, err
	}
	state, err := ledger.Replay(db, dosing.Instant{Wall: time.Now()}, false)
	if err = errors.Join(err, db.Close()); err != nil {
		return Copied{}, fmt.Errorf("%s: %w", path, err)
	}
	if state.Rows == 0 {
		return Copied{}, fmt.Errorf("%s holds no row of a ledger", path)
	}
	return Copied{Path: path, Rows: state.Rows, First: state.First, Last: state.Last, Epoch: state.LastEpoch}, nil
}

// openCopy opens a copy for reading; it stands alone, without the folder's witness.
func openCopy(path string) (*Record, error) {
	full, err := filepath.Abs(path)
	if err == nil {
		_, err = os.Stat(full)
	}
	if err != nil {
		return nil, fmt.Errorf("copy of the ledger: %w", err)
	}
	return openRecord(full)
}

// Restore puts a copy in the place of the folder's record, which it keeps beside it,
// and begins a new epoch in it. Hold Lock before it. It returns where the former
// record now is; empty = there was none.
func Restore(dir string, from Copied, by, note string) (aside string, err error) {
	epoch := max(from.Epoch, epochsHere(dir))
	fresh := filepath.Join(dir, unfinishedRestore)
	if err := os.RemoveAll(fresh); err != nil {
		return "", fmt.Errorf("restore: %w", err)
	}
	if err := makeFolder(fresh); err != nil {
		return "", err
	}
	if err := prepare(fresh, from, epoch+epochsAhead, by, note); err != nil {
		return "", errors.Join(fmt.Errorf("restore: %w; the folder's own ledger is as it was", err), os.RemoveAll(fresh))
	}
	// Until the prepared folder is gone, no daemon opens this one.
	if err := syncFolder(dir); err != nil {
		return "", fmt.Errorf("restore: %w", err)
	}
	aside, moves, err := movesOf(dir, fresh)
	if err != nil {
		return "", fmt.Errorf("restore: %w", err)
	}
	for _, m := range moves {
		if err := os.Rename(m.from, m.to); err != nil {
			return aside, fmt.Errorf("restore: %w; the former ledger is in %s", err, aside)
		}
	}
	if err := syncFolder(dir); err != nil {
		return aside, fmt.Errorf("restore: %w", err)
	}
	return aside, errors.Join(os.RemoveAll(fresh), syncFolder(dir))
}

// unfinishedRestore is the folder in which a copy is prepared. While it is there a record
// may be half moved: its database gone, its log not.
const unfinishedRestore = "restored.unfinished"

// restoring says that a restore was cut off and has to be done again.
func restoring(dir string) error {
	switch _, err := os.Lstat(filepath.Join(dir, unfinishedRestore)); {
	case errors.Is(err, os.ErrNotExist):
		return nil
	case err != nil:
		return err
	}
	return fmt.Errorf("a restore of the ledger in %s was cut off before it was done: run leat ledger restore again; what was the ledger is in the folder, "+
		"or in its before-restore-…; until then nothing is dosed", dir)
}

// epochsHere is the highest epoch that any record in the folder knows of, broken, set
// aside or not.
func epochsHere(dir string) (epoch uint32) {
	folders, _ := filepath.Glob(filepath.Join(dir, "before-restore-*")) // the pattern is sound
	for _, folder := range append(folders, dir) {
		here, err := OpenReader(folder)
		if err != nil {
			continue
		}
		if newest, err := newestEpoch(here); err == nil {
			epoch = max(epoch, newest)
		}
		_ = here.Close()
	}
	return epoch
}

type move struct{ from, to string }

// movesOf are the moves that put what was prepared in the record's place, in their order. What the folder
// holds of a record goes into a folder of its own. The witness comes last: without it the database is
// judged by its chain alone.
func movesOf(dir, fresh string) (aside string, moves []move, err error) {
	for _, name := range []string{fileName, fileName + "-wal", fileName + "-shm", headName} {
		path := filepath.Join(dir, name)
		if _, err := os.Lstat(path); errors.Is(err, os.ErrNotExist) {
			continue
		}
		if aside == "" {
			aside = filepath.Join(dir, "before-restore-"+time.Now().UTC().Format("20060102T150405.000"))
			if err := os.Mkdir(aside, 0o700); err != nil {
				return "", nil, err
			}
		}
		moves = append(moves, move{path, filepath.Join(aside, name)})
	}
	for _, name := range []string{fileName, headName} {
		moves = append(moves, move{filepath.Join(fresh, name), filepath.Join(dir, name)})
	}
	return aside, moves, nil
}

// newestEpoch follows a record as far as it can be read.
func newestEpoch(r *Record) (epoch uint32, err error) {
	err = r.Load(1, func(row ledger.Row) error {
		if e, err := ledger.Decode(row); err == nil {
			epoch = max(epoch, e.Epoch)
		}
		return nil
	})
	return epoch, err
}

// prepare copies the file into a folder of its own and appends where it came from.
func prepare(fresh string, from Copied, epoch uint32, by, note string) error {
	if err := copyFile(from.Path, filepath.Join(fresh, fileName)); err != nil {
		return err
	}
	db, err := Open(fresh)
	if err != nil {
		return err
	}
	book, err := ledger.Open(db)
	if err == nil {
		err = book.Append(ledger.Change{Kind: ledger.ChangeRestored, At: dosing.Instant{Wall: time.Now()}, Value: float64(epoch), Until: from.Last,
			Text: filepath.Base(from.Path), Note: note, By: by, From: "leat ledger"})
	}
	return errors.Join(err, db.Close())
}

func copyFile(from, to string) error {
	source, err := os.Open(from)
	if err != nil {
		return err
	}
	defer func() { _ = source.Close() }() // read only
	target, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(target, source)
	return errors.Join(err, target.Sync(), target.Close())
}
