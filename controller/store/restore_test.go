package store

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"leat/safety/ledger"
)

// A restore moves files one after the other. Wherever it is cut off, no daemon may begin a new
// ledger, or open a database with another one's log.
func TestRestoreThatIsCutOffLeavesAFolderThatNoDaemonOpensUntilItIsDoneAgain(t *testing.T) {
	backup, want := backupOf(t, 3)
	for done := 0; ; done++ {
		d := newDisk(t)
		appendRows(t, d.open(t), 5)
		keepLog(t, d)
		fresh := filepath.Join(d.dir, unfinishedRestore)
		if err := makeFolder(fresh); err != nil {
			t.Fatal(err)
		}
		if err := prepare(fresh, want, 50, "ada", "a test"); err != nil {
			t.Fatal(err)
		}
		_, moves, err := movesOf(d.dir, fresh)
		if err != nil {
			t.Fatal(err)
		}
		if done > len(moves) {
			break
		}
		for _, m := range moves[:done] {
			if err := os.Rename(m.from, m.to); err != nil {
				t.Fatal(err)
			}
		}
		if db, err := Open(d.dir); err == nil {
			_ = db.Close()
			t.Fatalf("after %d of %d moves the folder opens", done, len(moves))
		} else if !strings.Contains(err.Error(), "leat ledger restore again") {
			t.Errorf("after %d moves: %v; it must say what to do", done, err)
		}
		if _, err := Restore(d.dir, want, "ada", "a test, again"); err != nil {
			t.Fatalf("after %d moves it is not done again: %v", done, err)
		}
		db := d.open(t)
		last, _, err := ledger.Verify(db, func(ledger.Entry) error { return nil })
		if err != nil || last != want.Rows+1 {
			t.Errorf("after %d moves and once more: %d rows, %v; want %d", done, last, err, want.Rows+1)
		}
	}
	if _, err := os.Stat(backup); err != nil {
		t.Error(err)
	}
}

// backupOf is a copy of a ledger of some rows.
func backupOf(t *testing.T, rows int) (path string, copied Copied) {
	t.Helper()
	d := newDisk(t)
	appendRows(t, d.open(t), rows)
	path = filepath.Join(t.TempDir(), "copy.db")
	if err := d.db.Backup(path); err != nil {
		t.Fatal(err)
	}
	copied, err := Examine(path)
	if err != nil {
		t.Fatal(err)
	}
	return path, copied
}

func appendRows(t *testing.T, db *DB, rows int) {
	t.Helper()
	l, err := ledger.Open(db)
	if err != nil {
		t.Fatal(err)
	}
	for n := range rows {
		if err := l.Append(change(n + 1)); err != nil {
			t.Fatal(err)
		}
	}
}

// keepLog moves the disk to a copy as a killed daemon leaves it, the log beside the database.
func keepLog(t *testing.T, d *disk) {
	t.Helper()
	left := t.TempDir()
	for _, name := range []string{fileName, fileName + "-wal", headName} {
		writeFile(t, filepath.Join(left, name), readFile(t, filepath.Join(d.dir, name)))
	}
	d.close(t)
	d.dir = left
}

func TestInstanceThatWasNotWrittenWholeIsMadeAnewAndThenStays(t *testing.T) {
	dir := t.TempDir()
	for _, left := range []string{"", "12ab"} {
		writeFile(t, filepath.Join(dir, instanceName), []byte(left))
		first, err := Instance(dir)
		if err != nil || len(first) != 16 {
			t.Fatalf("instance %q, %v", first, err)
		}
		if again, err := Instance(dir); err != nil || again != first {
			t.Errorf("instance %q, then %q, %v", first, again, err)
		}
	}
	if left, _ := filepath.Glob(filepath.Join(dir, "*.unfinished")); len(left) > 0 {
		t.Errorf("%v was left", left)
	}
}
