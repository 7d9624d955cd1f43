//go:build unix

package fleet

import (
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"leat/controller/app/apptest"
	"leat/controller/cluster"
	"leat/controller/cluster/clustertest"
	"leat/dosing"
	"leat/safety/ledger"
)

// failovers is how often the owner is lost: LEAT_FAILOVERS=100 is the soak.
func failovers(t *testing.T) int {
	text := os.Getenv("LEAT_FAILOVERS")
	if text == "" {
		return 4
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 {
		t.Fatalf("LEAT_FAILOVERS=%q: how many?", text)
	}
	return n
}

// world is two daemons, their ledger servers, a broker and a farm whose nodes know the truth.
type world struct {
	t       *testing.T
	servers *clustertest.Servers
	broker  *apptest.Broker
	farm    *apptest.Farm
	paths   []string
	daemons []*apptest.Process
	skip    []int // bytes of each log that were dealt with
}

func newWorld(t *testing.T) *world {
	t.Helper()
	w := &world{t: t, servers: clustertest.Start(t, 3), broker: apptest.NewBroker(t)}
	var servers []string
	for _, u := range w.servers.URLs() {
		servers = append(servers, strconv.Quote(u))
	}
	for _, name := range []string{"barn", "shed"} {
		w.paths = append(w.paths, apptest.Config(t, w.broker.URL(), "[broker]",
			fmt.Sprintf("[cluster]\nservers = [%s]\nname = %q\n\n[broker]", strings.Join(servers, ", "), name),
			`control_period = "1s"`, "control_period = \"1s\"\nrearm_after_restart = true"))
	}
	w.farm = apptest.NewFarm(t, apptest.Load(t, w.paths[0]))
	for i := range w.paths {
		w.daemons, w.skip = append(w.daemons, nil), append(w.skip, 0)
		w.start(i)
	}
	return w
}

func (w *world) start(i int) {
	w.daemons[i], w.skip[i] = apptest.Start(w.t, []string{childConfig + "=" + w.paths[i]}), 0
}

// owner waits until one daemon has begun its turn in a log that was not dealt with.
func (w *world) owner() int {
	w.t.Helper()
	found := -1
	apptest.Eventually(w.t, "a daemon has its turn", func() bool {
		for i, d := range w.daemons {
			if strings.Contains(d.Log()[w.skip[i]:], "this daemon's turn") {
				found = i
			}
		}
		return found >= 0
	})
	return found
}

// dosed waits until the nodes have finished a dose more.
func (w *world) dosed() {
	w.t.Helper()
	before := w.farm.Finished()
	apptest.Eventually(w.t, "a dose is given", func() bool { return w.farm.Finished() > before })
}

// ledger reads what the servers hold.
func (w *world) ledger() (state ledger.State) {
	w.t.Helper()
	c, err := cluster.Connect(w.t.Context(), cluster.Options{Servers: w.servers.URLs(), Name: "witness", Replicas: 3})
	if err != nil {
		w.t.Fatal(err)
	}
	defer c.Close()
	// Servers that have just come back elect first.
	apptest.Eventually(w.t, "the servers show the ledger", func() bool {
		store, err := c.Store(w.t.Context(), "bench")
		if err == nil {
			state, err = ledger.Replay(store, dosing.Instant{Wall: time.Now()}, false)
		}
		return err == nil
	})
	return state
}

// judge checks at the nodes that nothing was given twice, and nothing of an epoch after a later
// one began; and in the ledger that it covers what was given.
func (w *world) judge() {
	w.t.Helper()
	if twice := w.farm.Twice(); len(twice) > 0 {
		w.t.Errorf("ordered or begun twice: %q", twice)
	}
	newest := 0
	for _, order := range w.farm.Begun() {
		epoch, _, _ := strings.Cut(order, "-")
		n, err := strconv.Atoi(epoch)
		if err != nil {
			w.t.Fatal(err)
		}
		if n < newest {
			w.t.Errorf("order %s was begun after one of epoch %d", order, newest)
		}
		newest = max(newest, n)
	}
	apptest.Eventually(w.t, "the pumps stand", func() bool { return !w.farm.Pumping() })
	apptest.Covers(w.t, w.ledger(), w.farm)
}

// TestWhoeverIsLostTheOtherDosesOnAndNothingTwice kills the owner, or stops it as a machine
// that hangs is stopped and lets it go on when the other has taken over, at drawn moments.
func TestWhoeverIsLostTheOtherDosesOnAndNothingTwice(t *testing.T) {
	if testing.Short() && !apptest.Real() {
		t.Skip("a minute of real time")
	}
	left := failovers(t)
	for i := 0; left > 0; i++ {
		n := min(left, failoversOfAWorld)
		left -= n
		t.Run(fmt.Sprintf("world %d", i+1), func(t *testing.T) {
			t.Parallel()
			loseOwners(t, n)
		})
	}
}

// failoversOfAWorld is after how many failovers a world is left for a fresh one: what was given
// and not seen by the probe between two of them adds up, and its account then rightly holds all
// doses.
const failoversOfAWorld = 25

func loseOwners(t *testing.T, n int) {
	w := newWorld(t)
	seed := uint64(time.Now().UnixNano())
	draw := rand.New(rand.NewPCG(seed, 0))
	var took []time.Duration
	for i := range n {
		owner := w.owner()
		w.dosed()
		time.Sleep(time.Duration(draw.IntN(2500)) * time.Millisecond) // between two doses or in one
		heir := 1 - owner
		w.skip[heir] = len(w.daemons[heir].Log())
		stops, paused := len(w.farm.Stops()), i%2 == 1
		lost := time.Now()
		if paused {
			w.daemons[owner].Signal(syscall.SIGSTOP)
		} else {
			w.daemons[owner].Kill()
		}
		// The first thing that an heir does is to stop the pumps.
		apptest.Eventually(t, "the heir tells the pumps to stop", func() bool { return len(w.farm.Stops()) > stops })
		took = append(took, w.farm.Stops()[stops].Sub(lost))
		w.skip[owner] = len(w.daemons[owner].Log())
		if paused {
			w.daemons[owner].Signal(syscall.SIGCONT)
			w.daemons[owner].AwaitAfter(w.skip[owner], "waiting for the next turn")
		} else {
			w.start(owner)
		}
		w.daemons[owner].AwaitAfter(w.skip[owner], "standing by")
		w.skip[owner] = len(w.daemons[owner].Log())
	}
	w.owner()
	w.dosed()
	w.judge()
	state := w.ledger()
	if int(state.LastEpoch) != n+1 {
		t.Errorf("%d takeovers ended in epoch %d", n, state.LastEpoch)
	}
	slices.Sort(took)
	t.Logf("seed %d: %d failovers, epoch %d, %d orders arrived, %d begun, 0 twice; taken over in %s at the median, %s at most", seed, n, state.LastEpoch,
		len(w.farm.Orders()), w.farm.Starts(), took[len(took)/2].Round(time.Millisecond), took[len(took)-1].Round(time.Millisecond))
}

// TestWithoutAMajorityOfTheServersNothingIsDosedAndTheAlarmSaysSo takes two of three servers
// away and gives them back.
func TestWithoutAMajorityOfTheServersNothingIsDosedAndTheAlarmSaysSo(t *testing.T) {
	if testing.Short() && !apptest.Real() {
		t.Skip("half a minute of real time")
	}
	w := newWorld(t)
	owner := w.daemons[w.owner()]
	w.dosed()
	w.servers.Down(1)
	w.servers.Down(2)
	owner.Await(`"ledger"`, "unreachable", "no majority of the ledger servers answers")
	apptest.Eventually(t, "the pumps stand", func() bool { return !w.farm.Pumping() })
	owner.Await(`"alarm"`, "ledger-unavailable")
	before := len(w.farm.Orders())
	for range 50 {
		time.Sleep(100 * time.Millisecond)
		if now := len(w.farm.Orders()); now > before {
			t.Fatalf("%d orders went out without a majority of the ledger servers", now-before)
		}
	}
	w.servers.Up(1)
	w.servers.Up(2)
	w.dosed()
	w.judge()
}
