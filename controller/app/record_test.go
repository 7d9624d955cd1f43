//go:build unix

package app

import (
	"net/http"
	"os/exec"
	"strings"
	"testing"
	"time"

	"leat/controller/app/apptest"
)

// A person at a shell takes the record away from a daemon that doses. Without it each
// dose would be forgotten at the next start.
func TestNothingIsDosedOnceTheStateFolderIsDeletedMovedOrOverwritten(t *testing.T) {
	if testing.Short() && !apptest.Real() { // LEAT_REAL=1 never skips
		t.Skip("minutes of real time")
	}
	t.Parallel()
	for name, shell := range map[string]string{
		"deleted":     `rm -r "$0"`,
		"moved":       `mv "$0" "$0.old"`,
		"overwritten": `cp "$0.copy"/leat.db* "$0.copy"/leat.head "$0"`,
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			broker := anyBroker(t)
			w := watchUntil(t, broker, 0, "") // a person arms it
			farm := apptest.NewFarm(t, w.file)
			apptest.Eventually(t, "it doses", func() bool { return farm.Finished() >= 1 })
			if out, err := exec.Command("sh", "-c", `cp -r "$0" "$0.copy" 2>/dev/null; test -f "$0.copy/leat.db"`, w.state).CombinedOutput(); err != nil {
				t.Fatalf("%v: %s", err, out) // the socket is not copied
			}
			// The first of two may have been in the copy; with nothing newer than the copy, nothing would be lost.
			copied := farm.Finished()
			apptest.Eventually(t, "it doses on", func() bool { return farm.Finished() >= copied+2 })
			if out, err := exec.Command("sh", "-c", shell, w.state).CombinedOutput(); err != nil {
				t.Fatalf("%s: %v: %s", shell, err, out)
			}
			ordered := len(farm.Orders())
			apptest.Eventually(t, "ready says that the record has failed", func() bool {
				code, said := w.get("/readyz")
				return code == http.StatusServiceUnavailable && strings.Contains(said, "the ledger is failed")
			})
			w.process.Await("alarm", "ledger-unavailable")
			began := time.Now()
			apptest.Eventually(t, "many decisions pass", func() bool { return time.Since(began) > 10*time.Second })
			// One intent may have been on the disk already.
			if more := len(farm.Orders()) - ordered; more > 1 {
				t.Errorf("%d more orders", more)
			}
			w.endsInTime()
		})
	}
}
