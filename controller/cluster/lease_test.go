package cluster_test

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"leat/controller/cluster"
	"leat/controller/cluster/clustertest"
	"leat/safety/ledger"
)

// daemon is a connection of its own, with a drawn way to the servers.
func daemon(t testing.TB, name string, each time.Duration, replicas int, urls ...string) *cluster.Cluster {
	t.Helper()
	c, err := cluster.Connect(t.Context(), cluster.Options{Servers: urls, Name: name, Replicas: replicas, LeaseEach: each, Patience: 300 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(c.Close)
	return c
}

func acquire(t testing.TB, c *cluster.Cluster) *cluster.Lease {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	l, err := c.Acquire(ctx, "row", nil)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func epochOf(t testing.TB, l *cluster.Lease, last uint32) uint32 {
	t.Helper()
	epoch, err := l.Begin(t.Context(), last)
	if err != nil {
		t.Fatal(err)
	}
	return epoch
}

func TestAnHeirTakesOverWithinFiveSecondsOfTheOwnersDeath(t *testing.T) {
	servers := clustertest.Start(t, 3)
	owner, heir := daemon(t, "barn", 0, 3, servers.URLs()...), daemon(t, "shed", 0, 3, servers.URLs()...)
	first := acquire(t, owner)
	if epoch := epochOf(t, first, 0); epoch != 1 || !first.Held() {
		t.Fatalf("the first owner has epoch %d, held %v", epoch, first.Held())
	}
	var waited atomic.Value
	taken := make(chan *cluster.Lease)
	go func() {
		l, err := heir.Acquire(t.Context(), "row", func(owner string) { waited.Store(owner) })
		if err != nil {
			t.Error(err)
		}
		taken <- l
	}()
	select {
	case <-taken:
		t.Fatal("taken from an owner that renews")
	case <-time.After(4 * time.Second):
	}
	if waited.Load() != "barn" {
		t.Errorf("the heir waits for %v", waited.Load())
	}
	owner.Close() // nothing is given back
	died := time.Now()
	second := <-taken
	if took := time.Since(died); took > 5*time.Second {
		t.Errorf("the heir took over after %s", took.Round(time.Millisecond))
	} else {
		t.Logf("taken over after %s", took.Round(time.Millisecond))
	}
	if first.Held() {
		t.Error("the dead owner still believes in its lease")
	}
	if epoch := epochOf(t, second, 1); epoch != 2 {
		t.Errorf("the heir's epoch is %d", epoch)
	}
	if first.Instance() != second.Instance() || first.Instance() == "" {
		t.Errorf("one ledger has two names: %q and %q", first.Instance(), second.Instance())
	}
}

func TestAnOwnerThatIsCutOffStopsBelievingBeforeTheHeirBegins(t *testing.T) {
	servers := clustertest.Start(t, 1)
	proxy := clustertest.NewProxy(t, servers.URLs()[0])
	owner, heir := daemon(t, "barn", 0, 1, proxy.URL()), daemon(t, "shed", 0, 1, servers.URLs()...)
	first := acquire(t, owner)
	book, rows := storeOf(t, owner), sealed(2)
	insist(t, book, rows[0])
	proxy.Deafen(true)
	cut := time.Now()
	var over atomic.Int64
	go func() {
		for first.Held() {
			time.Sleep(time.Millisecond)
		}
		over.Store(int64(time.Since(cut)))
	}()
	second := acquire(t, heir)
	began := time.Since(cut)
	if over.Load() == 0 {
		t.Fatal("owner and heir both hold the station")
	}
	t.Logf("the owner stopped believing after %s, the heir began after %s", time.Duration(over.Load()).Round(time.Millisecond), began.Round(time.Millisecond))
	insist(t, storeOf(t, heir), ledger.Seal(2, rows[0].Hash, []byte("{}")))
	proxy.Deafen(false)
	proxy.Cut(true)
	proxy.Cut(false)
	select {
	case <-first.Lost():
	case <-time.After(time.Minute):
		t.Fatal("the former owner never learns that it lost the station")
	}
	if first.Held() || !second.Held() {
		t.Errorf("held: former %v, heir %v", first.Held(), second.Held())
	}
	for end := time.Now().Add(time.Minute); ; {
		err := book.Append(rows[1])
		if errors.Is(err, ledger.ErrFailed) {
			break
		}
		if err == nil || time.Now().After(end) {
			t.Fatalf("the former owner's append: %v", err)
		}
	}
}

func TestAStationThatIsGivenBackIsTakenAtOnce(t *testing.T) {
	servers := clustertest.Start(t, 1)
	owner, heir := daemon(t, "barn", 0, 1, servers.URLs()...), daemon(t, "shed", 0, 1, servers.URLs()...)
	first := acquire(t, owner)
	first.Release()
	if first.Held() {
		t.Error("given back and still held")
	}
	began := time.Now()
	second := acquire(t, heir)
	if took := time.Since(began); took > 2*time.Second {
		t.Errorf("taken after %s", took)
	}
	if epoch := epochOf(t, second, 0); epoch != 2 {
		t.Errorf("epoch %d", epoch)
	}
	if epoch := epochOf(t, second, 70); epoch != 71 {
		t.Errorf("above what a person raised in the ledger comes epoch %d", epoch)
	}
	time.Sleep(3 * time.Second / 2) // renewals keep it
	second.Release()
	if epoch := epochOf(t, acquire(t, owner), 0); epoch != 72 {
		t.Errorf("the next owner has epoch %d", epoch)
	}
}

func TestWithoutAMajorityNobodyHoldsTheStation(t *testing.T) {
	servers := clustertest.Start(t, 3)
	owner, heir := daemon(t, "barn", 0, 3, servers.URLs()...), daemon(t, "shed", 0, 3, servers.URLs()...)
	first := acquire(t, owner)
	epochOf(t, first, 0)
	heirs := make(chan *cluster.Lease, 1)
	ctx, cancel := context.WithCancel(t.Context())
	go func() {
		l, _ := heir.Acquire(ctx, "row", nil)
		heirs <- l
	}()
	servers.Down(0)
	servers.Down(1)
	for end := time.Now().Add(20 * time.Second); first.Held(); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatal("the owner believes in its lease without a majority of the servers")
		}
	}
	select {
	case <-heirs:
		t.Fatal("a station was taken without a majority of the servers")
	case <-time.After(5 * time.Second):
	}
	servers.Up(0)
	servers.Up(1)
	// Whoever writes first has it, and one of the two does.
	for end := time.Now().Add(time.Minute); ; time.Sleep(10 * time.Millisecond) {
		if first.Held() {
			t.Log("the owner goes on in its epoch")
			break
		}
		if time.Now().After(end) {
			t.Fatal("nobody holds the station after the servers came back")
		}
		select {
		case l := <-heirs:
			heirs <- l
			if epoch := epochOf(t, l, 0); epoch != 2 || first.Held() {
				t.Errorf("the heir's epoch is %d, the former owner holds the station: %v", epoch, first.Held())
			}
			t.Log("the heir took over")
		default:
			continue
		}
		break
	}
	cancel()
	<-heirs
}

func TestADeletedEntryGivesNoEpochAgain(t *testing.T) {
	servers := clustertest.Start(t, 1)
	js, _ := admin(t, servers)
	c := daemon(t, "barn", 50*time.Millisecond, 1, servers.URLs()...)
	first := acquire(t, c)
	epochOf(t, first, 6)
	kv, err := js.KeyValue(t.Context(), "LEAT_OWNERS")
	if err != nil {
		t.Fatal(err)
	}
	if err := kv.Delete(t.Context(), "row"); err != nil {
		t.Fatal(err)
	}
	select {
	case <-first.Lost():
	case <-time.After(time.Minute):
		t.Fatal("the owner does not notice")
	}
	// The ledger knows the last epoch as well.
	if epoch := epochOf(t, acquire(t, c), 7); epoch != 8 {
		t.Errorf("epoch %d", epoch)
	}
}

// TestNeverTwoOwnersAndNeverOneEpochTwice lets three daemons contend for a station whose
// owner dies, is cut off or gives it back, a hundred times.
func TestNeverTwoOwnersAndNeverOneEpochTwice(t *testing.T) {
	servers := clustertest.Start(t, 1)
	const each, takeovers = 40 * time.Millisecond, 100
	var mu sync.Mutex
	epochs := map[uint32]string{}
	var holders []*cluster.Lease
	held := func() (n int) {
		mu.Lock()
		defer mu.Unlock()
		for _, l := range holders {
			if l.Held() {
				n++
			}
		}
		return n
	}
	var count atomic.Int64
	var group sync.WaitGroup
	for i := range 3 {
		name := fmt.Sprintf("daemon-%d", i)
		group.Go(func() {
			for round := 0; count.Load() < takeovers; round++ {
				proxy := clustertest.NewProxy(t, servers.URLs()[0])
				c, err := cluster.Connect(t.Context(), cluster.Options{Servers: []string{proxy.URL()}, Name: name, Replicas: 1, LeaseEach: each})
				if err != nil {
					t.Error(err)
					return
				}
				l, err := c.Acquire(t.Context(), "row", nil)
				if err != nil {
					t.Error(err)
					return
				}
				epoch, err := l.Begin(t.Context(), 0)
				if err != nil {
					c.Close()
					continue
				}
				count.Add(1)
				mu.Lock()
				if by, twice := epochs[epoch]; twice {
					t.Errorf("epoch %d was given to %s and %s", epoch, by, name)
				}
				epochs[epoch] = name
				holders = append(holders, l)
				mu.Unlock()
				if n := held(); n > 1 {
					t.Errorf("%d daemons hold the station", n)
				}
				switch (round + i) % 3 {
				case 0:
					l.Release()
				case 1:
					proxy.Deafen(true)
					for l.Held() {
						time.Sleep(time.Millisecond)
					}
				}
				c.Close()
			}
		})
	}
	group.Wait()
	t.Logf("%d takeovers, %d epochs", count.Load(), len(epochs))
}
