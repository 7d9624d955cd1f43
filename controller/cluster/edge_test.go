package cluster_test

import (
	"errors"
	"math/rand/v2"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"leat/controller/cluster"
	"leat/controller/cluster/clustertest"
	"leat/safety/ledger"
)

// sealed are so many rows of a chain.
func sealed(n int) []ledger.Row {
	rows := make([]ledger.Row, n)
	var hash [32]byte
	for i := range rows {
		rows[i] = ledger.Seal(uint64(i)+1, hash, []byte(`{"kind":"change","change":"serviced","run":1,"wall":"2031-03-04T19:00:00Z","up_s":`+strings.Repeat("1", 1+i%9)+`,"tank":"north"}`))
		hash = rows[i].Hash
	}
	return rows
}

func storeOf(t testing.TB, c *cluster.Cluster) *cluster.Store {
	t.Helper()
	s, err := c.Store(t.Context(), "row")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// holds checks that the servers hold exactly the first n rows.
func holds(t testing.TB, c *cluster.Cluster, rows []ledger.Row) {
	t.Helper()
	var found []ledger.Row
	if err := storeOf(t, c).Load(1, func(r ledger.Row) error { found = append(found, r); return nil }); err != nil {
		t.Fatal(err)
	}
	if len(found) != len(rows) {
		t.Fatalf("the servers hold %d rows, want %d", len(found), len(rows))
	}
	for i := range rows {
		if found[i].Hash != rows[i].Hash {
			t.Fatalf("row %d is another one", i+1)
		}
	}
}

func TestOfTwoDaemonsOneAppendsAndTheOtherIsShutOut(t *testing.T) {
	servers := clustertest.Start(t, 3)
	first, second := connect(t, servers, 3), connect(t, servers, 3)
	rows := sealed(30)
	paused := storeOf(t, first)
	if err := paused.Append(rows[0]); err != nil {
		t.Fatal(err)
	}
	heir := storeOf(t, second)
	other := ledger.Seal(2, rows[0].Hash, []byte(`{"kind":"change","change":"serviced","run":2,"wall":"2031-03-04T19:00:00Z","up_s":1,"tank":"south"}`))
	if err := heir.Append(other); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		if err := paused.Append(rows[1]); !errors.Is(err, cluster.ErrTaken) || !errors.Is(err, ledger.ErrFailed) {
			t.Fatalf("who lost the station appended: %v", err)
		}
	}
	holds(t, second, []ledger.Row{rows[0], other})
}

func TestWhoeverRacesForARowOneOfThemGetsIt(t *testing.T) {
	servers := clustertest.Start(t, 3)
	clusters := []*cluster.Cluster{connect(t, servers, 3), connect(t, servers, 3), connect(t, servers, 3)}
	var chain []ledger.Row
	var hash [32]byte
	for round := range 40 {
		rows := make([]ledger.Row, len(clusters))
		errs := make([]error, len(clusters))
		var group sync.WaitGroup
		for i, c := range clusters {
			store := storeOf(t, c)
			rows[i] = ledger.Seal(uint64(round)+1, hash, []byte(`{"kind":"change","change":"serviced","run":1,"wall":"2031-03-04T19:00:00Z","up_s":1,"tank":"`+string(rune('a'+i))+`"}`))
			group.Go(func() { errs[i] = store.Append(rows[i]) })
		}
		group.Wait()
		won := -1
		for i, err := range errs {
			switch {
			case err == nil && won >= 0:
				t.Fatalf("round %d: two daemons appended row %d", round, round+1)
			case err == nil:
				won = i
			case !errors.Is(err, ledger.ErrFailed):
				t.Fatalf("round %d: %v", round, err)
			}
		}
		if won < 0 {
			t.Fatalf("round %d: nobody appended: %v", round, errs)
		}
		chain, hash = append(chain, rows[won]), rows[won].Hash
	}
	holds(t, clusters[0], chain)
}

func TestALostAcknowledgementNeitherLosesNorDoublesARow(t *testing.T) {
	servers := clustertest.Start(t, 1)
	proxy := clustertest.NewProxy(t, servers.URLs()[0])
	behind, err := cluster.Connect(t.Context(), cluster.Options{Servers: []string{proxy.URL()}, Replicas: 1, Patience: 300 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(behind.Close)
	store, rows := storeOf(t, behind), sealed(3)
	if err := store.Append(rows[0]); err != nil {
		t.Fatal(err)
	}
	proxy.Mute(true)
	if err := store.Append(rows[1]); !errors.Is(err, ledger.ErrFull) {
		t.Fatalf("without an acknowledgement the append says %v", err)
	}
	// Stored it is: nobody may put another in its place, and it counts when it is asked again.
	holds(t, connect(t, servers, 1), rows[:2])
	proxy.Mute(false)
	for end := time.Now().Add(time.Minute); ; {
		if err = store.Append(rows[1]); err == nil {
			break
		}
		if !errors.Is(err, ledger.ErrFull) || time.Now().After(end) {
			t.Fatal(err)
		}
	}
	if err := store.Append(rows[2]); err != nil {
		t.Fatal(err)
	}
	holds(t, behind, rows)
}

func TestARowInDoubtBarsEveryOtherAtItsPlace(t *testing.T) {
	servers := clustertest.Start(t, 1)
	c := connect(t, servers, 1)
	store, rows := storeOf(t, c), sealed(2)
	servers.Down(0)
	if err := store.Append(rows[0]); !errors.Is(err, ledger.ErrFull) || errors.Is(err, ledger.ErrFailed) {
		t.Fatalf("without a server the append says %v", err)
	}
	other := ledger.Seal(1, [32]byte{}, []byte("{}"))
	if err := store.Append(other); !errors.Is(err, ledger.ErrFailed) {
		t.Fatalf("another row took the place of one in doubt: %v", err)
	}
	if err := store.Append(rows[0]); !errors.Is(err, ledger.ErrFailed) {
		t.Fatalf("after that the store goes on: %v", err)
	}
}

func TestAppendsResumeWhenTheServerIsBack(t *testing.T) {
	servers := clustertest.Start(t, 1)
	c := connect(t, servers, 1)
	store, rows := storeOf(t, c), sealed(3)
	if err := store.Append(rows[0]); err != nil {
		t.Fatal(err)
	}
	servers.Down(0)
	if err := store.Append(rows[1]); !errors.Is(err, ledger.ErrFull) {
		t.Fatal(err)
	}
	servers.Up(0)
	insist(t, store, rows[1])
	insist(t, store, rows[2])
	holds(t, c, rows)
}

// insist appends as the daemon's writer does: again while there is no access.
func insist(t testing.TB, store ledger.Store, row ledger.Row) {
	t.Helper()
	for end := time.Now().Add(time.Minute); ; {
		err := store.Append(row)
		if err == nil {
			return
		}
		if !errors.Is(err, ledger.ErrFull) || errors.Is(err, ledger.ErrFailed) || time.Now().After(end) {
			t.Fatalf("row %d: %v", row.Sequence, err)
		}
	}
}

func TestOneOfThreeServersMayBeLostAndTwoMayNot(t *testing.T) {
	servers := clustertest.Start(t, 3)
	c := connect(t, servers, 3)
	store, rows := storeOf(t, c), sealed(5)
	insist(t, store, rows[0])
	lost := servers.Leader(stream)
	servers.Down(lost)
	insist(t, store, rows[1])
	second := (lost + 1) % 3
	servers.Down(second)
	if err := store.Append(rows[2]); !errors.Is(err, ledger.ErrFull) {
		t.Fatalf("one server of three acknowledged a row: %v", err)
	}
	servers.Up(lost)
	insist(t, store, rows[2])
	insist(t, store, rows[3])
	servers.Up(second)
	insist(t, store, rows[4])
	holds(t, c, rows)
}

func TestARowThatTheServersDoNotTakeFailsAtOnce(t *testing.T) {
	servers := clustertest.Start(t, 1)
	c := connect(t, servers, 1)
	store := storeOf(t, c)
	began := time.Now()
	err := store.Append(ledger.Seal(1, [32]byte{}, []byte(strings.Repeat("x", 2<<20))))
	if !errors.Is(err, ledger.ErrFailed) || errors.Is(err, ledger.ErrFull) {
		t.Fatalf("two megabytes: %v", err)
	}
	if time.Since(began) > 10*time.Second {
		t.Error("it went on asking")
	}
	holds(t, c, nil)
}

func TestAForeignMessageStopsAppendsAndIsNamed(t *testing.T) {
	servers := clustertest.Start(t, 1)
	c := connect(t, servers, 1)
	js, _ := admin(t, servers)
	store, rows := storeOf(t, c), sealed(3)
	insist(t, store, rows[0])
	if _, err := js.Publish(t.Context(), "leat.ledger.row", []byte("hello")); err != nil {
		t.Fatal(err)
	}
	if err := store.Append(rows[1]); !errors.Is(err, ledger.ErrFailed) {
		t.Fatalf("behind a foreign message: %v", err)
	}
	again := storeOf(t, c)
	if err := again.Append(rows[1]); !errors.Is(err, ledger.ErrFailed) {
		t.Fatalf("opened anew behind a foreign message: %v", err)
	}
	if _, err := ledger.Open(again); !errors.Is(err, ledger.ErrBroken) || !strings.Contains(err.Error(), "message 2 of leat.ledger.row") {
		t.Fatalf("opening says %v", err)
	}
	// A neighbour's subject is no concern of ours.
	neighbour, err := c.Store(t.Context(), "other")
	if err != nil {
		t.Fatal(err)
	}
	insist(t, neighbour, rows[0])
}

func TestAStreamThatForgetsIsRefused(t *testing.T) {
	for what, change := range map[string]func(*jetstream.StreamConfig){
		"memory":              func(c *jetstream.StreamConfig) { c.Storage = jetstream.MemoryStorage },
		"old":                 func(c *jetstream.StreamConfig) { c.MaxAge = time.Hour },
		"drops the oldest":    func(c *jetstream.StreamConfig) { c.Discard, c.MaxBytes = jetstream.DiscardOld, 1<<20 },
		"bounds the messages": func(c *jetstream.StreamConfig) { c.MaxMsgsPerSubject = 10 },
		"what was read":       func(c *jetstream.StreamConfig) { c.Retention = jetstream.InterestPolicy },
	} {
		t.Run(what, func(t *testing.T) {
			servers := clustertest.Start(t, 1)
			js, _ := admin(t, servers)
			config := jetstream.StreamConfig{Name: stream, Subjects: []string{"leat.ledger.*"}, Storage: jetstream.FileStorage, Discard: jetstream.DiscardNew}
			change(&config)
			if _, err := js.CreateStream(t.Context(), config); err != nil {
				t.Fatal(err)
			}
			_, err := cluster.Connect(t.Context(), cluster.Options{Servers: servers.URLs(), Replicas: 1})
			if err == nil || !strings.Contains(err.Error(), what) {
				t.Fatalf("want a refusal that says %q, got %v", what, err)
			}
		})
	}
}

// TestUnderDrawnFaultsOfTheNetworkNoRowIsLostOrDoubled cuts, mutes and deafens the way to the
// servers at drawn moments: in the end they hold exactly the rows that were acknowledged.
func TestUnderDrawnFaultsOfTheNetworkNoRowIsLostOrDoubled(t *testing.T) {
	servers := clustertest.Start(t, 1)
	proxy := clustertest.NewProxy(t, servers.URLs()[0])
	c, err := cluster.Connect(t.Context(), cluster.Options{Servers: []string{proxy.URL()}, Replicas: 1, Patience: 50 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(c.Close)
	through := storeOf(t, c)
	const seed = 16
	draw := rand.New(rand.NewPCG(seed, 0))
	stop, ended := make(chan struct{}), make(chan struct{})
	var faults atomic.Int64
	go func() {
		defer close(ended)
		for {
			fault := []func(bool){proxy.Cut, proxy.Mute, proxy.Deafen}[draw.IntN(3)]
			for _, on := range []bool{true, false} {
				fault(on)
				lasts := 5 + draw.IntN(60)
				if !on {
					faults.Add(1)
					lasts = 100 + draw.IntN(200)
				}
				select {
				case <-stop:
					fault(false)
					return
				case <-time.After(time.Duration(lasts) * time.Millisecond):
				}
			}
		}
	}()
	rows := sealed(20_000)
	appended := 0
	for faults.Load() < 20 || appended < 100 {
		insist(t, through, rows[appended])
		appended++
	}
	close(stop)
	<-ended
	holds(t, connect(t, servers, 1), rows[:appended])
	t.Logf("%d rows under %d faults, seed %d", appended, faults.Load(), seed)
}
