package store

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"leat/dosing"
	"leat/safety/ledger"
)

var evening = time.Date(2031, 3, 4, 19, 0, 0, 0, time.UTC)

func change(n int) ledger.Change {
	return ledger.Change{Kind: ledger.ChangeServiced, At: dosing.Instant{Wall: evening.Add(time.Duration(n) * time.Second), Up: time.Duration(n) * time.Second},
		Tank: "north", Text: "probe cleaned", By: "ada", Value: float64(n)}
}

func book(t testing.TB, store ledger.Store) *ledger.Ledger {
	t.Helper()
	l, err := ledger.Open(store)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func appendChanges(t testing.TB, l *ledger.Ledger, count int) {
	t.Helper()
	for n := range count {
		if err := l.Append(change(n + 1)); err != nil {
			t.Fatal(err)
		}
	}
}

func TestStateFolderIsForItsOwnerOnly(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("no permission bits")
	}
	d := &disk{dir: filepath.Join(t.TempDir(), "a", "state")}
	t.Cleanup(func() { d.close(t) })
	appendChanges(t, book(t, d.open(t)), 1)
	for path, want := range map[string]os.FileMode{"": 0o700, fileName: 0o600, fileName + "-wal": 0o600, headName: 0o600} {
		info, err := os.Stat(filepath.Join(d.dir, path))
		if err != nil {
			t.Fatal(err)
		}
		if got := info.Mode().Perm(); got != want {
			t.Errorf("%q has mode %o, want %o", path, got, want)
		}
	}
}

func TestFolderThatCannotBeWrittenIsRefusedWithAdvice(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	writeFile(t, file, []byte("x"))
	places := map[string]string{"": "-state", filepath.Join(file, "state"): file}
	if os.Geteuid() > 0 { // root writes everywhere
		closed := t.TempDir()
		if err := os.Chmod(closed, 0o500); err != nil {
			t.Fatal(err)
		}
		places[closed] = "cannot be written"
	}
	for dir, want := range places {
		for name, open := range map[string]func() error{
			"open": func() error { _, err := Open(dir); return err },
			"lock": func() error { _, err := Lock(dir); return err },
		} {
			if err := open(); err == nil || !strings.Contains(err.Error(), want) {
				t.Errorf("%s of %q: %v", name, dir, err)
			}
		}
	}
}

func TestFileOfAnotherProgramIsLeftAlone(t *testing.T) {
	dir := t.TempDir()
	raw(t, dir, `CREATE TABLE recipe (name TEXT)`)
	if _, err := Open(dir); err == nil || !strings.Contains(err.Error(), "another program") {
		t.Errorf("opened with %v", err)
	}
	if _, err := OpenReader(dir); err == nil || !strings.Contains(err.Error(), "another program") {
		t.Errorf("opened for reading with %v", err)
	}
	other := t.TempDir()
	writeFile(t, filepath.Join(other, fileName), []byte(strings.Repeat("a list of seeds\n", 100)))
	if _, err := Open(other); err == nil {
		t.Error("opened a text file")
	}
}

func TestFileOfANewerLeatIsRefused(t *testing.T) {
	d := newDisk(t)
	d.open(t)
	d.close(t)
	raw(t, d.dir, fmt.Sprintf("PRAGMA user_version = %d", len(steps)+1))
	if _, err := Open(d.dir); err == nil || !strings.Contains(err.Error(), "newer leat") {
		t.Errorf("opened with %v", err)
	}
	if _, err := OpenReader(d.dir); err == nil || !strings.Contains(err.Error(), "newer leat") {
		t.Errorf("opened for reading with %v", err)
	}
}

func TestLedgerCannotBeEditedByMistake(t *testing.T) {
	d := newDisk(t)
	appendChanges(t, book(t, d.open(t)), 3)
	for _, statement := range []string{`UPDATE ledger SET body = '{}'`, `DELETE FROM ledger`} {
		if _, err := d.db.write.Exec(statement); err == nil || !strings.Contains(err.Error(), "append-only") {
			t.Errorf("%s: %v", statement, err)
		}
	}
}

func TestLostEndOfTheLedgerIsFound(t *testing.T) {
	d := newDisk(t)
	appendChanges(t, book(t, d.open(t)), 5)
	d.close(t)
	raw(t, d.dir, allowDelete, `DELETE FROM ledger WHERE sequence > 3`)
	_, daemon := Open(d.dir)
	_, reader := OpenReader(d.dir)
	for name, err := range map[string]error{"daemon": daemon, "reader": reader} {
		if !errors.Is(err, ledger.ErrBroken) || !strings.Contains(err.Error(), "row 5 was acknowledged") {
			t.Errorf("%s: %v", name, err)
		}
	}
	// A person who means it removes the witness.
	if err := os.Remove(filepath.Join(d.dir, headName)); err != nil {
		t.Fatal(err)
	}
	appendChanges(t, book(t, d.open(t)), 1)
}

func TestOlderCopyOfTheFileIsFound(t *testing.T) {
	d := newDisk(t)
	appendChanges(t, book(t, d.open(t)), 3)
	d.close(t)
	copied := readFile(t, filepath.Join(d.dir, fileName))
	appendChanges(t, book(t, d.open(t)), 2)
	d.close(t)
	writeFile(t, filepath.Join(d.dir, fileName), copied)
	_, err := Open(d.dir)
	if !errors.Is(err, ledger.ErrBroken) || !strings.Contains(err.Error(), "ends with row 3, but row 5 was acknowledged") || !strings.Contains(err.Error(), "an older copy was put back") {
		t.Fatalf("an older copy opened with %v", err)
	}
}

func TestExchangedFileIsFound(t *testing.T) {
	d, other := newDisk(t), newDisk(t)
	appendChanges(t, book(t, d.open(t)), 3)
	d.close(t)
	l := book(t, other.open(t))
	for n := range 4 {
		if err := l.Append(change(n + 100)); err != nil {
			t.Fatal(err)
		}
	}
	other.close(t)
	writeFile(t, filepath.Join(d.dir, fileName), readFile(t, filepath.Join(other.dir, fileName)))
	if _, err := Open(d.dir); !errors.Is(err, ledger.ErrBroken) || !strings.Contains(err.Error(), "exchanged") {
		t.Fatalf("another ledger's file opened with %v", err)
	}
}

func TestTornWitnessSaysNothing(t *testing.T) {
	d := newDisk(t)
	appendChanges(t, book(t, d.open(t)), 3)
	d.close(t)
	path := filepath.Join(d.dir, headName)
	whole := readFile(t, path)
	for size := range whole {
		writeFile(t, path, whole[:size])
		d.open(t)
		d.close(t)
	}
	flipped := append([]byte(nil), whole...)
	flipped[3] ^= 1
	writeFile(t, path, flipped)
	d.open(t)
}

// TestTailTornAtAnyByteLosesNothingAcknowledged cuts SQLite's log within the
// write of the last row, which was not yet acknowledged.
func TestTailTornAtAnyByteLosesNothingAcknowledged(t *testing.T) {
	const acknowledged, cuts = 6, 16
	for cut := range cuts {
		d := newDisk(t)
		l := book(t, d.open(t))
		appendChanges(t, l, acknowledged)
		_, hash := l.Head()
		torn := ledger.Seal(acknowledged+1, hash, []byte(`{"kind":"change","change":"mode","up_s":1,"text":"armed"}`))
		d.tear(t, torn, float64(cut)/cuts)
		if sequence, _ := book(t, d.open(t)).Head(); sequence != acknowledged {
			t.Fatalf("cut %d: %d rows, %d were acknowledged", cut, sequence, acknowledged)
		}
	}
}

// TestDamagedLogIsFound flips a bit of SQLite's log far before its end. SQLite
// drops everything behind it without a word.
func TestDamagedLogIsFound(t *testing.T) {
	d := newDisk(t)
	l := book(t, d.open(t))
	appendChanges(t, l, 40)
	damaged := t.TempDir()
	for _, name := range []string{fileName, fileName + "-wal", headName} {
		content := readFile(t, filepath.Join(d.dir, name))
		if name == fileName+"-wal" {
			content[len(content)/2] ^= 0x10
		}
		writeFile(t, filepath.Join(damaged, name), content)
	}
	if _, err := Open(damaged); !errors.Is(err, ledger.ErrBroken) {
		t.Fatalf("a damaged log opened with %v", err)
	}
}

// TestDamagedFileIsNeverTrusted flips one bit at many places of the database.
func TestDamagedFileIsNeverTrusted(t *testing.T) {
	d := newDisk(t)
	appendChanges(t, book(t, d.open(t)), 60)
	d.close(t)
	sound := readFile(t, filepath.Join(d.dir, fileName))
	head := readFile(t, filepath.Join(d.dir, headName))
	var want [32]byte
	found := 0
	for place := 4096; place < len(sound); place += 601 {
		dir := t.TempDir()
		spoiled := append([]byte(nil), sound...)
		spoiled[place] ^= 0x04
		writeFile(t, filepath.Join(dir, fileName), spoiled)
		writeFile(t, filepath.Join(dir, headName), head)
		db, err := OpenReader(dir)
		if err != nil {
			found++
			continue
		}
		sequence, hash, err := ledger.Verify(db, func(ledger.Entry) error { return nil })
		if err != nil {
			found++
		} else if sequence != 60 || want != [32]byte{} && hash != want {
			// A bit of a free or unrelated page is none of the ledger's.
			t.Errorf("bit flipped at %d: %d rows verify with another head", place, sequence)
		} else {
			want = hash
		}
		if err := db.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if found == 0 {
		t.Error("no flipped bit was found; the test flips nothing that matters")
	}
}

func TestSecondDaemonOnTheFolderIsRefused(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "state")
	release, err := Lock(dir)
	if err != nil {
		t.Fatal(err)
	}
	want := fmt.Sprintf("another leat runs on this state folder (pid %d)", os.Getpid())
	if _, err := Lock(dir); err == nil || !strings.Contains(err.Error(), want) {
		t.Fatalf("the second got %v, want %q", err, want)
	}
	release()
	release()
	again, err := Lock(dir)
	if err != nil {
		t.Fatalf("after release: %v", err)
	}
	again()
}

func TestReaderReadsBesideTheDaemonAndWritesNothing(t *testing.T) {
	d := newDisk(t)
	l := book(t, d.open(t))
	appendChanges(t, l, 3)
	reader, err := OpenReader(d.dir)
	if err != nil {
		t.Fatal(err)
	}
	defer reader.Close()
	appendChanges(t, l, batch+8)
	if sequence, _, err := ledger.Verify(reader, func(ledger.Entry) error { return nil }); err != nil || sequence != batch+11 {
		t.Errorf("the reader sees %d rows, want %d: %v", sequence, batch+11, err)
	}
	if _, writes := any(reader).(ledger.Store); writes {
		t.Error("what is open for reading can append")
	}
	if _, err := reader.read.Exec(`DELETE FROM audit`); err == nil {
		t.Error("the reader's connection wrote")
	}
	if _, err := OpenReader(t.TempDir()); err == nil || !strings.Contains(err.Error(), "holds no ledger") {
		t.Errorf("reading an empty folder: %v", err)
	}
}

func TestBackupIsAWholeLedger(t *testing.T) {
	d := newDisk(t)
	l := book(t, d.open(t))
	appendChanges(t, l, 30)
	restored := t.TempDir()
	path := filepath.Join(restored, fileName)
	if err := d.db.Backup(path); err != nil {
		t.Fatal(err)
	}
	appendChanges(t, l, 5) // the daemon goes on
	if err := d.db.Backup(path); err == nil {
		t.Error("a backup was written over another")
	}
	copied, err := Open(restored)
	if err != nil {
		t.Fatal(err)
	}
	defer copied.Close()
	if sequence, _ := book(t, copied).Head(); sequence != 30 {
		t.Errorf("%d rows in the backup, want 30", sequence)
	}
	if left, err := filepath.Glob(filepath.Join(restored, "*.unfinished")); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v %v", left, err)
	}
}

func TestFolderNameMayHaveAnyCharacter(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("Windows forbids most of them")
	}
	d := &disk{dir: filepath.Join(t.TempDir(), "käse? #1 100% a&b=c")}
	t.Cleanup(func() { d.close(t) })
	appendChanges(t, book(t, d.open(t)), 2)
	if _, err := os.Stat(filepath.Join(d.dir, fileName)); err != nil {
		t.Fatal(err)
	}
	if sequence, _ := book(t, d.open(t)).Head(); sequence != 2 {
		t.Fatalf("%d rows", sequence)
	}
}

func TestAnotherProgramsLockHoldsAndDoesNotStop(t *testing.T) {
	d := newDisk(t)
	l := book(t, d.open(t))
	appendChanges(t, l, 1)
	if _, err := d.db.write.Exec("PRAGMA busy_timeout = 1"); err != nil {
		t.Fatal(err)
	}
	other := &disk{dir: d.dir}
	holder := other.open(t)
	tx, err := holder.write.Begin()
	if err != nil {
		t.Fatal(err)
	}
	if err := l.Append(change(2)); !errors.Is(err, ledger.ErrFull) || errors.Is(err, ledger.ErrFailed) {
		t.Errorf("while another program holds the file: %v", err)
	}
	if err := tx.Rollback(); err != nil {
		t.Fatal(err)
	}
	if err := l.Append(change(2)); err != nil {
		t.Errorf("afterwards: %v", err)
	}
	other.close(t)
}

// TestRealDiskThatIsFull needs a folder on a small file system of its own, such as
// a tmpfs of 1 MB, in LEAT_SMALL_DISK.
func TestRealDiskThatIsFull(t *testing.T) {
	place := os.Getenv("LEAT_SMALL_DISK")
	if place == "" {
		if os.Getenv("LEAT_REAL") == "1" {
			t.Fatal("LEAT_SMALL_DISK names no folder on a small file system; as root: mount -t tmpfs -o size=1m tmpfs FOLDER")
		}
		t.Skip("LEAT_SMALL_DISK names no folder on a small file system; LEAT_REAL=1 makes this a failure")
	}
	d := &disk{dir: filepath.Join(place, "state")}
	t.Cleanup(func() { d.close(t) })
	l := book(t, d.open(t))
	appendChanges(t, l, 5)
	filler := filepath.Join(place, "filler")
	if err := os.WriteFile(filler, make([]byte, 1<<30), 0o600); err == nil {
		t.Fatal("a gigabyte fits; this is no small file system")
	}
	var err error
	for n := 6; err == nil && n < 1000; n++ {
		err = l.Append(change(n))
	}
	if !errors.Is(err, ledger.ErrFull) || errors.Is(err, ledger.ErrFailed) {
		t.Fatalf("a full disk gave %v", err)
	}
	before, _ := l.Head()
	if err := os.Remove(filler); err != nil {
		t.Fatal(err)
	}
	appendChanges(t, l, 1)
	if sequence, _ := book(t, d.open(t)).Head(); sequence != before+1 {
		t.Fatalf("%d rows after the disk was freed, want %d", sequence, before+1)
	}
}

// BenchmarkAppend is one durable row, with p50 and p99.
func BenchmarkAppend(b *testing.B) {
	d := newDisk(b)
	l := book(b, d.open(b))
	took := make([]time.Duration, 0, b.N)
	n := 0
	for b.Loop() {
		n++
		c := change(n)
		began := time.Now()
		if err := l.Append(c); err != nil {
			b.Fatal(err)
		}
		took = append(took, time.Since(began))
	}
	reportPercentiles(b, took)
}

// BenchmarkReplay100k opens and replays a file of 100 000 rows.
func BenchmarkReplay100k(b *testing.B) {
	d := newDisk(b)
	db := d.open(b)
	tx, err := db.write.Begin()
	if err != nil {
		b.Fatal(err)
	}
	var hash [32]byte
	const rows = 100_000
	for n := range uint64(rows) {
		body := fmt.Sprintf(`{"kind":"settlement","run":1,"wall":"2031-03-04T19:10:09Z","up_s":%d,"order":"1-%06d","tank":"north",`+
			`"pump":"acid","volume_ml":12.25,"ordered_ml":12.5,"outcome":"confirmed","cause":"reported done"}`, n, n/2+1)
		if n%2 == 0 {
			body = fmt.Sprintf(`{"kind":"intent","run":1,"wall":"2031-03-04T19:10:00Z","up_s":%d,"order":"1-%06d","tank":"north","pump":"acid",`+
				`"volume_ml":12.5,"reason":"pH high","ph":6.31,"ec_ms_per_cm":1.62,"temp_c":20.4,"configuration":"c41d"}`, n, n/2+1)
		}
		row := ledger.Seal(n+1, hash, []byte(body))
		hash = row.Hash
		if _, err := tx.Exec(`INSERT INTO ledger VALUES (?, ?, ?, ?)`, int64(row.Sequence), body, row.Previous[:], row.Hash[:]); err != nil {
			b.Fatal(err)
		}
	}
	if err := tx.Commit(); err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		state, err := ledger.Replay(db, dosing.Instant{}, true)
		if err != nil || state.Rows != rows {
			b.Fatalf("%d rows, %v", state.Rows, err)
		}
	}
	b.ReportMetric(rows*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}

// What the open check compares with may itself be wrong, so this looks at the connection
// by which rows are written: what SQLite must do before an append returns.
func TestEveryAppendIsSynced(t *testing.T) {
	d := newDisk(t)
	db := d.open(t)
	appendChanges(t, book(t, db), 1)
	for pragma, want := range map[string]int{"synchronous": 2, "fullfsync": 1, "checkpoint_fullfsync": 1} {
		got := -1
		if err := db.write.QueryRow("PRAGMA " + pragma).Scan(&got); err != nil {
			t.Fatal(err)
		}
		if got != want {
			t.Errorf("%s is %d, want %d: a power cut would lose rows that were acknowledged", pragma, got, want)
		}
	}
}
