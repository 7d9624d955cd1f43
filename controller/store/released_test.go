package store

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"leat/safety/ledger"
)

// released are the SHA-256 of the steps as they were published: a file in the field was made by exactly these.
var released = []string{
	"c9682687c829764f", "e7127a3059921851", "3227e41f96fda7da", "63ee815ad13530cd", "b5a75765d0d47a1c", "017e0e159960f138",
}

func TestStepThatWasReleasedIsNeverChanged(t *testing.T) {
	if len(steps) < len(released) {
		t.Fatalf("%d steps of %d that were released", len(steps), len(released))
	}
	for i, want := range released {
		sum := sha256.Sum256([]byte(steps[i]))
		if got := hex.EncodeToString(sum[:8]); got != want {
			t.Errorf("step %d is %s, was %s: add a step instead", i+1, got, want)
		}
	}
	if len(steps) > len(released) {
		t.Errorf("step %d has no sum here: %x", len(steps), sha256.Sum256([]byte(steps[len(steps)-1])))
	}
}

// fileOf is a state folder as a leat of that schema left it, with rows of a ledger and of what it had else.
func fileOf(t *testing.T, version, rows int) *disk {
	t.Helper()
	now := newDisk(t)
	appendRows(t, now.open(t), rows)
	now.close(t)
	d := newDisk(t)
	statements := append([]string{}, steps[:version]...)
	statements = append(statements, fmt.Sprintf("PRAGMA application_id = %d; PRAGMA user_version = %d; PRAGMA journal_mode = WAL", applicationID, version),
		fmt.Sprintf("ATTACH '%s' AS now", filepath.Join(now.dir, fileName)), "INSERT INTO ledger SELECT sequence, body, previous, hash FROM now.ledger", "DETACH now",
		"INSERT INTO input VALUES (1, 'north/ph'); INSERT INTO minute VALUES (1, 60, 2, 5.7, 5.8, 5.9), (1, 61, 4, 5.5, 5.6, 5.7)",
		"INSERT INTO audit (wall, who, source, what, detail) VALUES ('2031-03-04T19:00:00Z', 'ada', 'page', 'arm', '')",
		"INSERT INTO person (name, role, hash, added) VALUES ('ada', 'engineer', '$argon2id$x', '2031-03-04T19:00:00Z')")
	if version >= 3 {
		statements = append(statements, "INSERT INTO hour VALUES (1, 1, 6, 5.5, 5.667, 5.9)")
	}
	writeFile(t, filepath.Join(d.dir, fileName), nil)
	raw(t, d.dir, strings.Join(statements, ";\n"))
	writeFile(t, filepath.Join(d.dir, headName), readFile(t, filepath.Join(now.dir, headName)))
	return d
}

// as lets this program be the leat of an older schema.
func as(t *testing.T, version int, do func()) {
	t.Helper()
	all := steps
	steps = steps[:version]
	defer func() { steps = all }()
	do()
}

func TestFileOfEveryReleasedSchemaIsBroughtUpWithAllThatItHeld(t *testing.T) {
	for version := 1; version < len(steps); version++ {
		d := fileOf(t, version, 7)
		as(t, version, func() { // the fixture is one that the older leat itself takes
			if rows, _, err := ledger.Verify(d.open(t), func(ledger.Entry) error { return nil }); err != nil || rows != 7 {
				t.Fatalf("schema %d: the older leat finds %d rows, %v", version, rows, err)
			}
			d.close(t)
		})
		db := d.open(t)
		if rows, _, err := ledger.Verify(db, func(ledger.Entry) error { return nil }); err != nil || rows != 7 {
			t.Errorf("schema %d: %d rows, %v", version, rows, err)
		}
		for query, want := range map[string]string{
			"PRAGMA user_version": fmt.Sprint(len(steps)), "SELECT role FROM person WHERE name = 'ada'": "engineer", "SELECT what FROM audit": "arm",
			"SELECT count FROM hour WHERE at = 1": "6", "SELECT given FROM person": "", "SELECT count(*) FROM event": "0", "SELECT count(*) FROM token": "0", "SELECT count(*) FROM phone": "0",
		} {
			var got string
			if err := db.read.QueryRow(query).Scan(&got); err != nil || got != want {
				t.Errorf("schema %d: %s is %q, %v; want %q", version, query, got, err, want)
			}
		}
		appendRows(t, db, 2)
		d.close(t)
	}
}

// Going back: the older leat refuses the newer file unharmed, and takes the copy that was kept before the file was brought up.
func TestOlderLeatRefusesTheNewerFileAndTakesTheCopyOfBefore(t *testing.T) {
	for version := 1; version < len(steps); version++ {
		d := fileOf(t, version, 7)
		appendRows(t, d.open(t), 2)
		d.close(t)
		before := filepath.Join(d.dir, fmt.Sprintf(beforeSchema, version))
		as(t, version, func() {
			if _, err := Open(d.dir); err == nil || !strings.Contains(err.Error(), "newer leat") || !strings.Contains(err.Error(), filepath.Base(before)) {
				t.Fatalf("schema %d: the older leat opens the newer file: %v; it must name the copy", version, err)
			}
			copied, err := Examine(before)
			if err != nil || copied.Rows != 7 {
				t.Fatalf("schema %d: the copy of before holds %d rows, %v", version, copied.Rows, err)
			}
			if _, err := Restore(d.dir, copied, "ada", "back to the older leat"); err != nil {
				t.Fatal(err)
			}
			if rows, _, err := ledger.Verify(d.open(t), func(ledger.Entry) error { return nil }); err != nil || rows != 8 {
				t.Errorf("schema %d: %d rows after the copy was put back, %v", version, rows, err)
			}
			d.close(t)
		})
		_, err := os.Stat(before)
		if err != nil {
			t.Errorf("schema %d: the copy is gone: %v", version, err)
		}
	}
}
