package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"leat/controller/app/apptest"
)

// On a real broker: a forged report, a ledger that is lost, and a copy that is put back.
func TestForgedReportLostLedgerAndRestoredCopyOnARealBroker(t *testing.T) {
	t.Parallel()
	broker := apptest.NewBroker(t)
	path := apptest.Config(t, broker.URL())
	small := apptest.Load(t, path)
	farm := apptest.NewFarm(t, small)
	state := apptest.State(path)

	daemon := running(t, path)
	arm(t, path)
	apptest.Eventually(t, "doses are given", func() bool { return farm.Finished() > 1 })
	file := filepath.Join(t.TempDir(), "copy.db")
	ended(t, 0, "ledger", "-state", state, "backup", file) // beside the running daemon
	refused := ended(t, 1, "ledger", "-state", state, "-yes", "restore", file)
	if !strings.Contains(refused, "another leat runs") {
		t.Errorf("restore under a running daemon: %s", refused)
	}

	// Somebody takes back what the node said of the last order.
	dose := daemon.Await(`"dose"`, `"outcome":"confirmed"`)
	order := apptest.Field(t, dose, "order")
	for i := range small.Settings.Safety.Pumps {
		broker.PubBody(small.Topics.Report(small.Settings.Safety.Pumps[i].Name), fmt.Appendf(nil, `{"order":%q,"phase":"stopped","run_ms":0,"volume_ml":0,"cause":"stop order"}`, order))
	}
	daemon.Await("report-contradicts", order)
	stopsCleanly(t, daemon)
	apptest.Covers(t, apptest.Record(t, state), farm)

	if err := os.RemoveAll(state); err != nil {
		t.Fatal(err)
	}
	daemon = running(t, path)
	daemon.Await("ledger-behind-node", `node \"pumps\" took order 1-`)
	given := farm.Starts()
	if said := ended(t, 1, "mode", "-config", path, "-tank", "tub", "raise-epoch"); !strings.Contains(said, "note") {
		t.Errorf("without a note: %s", said)
	}
	said := ended(t, 0, "mode", "-config", path, "-tank", "tub", "-note", "disk lost, doses read from the log", "raise-epoch")
	if !strings.Contains(said, "epoch 2") {
		t.Errorf("raised to %s", said)
	}
	apptest.Eventually(t, "the ledger holds who raised the epoch and why", func() bool {
		printed := ended(t, 0, "ledger", "-state", state, "print")
		return strings.Contains(printed, "epoch raised from 1 to 2") && strings.Contains(printed, "disk lost") && strings.Contains(printed, "counted as spent")
	})
	stopsCleanly(t, daemon)
	if farm.Starts() != given {
		t.Error("dosed on a lost ledger")
	}

	ended(t, 0, "ledger", "-state", state, "-yes", "-note", "the disk of this morning", "restore", file)
	_, head, _ := strings.Cut(ended(t, 0, "ledger", "-state", state, "verify"), "head   ")
	head, _, _ = strings.Cut(head, "\n")
	daemon = running(t, path)
	daemon.Await(`"ledger"`, head) // a log kept elsewhere shows a tail that was written anew
	apptest.Eventually(t, "what the copy lacks counts as spent", func() bool {
		_, since, _ := strings.Cut(ended(t, 0, "ledger", "-state", state, "print"), "was put back")
		return strings.Count(since, "counted as spent") == len(small.Settings.Safety.Pumps)
	})
	if farm.Starts() != given {
		t.Error("dosed after a restore, before a person armed")
	}
	if printed := ended(t, 0, "ledger", "-state", state, "print"); !strings.Contains(printed, "was put back") {
		t.Errorf("the ledger does not tell of the copy:\n%s", printed)
	}
	if strings.Contains(daemon.Log(), "ledger-behind-node") {
		t.Error("locked out after a restore that began a new epoch")
	}
	stopsCleanly(t, daemon)
	if epoch := apptest.Record(t, state).LastEpoch; epoch < 42 {
		t.Errorf("epoch %d", epoch)
	}
}

// ended runs leat to its end and returns all that it said.
func ended(t *testing.T, code int, args ...string) string {
	t.Helper()
	p := leat(t, args...)
	if got := p.Wait(); got != code {
		t.Errorf("leat %s: exit code %d, want %d: %s", strings.Join(args, " "), got, code, p.Log())
	}
	return p.Stdout() + p.Log()
}
