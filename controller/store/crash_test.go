package store

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"slices"
	"testing"
	"time"

	"leat/safety/ledger"
)

// childFolder names the state folder to the process that appends until killed.
const childFolder = "LEAT_TEST_APPEND_TO"

func TestMain(m *testing.M) {
	if dir := os.Getenv(childFolder); dir != "" {
		if err := appendForEver(dir); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
	os.Exit(m.Run())
}

// appendForEver appends rows and prints number and hash of each after it was
// acknowledged.
func appendForEver(dir string) error {
	release, err := Lock(dir)
	if err != nil {
		return err
	}
	defer release()
	db, err := Open(dir)
	if err != nil {
		return err
	}
	l, err := ledger.Open(db)
	if err != nil {
		return err
	}
	history := db.History()
	for n := 1; ; n++ {
		if err := l.Append(change(n)); err != nil {
			return err
		}
		sequence, hash := l.Head()
		fmt.Printf("%d %x\n", sequence, hash)
		// The history shares the file, so it is written in between as in the daemon.
		history.Observe(evening.Add(time.Duration(n)*time.Minute), "pH north", 6)
		if n%7 == 0 {
			if err := history.Flush(); err != nil {
				return err
			}
		}
	}
}

func TestKilledDaemonLosesNoAcknowledgedRow(t *testing.T) {
	if testing.Short() && os.Getenv("LEAT_REAL") != "1" {
		t.Skip("starts processes")
	}
	const rounds = 8
	dir := t.TempDir()
	acknowledged := map[uint64]string{}
	var newest uint64
	for round := range rounds {
		child := exec.Command(os.Args[0])
		child.Env = append(os.Environ(), childFolder+"="+dir)
		child.Stderr = os.Stderr
		out, err := child.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := child.Start(); err != nil {
			t.Fatal(err)
		}
		lines := bufio.NewScanner(out)
		for seen := 0; lines.Scan(); seen++ {
			var sequence uint64
			var hash string
			if _, err := fmt.Sscan(lines.Text(), &sequence, &hash); err != nil {
				break // the last line may be cut by the kill
			}
			acknowledged[sequence] = hash
			newest = max(newest, sequence)
			if seen == 20+13*round { // somewhere else in the log each time
				if err := child.Process.Kill(); err != nil {
					t.Fatal(err)
				}
			}
		}
		_ = child.Wait() // killed, as meant
		checkAcknowledged(t, dir, acknowledged, newest)
	}
	if len(acknowledged) < rounds*20 {
		t.Fatalf("only %d rows were appended", len(acknowledged))
	}
}

func checkAcknowledged(t *testing.T, dir string, acknowledged map[uint64]string, newest uint64) {
	t.Helper()
	db, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	found := map[uint64]string{}
	sequence, _, err := ledger.VerifyRows(db, func(row ledger.Row, _ ledger.Entry) error {
		found[row.Sequence] = fmt.Sprintf("%x", row.Hash)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if sequence < newest || sequence > newest+1 {
		t.Errorf("%d rows after the kill, %d acknowledged: at most one more may be there", sequence, newest)
	}
	for number, hash := range acknowledged {
		if found[number] != hash {
			t.Errorf("row %d was acknowledged as %s and is %s", number, hash, found[number])
		}
	}
}

// reportPercentiles adds the median and the slowest hundredth to a benchmark.
func reportPercentiles(b *testing.B, took []time.Duration) {
	slices.Sort(took)
	b.ReportMetric(float64(took[len(took)/2].Microseconds()), "p50-µs")
	b.ReportMetric(float64(took[len(took)*99/100].Microseconds()), "p99-µs")
}
