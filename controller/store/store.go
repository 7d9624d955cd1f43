// Package store keeps the daemon's one file, leat.db: the ledger, the history of
// readings, the audit and the people of the page. It is the only importer of a
// database driver. Every append is synced to the disk before it is acknowledged,
// and a disk that failed once is not written again until the next start.
//
// # The lock of the folder is the system's, taken by 53 lines of our own
//
// Weighed against gofrs/flock (v0.13.2), well kept, on top of golang.org/x/sys as ours is: it knows more
// systems than leat runs on, and keeps its file to itself, where ours writes the process that holds
// the lock into it, so that the second daemon can say which one is in its way. The call itself is one
// line on each system (lock_unix.go, lock_windows.go); around it nothing would get shorter.
package store

import (
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	_ "modernc.org/sqlite" // the driver; the code below keeps to database/sql

	"leat/safety/ledger"
)

// Names of the files in the state folder. SQLite keeps leat.db-wal and
// leat.db-shm beside its file while it is in use.
const (
	fileName = "leat.db"
	headName = "leat.head"
	lockName = "leat.lock"
)

// busyTimeout is how long an append waits for another program that holds the
// database, such as a person's shell.
const busyTimeout = 5 * time.Second

// DB is the file, open for writing. Appends, history, audit and people may be used by
// several goroutines; appends to the ledger by one at a time.
type DB struct {
	*Record
	write  *sql.DB // one connection
	insert *sql.Stmt
	head   *headFile

	turn  sync.Mutex // one write at a time, with the look at the files before it
	place place

	mu     sync.Mutex
	last   uint64 // newest ledger row
	failed error  // set once; every later write fails with it
}

// Open opens the state folder dir, which it makes if need be (mode 0700), and
// brings an older file up to date. It refuses a file that is not leat's, one of
// a newer leat, a disk that does not sync, and a ledger that lost acknowledged
// rows. Hold Lock before it.
func Open(dir string) (*DB, error) {
	if err := makeFolder(dir); err != nil {
		return nil, err
	}
	if err := restoring(dir); err != nil {
		return nil, err
	}
	path, err := filepath.Abs(filepath.Join(dir, fileName))
	if err != nil {
		return nil, fmt.Errorf("state folder %s: %w", dir, err)
	}
	if err := makeFile(dir, path); err != nil {
		return nil, err
	}
	db := &DB{Record: &Record{path: path}, place: newPlace(path)}
	if err := db.open(dir); err != nil {
		return nil, errors.Join(err, db.Close())
	}
	return db, nil
}

func (db *DB) open(dir string) (err error) {
	write := source(db.path, "mode=rw", "_txlock=immediate", "_pragma=journal_mode(WAL)", "_pragma=synchronous(FULL)",
		"_pragma=fullfsync(1)", "_pragma=checkpoint_fullfsync(1)", "_pragma=journal_size_limit(16777216)")
	if db.write, err = sql.Open("sqlite", write); err != nil {
		return fmt.Errorf("%s: %w", db.path, err)
	}
	// One connection: SQLite has one writer, and a second would only wait for it.
	db.write.SetMaxOpenConns(1)
	db.write.SetConnMaxLifetime(0)
	if err := db.checkPragmas(); err != nil {
		return err
	}
	if err := migrate(db.write, db.path); err != nil {
		return err
	}
	if db.read, err = sql.Open("sqlite", source(db.path, "mode=rw", "_query_only=1")); err != nil {
		return fmt.Errorf("%s: %w", db.path, err)
	}
	db.read.SetMaxOpenConns(4)
	db.read.SetMaxIdleConns(1)
	if db.head, err = openHead(filepath.Join(dir, headName)); err != nil {
		return err
	}
	if db.last, err = db.checkHead(db.head); err != nil {
		return err
	}
	// The row before must be there as it was written: a file that somebody overwrote while a row of
	// ours was under way shows in nothing else.
	if db.insert, err = db.write.Prepare(`INSERT INTO ledger (sequence, body, previous, hash) SELECT ?1, ?2, ?3, ?4
		WHERE ?1 = 1 OR EXISTS (SELECT 1 FROM ledger WHERE sequence = ?1 - 1 AND hash = ?3)`); err != nil {
		return db.classify(err)
	}
	db.place.note()
	return nil
}

// source is the driver's name for the file. The PRAGMAs stand in it so that
// every connection gets them, a replaced one too.
func source(path string, options ...string) string {
	slashed := filepath.ToSlash(path)
	if !strings.HasPrefix(slashed, "/") {
		slashed = "/" + slashed // C:/… on Windows
	}
	name := url.URL{Scheme: "file", Path: slashed}
	options = append(options, fmt.Sprintf("_busy_timeout=%d", busyTimeout.Milliseconds()), "_error_rc=1", "_defensive=1")
	return name.String() + "?" + strings.Join(options, "&")
}

func makeFolder(dir string) error {
	if dir == "" {
		return errors.New("no state folder given; -state or the configuration's state names it")
	}
	if info, err := os.Stat(dir); err == nil && !info.IsDir() {
		return fmt.Errorf("state folder %s is a file; name a folder on a local disk", dir)
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return fmt.Errorf("state folder %s: %w; name a folder that this user may write", dir, err)
	}
	if name := kernelsOwn(dir); name != "" {
		return fmt.Errorf("state folder %s is on %s, which is no disk but a view into the kernel; name a folder on a local disk", dir, name)
	}
	return nil
}

// makeFile makes an empty database file that only its owner may read, and syncs
// its name into the folder.
func makeFile(dir, path string) error {
	file, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return fmt.Errorf("state folder %s cannot be written: %w; doses cannot be recorded there, so none would be given", dir, err)
	}
	if err := file.Close(); err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	return syncFolder(dir)
}

// checkPragmas reads back what the durability of every dose rests on.
func (db *DB) checkPragmas() error {
	for _, want := range []struct{ pragma, value string }{
		{"journal_mode", "wal"}, {"synchronous", "2"}, {"busy_timeout", fmt.Sprint(busyTimeout.Milliseconds())},
	} {
		var got string
		if err := db.write.QueryRow("PRAGMA " + want.pragma).Scan(&got); err != nil {
			return fmt.Errorf("%s: %w", db.path, db.classify(err))
		}
		if got != want.value {
			return fmt.Errorf("%s: %s is %s and not %s, so appends would not be durable; keep the state folder on a local disk",
				db.path, want.pragma, got, want.value)
		}
	}
	return nil
}

// Close closes the file. What was acknowledged is on the disk already.
func (db *DB) Close() error {
	var errs []error
	if db.insert != nil {
		errs = append(errs, db.insert.Close())
	}
	errs = append(errs, db.Record.Close())
	if db.write != nil {
		errs = append(errs, db.write.Close())
	}
	if db.head != nil {
		errs = append(errs, db.head.close())
	}
	return errors.Join(errs...)
}

func removeIfThere(path string) error {
	if err := os.Remove(path); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	return nil
}

func syncFile(path string) error {
	file, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return errors.Join(file.Chmod(0o600), file.Sync(), file.Close())
}

// Primary result codes of SQLite that mean something to the ledger
// (https://www.sqlite.org/rescode.html).
const (
	codeBusy       = 5
	codeLocked     = 6
	codeConstraint = 19
	codeFull       = 13
)

// classify puts an error of a write into the ledger's terms. Whatever is not
// known to have written nothing closes the file for writing until the next
// start: after a failed sync nobody knows what is on the disk, and a second sync
// would report success for data the kernel has dropped.
func (db *DB) classify(err error) error {
	if err == nil {
		return nil
	}
	var refused refusal
	if errors.As(err, &refused) {
		return refused.error
	}
	var coded interface{ Code() int }
	if errors.As(err, &coded) {
		switch coded.Code() & 0xff {
		case codeFull:
			return fmt.Errorf("%w: disk full (%s): %w", ledger.ErrFull, db.path, err)
		case codeBusy, codeLocked:
			return fmt.Errorf("%w for now: another program holds %s: %w", ledger.ErrFull, db.path, err)
		case codeConstraint:
			// The statement was wrong, not the disk. The ledger itself does not go on
			// after it either.
			return fmt.Errorf("%w: %s: %w", ledger.ErrFailed, db.path, err)
		}
	}
	return db.fail(err)
}

func (db *DB) fail(err error) error {
	db.mu.Lock()
	defer db.mu.Unlock()
	if db.failed == nil {
		db.failed = fmt.Errorf("%w: %s: %w; see that the disk has room and is sound", ledger.ErrFailed, db.path, err)
	}
	return db.failed
}

// writable says why nothing may be written, or nil. The caller has its turn.
func (db *DB) writable() error {
	db.mu.Lock()
	failed := db.failed
	db.mu.Unlock()
	if failed != nil {
		return failed
	}
	return db.inPlace()
}
