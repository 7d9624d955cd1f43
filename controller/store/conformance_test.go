package store

import (
	"database/sql"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"leat/safety/ledger"
	"leat/safety/ledger/ledgertest"
)

// disk is one state folder in a test.
type disk struct {
	dir string
	db  *DB
}

func (d *disk) open(t testing.TB) *DB {
	t.Helper()
	d.close(t)
	db, err := Open(d.dir)
	if err != nil {
		t.Fatal(err)
	}
	d.db = db
	return db
}

func (d *disk) close(t testing.TB) {
	t.Helper()
	if d.db != nil {
		if err := d.db.Close(); err != nil {
			t.Fatal(err)
		}
		d.db = nil
	}
}

// raw runs statements on the file behind leat's back.
func raw(t testing.TB, dir string, statements ...string) {
	t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(dir, fileName))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	for _, statement := range statements {
		if _, err := db.Exec(statement); err != nil {
			t.Fatalf("%s: %v", statement, err)
		}
	}
}

const (
	allowEdit   = `DROP TRIGGER IF EXISTS ledger_is_not_edited`
	allowDelete = `DROP TRIGGER IF EXISTS ledger_is_not_deleted`
)

func newDisk(t testing.TB) *disk {
	d := &disk{dir: t.TempDir()}
	t.Cleanup(func() { d.close(t) })
	return d
}

func TestSQLiteStoreConforms(t *testing.T) {
	ledgertest.Run(t, func(t *testing.T) ledgertest.Disk {
		d := newDisk(t)
		return ledgertest.Disk{
			Open: func(t *testing.T) ledger.Store { return d.open(t) },
			Edit: func(t *testing.T, sequence uint64, body string) {
				d.close(t)
				db, err := sql.Open("sqlite", filepath.Join(d.dir, fileName))
				if err != nil {
					t.Fatal(err)
				}
				defer db.Close()
				if _, err := db.Exec(allowEdit); err != nil {
					t.Fatal(err)
				}
				if _, err := db.Exec(`UPDATE ledger SET body = ? WHERE sequence = ?`, body, sequence); err != nil {
					t.Fatal(err)
				}
			},
			Drop: func(t *testing.T, sequence uint64) {
				d.close(t)
				db, err := sql.Open("sqlite", filepath.Join(d.dir, fileName))
				if err != nil {
					t.Fatal(err)
				}
				defer db.Close()
				if _, err := db.Exec(allowDelete); err != nil {
					t.Fatal(err)
				}
				if _, err := db.Exec(`DELETE FROM ledger WHERE sequence = ?`, sequence); err != nil {
					t.Fatal(err)
				}
			},
			Tear: func(t *testing.T, row ledger.Row) { d.tear(t, row, 0.5) },
			Fill: func(t *testing.T, store ledger.Store) func() {
				limit(t, store.(*DB), "(SELECT page_count + 3 FROM pragma_page_count)")
				return func() { limit(t, store.(*DB), "1000000") }
			},
			Fail: failWrites,
		}
	})
}

// limit bounds the pages of the file, beyond which SQLite answers as it does on
// a full disk.
func limit(t *testing.T, db *DB, pages string) {
	t.Helper()
	var number int
	if err := db.write.QueryRow("SELECT " + pages).Scan(&number); err != nil {
		t.Fatal(err)
	}
	if _, err := db.write.Exec("PRAGMA max_page_count = " + strconv.Itoa(number)); err != nil {
		t.Fatal(err)
	}
}

// tear moves the disk to a copy in which the write of row broke off at the given
// share of its bytes: appended, not yet acknowledged, power lost.
func (d *disk) tear(t *testing.T, row ledger.Row, share float64) {
	t.Helper()
	db := d.db
	head := readFile(t, filepath.Join(d.dir, headName))
	before := len(readFile(t, filepath.Join(d.dir, fileName+"-wal")))
	if err := db.Append(row); err != nil {
		t.Fatal(err)
	}
	wal := readFile(t, filepath.Join(d.dir, fileName+"-wal"))
	if len(wal) <= before {
		t.Fatalf("the append did not lengthen the log (%d, then %d bytes); this test would tear nothing", before, len(wal))
	}
	torn := t.TempDir()
	writeFile(t, filepath.Join(torn, fileName), readFile(t, filepath.Join(d.dir, fileName)))
	writeFile(t, filepath.Join(torn, fileName+"-wal"), wal[:before+int(share*float64(len(wal)-before))])
	writeFile(t, filepath.Join(torn, headName), head)
	d.close(t)
	d.dir = torn
}

func readFile(t testing.TB, path string) []byte {
	t.Helper()
	content, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return content
}

func writeFile(t testing.TB, path string, content []byte) {
	t.Helper()
	if err := os.WriteFile(path, content, 0o600); err != nil {
		t.Fatal(err)
	}
}
