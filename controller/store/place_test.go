package store

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"leat/safety/ledger"
)

// Each is what a person at a shell does to the folder of a running daemon.
func TestFolderThatIsTakenAwayUnderTheDaemonEndsTheRecordAtOnce(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("nobody can take an open file away there")
	}
	for name, shell := range map[string]string{
		"folder deleted":               `rm -r "$0"`,
		"folder moved":                 `mv "$0" "$0.old"`,
		"folder moved, a copy instead": `mv "$0" "$0.old"; cp -r "$0.old" "$0"`,
		"file deleted":                 `rm "$0"/leat.db`,
		"file replaced":                `cp "$0"/leat.db "$0"/x; mv "$0"/x "$0"/leat.db`,
		"log deleted":                  `rm "$0"/leat.db-wal`,
		"witness deleted":              `rm "$0"/leat.head`,
		"older copy written over it":   `for f in leat.db leat.db-wal leat.head; do cat "$0.copy"/$f > "$0"/$f; done`,
		"file of nothing":              `: > "$0"/leat.db`,
		"log of nothing":               `: > "$0"/leat.db-wal`,
	} {
		t.Run(strings.ReplaceAll(name, " ", "-"), func(t *testing.T) {
			dir := filepath.Join(t.TempDir(), "state")
			db, err := Open(dir)
			if err != nil {
				t.Fatal(err)
			}
			defer db.Close()
			l := book(t, db)
			appendChanges(t, l, 3)
			run(t, `cp -r "$0" "$0.copy"`, dir)
			appendChanges(t, l, 2)
			run(t, shell, dir)
			if err := l.Append(change(9)); !errors.Is(err, ledger.ErrFailed) {
				t.Errorf("appended with %v; want %v", err, ledger.ErrFailed)
			}
			if err := db.Audit(evening, "ada", "page", "signed in", ""); !errors.Is(err, ledger.ErrFailed) {
				t.Errorf("written with %v; want %v", err, ledger.ErrFailed)
			}
		})
	}
}

// What is copied over the files while a write of ours is under way is taken for that write's own
// change. The row before the next is gone with it.
func TestOlderCopyWrittenOverTheRecordDuringAWriteEndsItWithTheNextRow(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("nobody can write over an open file there")
	}
	dir := filepath.Join(t.TempDir(), "state")
	db, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	l := book(t, db)
	appendChanges(t, l, 3)
	run(t, `cp -r "$0" "$0.copy"`, dir)
	appendChanges(t, l, 2)
	run(t, `cp "$0.copy"/leat.db* "$0.copy"/leat.head "$0"`, dir)
	db.place.note() // as that write does at its end
	if err := l.Append(change(9)); !errors.Is(err, ledger.ErrFailed) {
		t.Errorf("appended with %v; want %v", err, ledger.ErrFailed)
	}
}

func run(t *testing.T, shell, dir string) {
	t.Helper()
	if out, err := exec.Command("sh", "-ec", shell, dir).CombinedOutput(); err != nil {
		t.Fatalf("%s: %v: %s", shell, err, out)
	}
}

func TestPeopleWhoAreAddedBesideTheDaemonDoNotEndItsRecord(t *testing.T) {
	dir := t.TempDir()
	db, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	l := book(t, db)
	for n := range 20 {
		appendChanges(t, l, 3)
		beside, err := Open(dir) // as leat user does
		if err != nil {
			t.Fatal(err)
		}
		name := strings.Repeat("x", n+1)
		if err := errors.Join(beside.People().Add(Person{Name: name, Role: "view", Hash: "x", Added: evening}), beside.Close()); err != nil {
			t.Fatal(err)
		}
	}
	appendChanges(t, l, 3)
	if sequence, _ := l.Head(); sequence != 63 {
		t.Errorf("%d rows", sequence)
	}
	if _, err := os.Stat(filepath.Join(dir, fileName)); err != nil {
		t.Error(err)
	}
}

func TestFileOrKernelViewAsStateFolderIsRefusedByName(t *testing.T) {
	plain := filepath.Join(t.TempDir(), "plain")
	writeFile(t, plain, []byte("x"))
	places := map[string]string{plain: "is a file"}
	if runtime.GOOS == "linux" {
		places["/proc"], places["/proc/self"], places["/sys"] = "no disk", "no disk", "no disk"
	}
	for dir, want := range places {
		for name, open := range map[string]func() error{
			"open": func() error { _, err := Open(dir); return err },
			"lock": func() error { _, err := Lock(dir); return err },
		} {
			if err := open(); err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), dir) {
				t.Errorf("%s of %q: %v; want words on %q", name, dir, err, want)
			}
		}
	}
}
