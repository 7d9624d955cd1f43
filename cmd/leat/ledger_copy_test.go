package main

import (
	"bytes"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"leat/controller/desk"
	"leat/controller/store"
)

func TestBackupIsTakenBesideAWriterAndVerifies(t *testing.T) {
	dir := farmLedger(t)
	writer, err := store.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer writer.Close()
	file := filepath.Join(t.TempDir(), "evening.db")
	out := mustLedger(t, "-state", dir, "backup", file)
	for _, want := range []string{file, "8 rows", "epoch 1", "the chain holds"} {
		if !strings.Contains(out, want) {
			t.Errorf("%q is missing in %q", want, out)
		}
	}
	if code, _, errs := runLedger("-state", dir, "backup", file); code == 0 || !strings.Contains(errs, "exists already") {
		t.Errorf("an earlier copy was overwritten: %d, %s", code, errs)
	}
	if code, _, errs := runLedger("-state", dir, "backup"); code != 2 || !strings.Contains(errs, "FILE") {
		t.Errorf("no file: %d, %s", code, errs)
	}
}

// Who copies is another program than the daemon, which tells people of it.
func TestEachCopyIsNotedForTheDaemonAndSoIsOneThatFailed(t *testing.T) {
	dir, began := farmLedger(t), time.Now()
	if c, err := store.KnownCopies(dir); err != nil || c != (store.Copies{}) {
		t.Errorf("before the first copy: %+v, %v", c, err)
	}
	known := func() store.Copies {
		t.Helper()
		c, err := store.KnownCopies(dir)
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	evening := filepath.Join(t.TempDir(), "evening.db")
	mustLedger(t, "-state", dir, "backup", evening)
	good := known()
	if good.Good.Before(began) || good.Rows != 8 || good.Failed != "" {
		t.Errorf("after a copy: %+v", good)
	}
	if code, _, _ := runLedger("-state", dir, "backup", evening); code == 0 || known() != good {
		t.Errorf("a name that is taken is a slip of the person, no failed copy: %+v", known())
	}
	if code, _, errs := runLedger("-state", dir, "backup", filepath.Join(dir, "no such folder", "night.db")); code == 0 || known().Failed == "" || !known().Good.Equal(good.Good) {
		t.Errorf("a copy that could not be written: %d, %s, %+v", code, errs, known())
	}
	mustLedger(t, "-state", dir, "backup", filepath.Join(t.TempDir(), "again.db"))
	if known().Failed != "" {
		t.Errorf("a good copy does not end the failure: %+v", known())
	}
	if info, err := os.Stat(filepath.Join(dir, "copies.json")); err != nil || info.Mode().Perm()&0o044 != 0o044 && runtime.GOOS != "windows" {
		t.Errorf("root copies, and the daemon's user cannot read of it: %v, %v", info, err)
	}
}

func TestRestoreKeepsWhatWasThereAndBeginsANewEpoch(t *testing.T) {
	dir := farmLedger(t)
	file := filepath.Join(t.TempDir(), "evening.db")
	mustLedger(t, "-state", dir, "backup", file)

	release, err := store.Lock(dir)
	if err != nil {
		t.Fatal(err)
	}
	if code, _, errs := runLedger("-state", dir, "-yes", "restore", file); code == 0 || !strings.Contains(errs, "another leat runs") {
		t.Errorf("restored under a running daemon: %d, %s", code, errs)
	}
	release()

	before := mustLedger(t, "-state", dir, "verify")
	var asked bytes.Buffer
	if err := desk.RestoreLedger(dir, file, "", false, strings.NewReader("no\n"), &asked); err == nil || mustLedger(t, "-state", dir, "verify") != before {
		t.Errorf("no is taken for yes: %v", err)
	}
	if !strings.Contains(asked.String(), "as much counts as the caps allow") || !strings.Contains(asked.String(), "Type yes") {
		t.Errorf("it does not say what it would do: %s", asked.String())
	}
	out := mustLedger(t, "-state", dir, "-note", "disk changed", "-yes", "restore", file)
	_, aside, found := strings.Cut(out, "before is in ")
	if !found {
		t.Fatalf("it does not say where the former ledger is: %s", out)
	}
	if state := mustLedger(t, "-state", strings.TrimSuffix(strings.TrimSpace(aside), "."), "verify"); state != before {
		t.Errorf("the former ledger is another one:\n%s", state)
	}
	printed := mustLedger(t, "-state", dir, "print")
	if !strings.Contains(printed, "was put back") || !strings.Contains(printed, "disk changed") || strings.Count(printed, "\n") != 9 {
		t.Errorf("the ledger does not tell:\n%s", printed)
	}
	if verified := mustLedger(t, "-state", dir, "verify"); !strings.Contains(verified, "epoch  41") {
		t.Errorf("no new epoch:\n%s", verified)
	}
	// Into a new folder, as after the loss of a disk.
	empty := filepath.Join(t.TempDir(), "state")
	mustLedger(t, "-state", empty, "-yes", "restore", file)
	if verified := mustLedger(t, "-state", empty, "verify"); !strings.Contains(verified, "rows   9") {
		t.Errorf("a new folder holds\n%s", verified)
	}
}

func TestRestoreRefusesWhatIsNoCopyAndChangesNothing(t *testing.T) {
	dir := farmLedger(t)
	before := mustLedger(t, "-state", dir, "verify")
	bad := filepath.Join(t.TempDir(), "bad.db")
	if err := os.WriteFile(bad, []byte("no database at all"), 0o600); err != nil {
		t.Fatal(err)
	}
	torn := filepath.Join(t.TempDir(), "torn.db")
	mustLedger(t, "-state", dir, "backup", torn)
	whole, err := os.ReadFile(torn)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(torn, whole[:len(whole)/2], 0o600); err != nil {
		t.Fatal(err)
	}
	for _, file := range []string{bad, torn, filepath.Join(dir, "nothing.db")} {
		if code, _, errs := runLedger("-state", dir, "-yes", "restore", file); code != 1 || errs == "" {
			t.Errorf("%s: %d, %s", file, code, errs)
		}
	}
	if after := mustLedger(t, "-state", dir, "verify"); after != before {
		t.Errorf("changed:\n%s", after)
	}
}
