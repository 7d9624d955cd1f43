//go:build unix

package app

import (
	"fmt"
	"strings"
	"syscall"
	"testing"
	"time"

	"leat/controller/app/apptest"
	"leat/safety/ledger"
)

const (
	recovery = "start: settlement made"
	midRun   = "running arrived"
)

// crashPoints are the points between a decision and its settlement at which the
// daemon is killed. What the record must then say of the dose is an outcome.
var crashPoints = []struct {
	point string
	what  string
	open  bool // an intent is left open
}{
	{"intent made", "before the intent is appended", false},
	{"intent durable", "after the append, before the order is published", true},
	{"order published", "after the order was published, before it is known to be accepted", true},
	{midRun, "in the middle of the run", true},
	{"done arrived", "after the node's report, before the dose is settled", true},
	{"settlement made", "after the dose is settled, before that is on disk", true},
	{"settlement durable", "after the settlement is on disk", false},
	// Killed with the order out, and again while the next start settles that dose.
	{recovery, "during the recovery from a crash", true},
}

// TestKilledAtEveryPointOfADoseTheRecordCoversWhatWasGiven kills the daemon ten
// times at each point (once where LEAT_REAL is not 1) and looks each time at the
// record, the node and the wait of the next start.
func TestKilledAtEveryPointOfADoseTheRecordCoversWhatWasGiven(t *testing.T) {
	if testing.Short() && !apptest.Real() { // LEAT_REAL=1 never skips
		t.Skip("minutes of real time")
	}
	t.Parallel()
	often := 1
	if apptest.Real() {
		often = 10
	}
	for _, c := range crashPoints {
		t.Run(strings.ReplaceAll(c.point, " ", "-"), func(t *testing.T) {
			t.Parallel()
			broker := apptest.NewBroker(t)
			path := apptest.Config(t, broker.URL())
			farm := apptest.NewFarm(t, apptest.Load(t, path))
			kills := often
			if c.point == recovery {
				kills = max(kills, 2)
			}
			for kill := range kills {
				point := c.point
				if point == recovery && kill%2 == 0 {
					point = "order published"
				}
				stops := len(farm.Stops())
				p := apptest.Start(t, []string{childConfig + "=" + path, childPoint + "=" + point})
				if code := p.Wait(); code != -1 {
					t.Fatalf("kill %d: the daemon was to die %s, but ended with exit code %d", kill, c.what, code)
				}
				if point == recovery {
					if orders := ordered(farm, kill+1); len(orders) > 0 {
						t.Error("an order went out before the last crash was settled")
					}
				} else {
					waited(t, farm, p, kill+1, stops)
				}
				// What runs ends by the node's own clock or for want of a lease.
				apptest.Eventually(t, "the pumps stand", func() bool { return !farm.Pumping() })
				state := apptest.Record(t, apptest.State(path))
				apptest.Covers(t, state, farm)
				if left := len(state.Open) > 0; left != c.open {
					t.Errorf("killed %s: open intents in the record: %d", c.what, len(state.Open))
				}
			}
			// The last start lives: it doses again and settles all.
			stops := len(farm.Stops())
			p := apptest.Start(t, []string{childConfig + "=" + path})
			apptest.Eventually(t, "dosing resumes after the crash", func() bool { return farm.FinishedOf(kills+1) > 0 && !farm.Pumping() })
			p.Signal(syscall.SIGTERM)
			if code := p.Wait(); code != 0 {
				t.Errorf("SIGTERM: exit code %d", code)
			}
			waited(t, farm, p, kills+1, stops)
			state := apptest.Record(t, apptest.State(path))
			apptest.Covers(t, state, farm)
			if twice := farm.Twice(); len(twice) > 0 {
				t.Errorf("ordered or begun twice: %q", twice)
			}
			var doses [ledger.OutcomeCount]uint64
			for _, counts := range state.Outcomes {
				for o, n := range counts.Doses {
					doses[o] += n
				}
			}
			t.Logf("%d kills %s: epoch %d, %d orders arrived, %d begun; settled %d confirmed, %d uncertain, %d withdrawn; %v given, %v counted",
				kills, c.what, state.LastEpoch, len(farm.Orders()), farm.Starts(), doses[ledger.OutcomeConfirmed], doses[ledger.OutcomeUncertain],
				doses[ledger.OutcomeWithdrawn], farm.Delivered(), state.Ever)
		})
	}
}

// waited checks what a start did first: it told the pumps to stop, and ordered
// nothing before one mixing time was over. Every start is an epoch.
func waited(t *testing.T, farm *apptest.Farm, p *apptest.Process, epoch, stops int) {
	t.Helper()
	apptest.Eventually(t, fmt.Sprintf("start %d tells the pumps to stop", epoch), func() bool { return len(farm.Stops()) > stops })
	if farm.Stops()[stops].Before(p.Started) {
		t.Error("the stop that was seen is older than the start")
	}
	if orders := ordered(farm, epoch); len(orders) > 0 {
		if wait := orders[0].At.Sub(p.Started); wait < apptest.Settling {
			t.Errorf("the first order came %s after the start; the wait is %s", wait.Round(time.Millisecond), apptest.Settling)
		}
	}
}

// ordered are the orders of one epoch. An order of the epoch before may arrive
// after the daemon that sent it has died.
func ordered(farm *apptest.Farm, epoch int) []apptest.Arrival {
	var of []apptest.Arrival
	for _, a := range farm.Orders() {
		if strings.HasPrefix(a.Order, fmt.Sprintf("%d-", epoch)) {
			of = append(of, a)
		}
	}
	return of
}
