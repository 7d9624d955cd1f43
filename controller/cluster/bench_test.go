package cluster_test

import (
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"leat/controller/cluster"
	"leat/controller/cluster/clustertest"
	"leat/safety/ledger"
)

// The unit costs of deploy/SCALE.md: go test ./controller/cluster -run '^$' -bench . -benchtime 3s

var body = []byte(`{"kind":"intent","run":1,"wall":"2031-03-04T19:10:00Z","up_s":600.25,"order":"1-000001","tank":"north","pump":"acid","volume_ml":12.5,"reason":"pH high","ph":6.31,"ec_ms_per_cm":1.62,"temp_c":20.4,"configuration":"c41d"}`)

// BenchmarkBareSync is what any durable row costs on this disk: the measure of the others.
func BenchmarkBareSync(b *testing.B) {
	file, err := os.Create(filepath.Join(b.TempDir(), "row"))
	if err != nil {
		b.Fatal(err)
	}
	defer file.Close()
	for b.Loop() {
		if _, err := file.Write(body); err != nil {
			b.Fatal(err)
		}
		if err := file.Sync(); err != nil {
			b.Fatal(err)
		}
	}
}

// appends appends rows to a station until the benchmark ends.
func appends(b *testing.B, store *cluster.Store, next func() bool) {
	row := ledger.Row{}
	for next() {
		row = ledger.Seal(row.Sequence+1, row.Hash, body)
		if err := store.Append(row); err != nil {
			b.Error(err)
			return
		}
	}
}

func BenchmarkAppend(b *testing.B) {
	for _, count := range []int{1, 3} {
		b.Run(fmt.Sprintf("servers-%d", count), func(b *testing.B) {
			store, err := connect(b, clustertest.Start(b, count), count).Store(b.Context(), "row")
			if err != nil {
				b.Fatal(err)
			}
			appends(b, store, b.Loop)
		})
	}
}

// BenchmarkAppendOfManyStations lets stations append at once, as those of a large farm do.
func BenchmarkAppendOfManyStations(b *testing.B) {
	for _, stations := range []int{8, 64, 512} {
		b.Run(fmt.Sprintf("stations-%d", stations), func(b *testing.B) {
			c := connect(b, clustertest.Start(b, 3), 3)
			turns := make(chan struct{})
			var group sync.WaitGroup
			for i := range stations {
				store, err := c.Store(b.Context(), fmt.Sprintf("row-%d", i))
				if err != nil {
					b.Fatal(err)
				}
				group.Go(func() { appends(b, store, func() bool { _, more := <-turns; return more }) })
			}
			for b.Loop() {
				turns <- struct{}{}
			}
			close(turns)
			group.Wait()
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "rows/s")
		})
	}
}

func BenchmarkLoadFromThreeServers(b *testing.B) {
	store, err := connect(b, clustertest.Start(b, 3), 3).Store(b.Context(), "row")
	if err != nil {
		b.Fatal(err)
	}
	n := 0
	appends(b, store, func() bool { n++; return n <= 1000 })
	for b.Loop() {
		rows := 0
		if err := store.Load(1, func(ledger.Row) error { rows++; return nil }); err != nil || rows != 1000 {
			b.Fatal(rows, err)
		}
	}
	b.ReportMetric(float64(1000*b.N)/b.Elapsed().Seconds(), "rows/s")
}

// BenchmarkRenew is how many stations one daemon can keep: each renews twice a second.
func BenchmarkRenew(b *testing.B) {
	const stations = 200
	servers := clustertest.Start(b, 3)
	c := daemon(b, "barn", 0, 3, servers.URLs()...)
	var leases []*cluster.Lease
	for i := range stations {
		l, err := c.Acquire(b.Context(), fmt.Sprintf("row-%d", i), nil)
		if err != nil {
			b.Fatal(err)
		}
		leases = append(leases, l)
	}
	held, asked := 0, 0
	for b.Loop() {
		time.Sleep(10 * time.Millisecond)
		for _, l := range leases {
			if asked++; l.Held() {
				held++
			}
		}
	}
	b.ReportMetric(100*float64(held)/float64(asked), "%held")
	b.ReportMetric(0, "ns/op")
}
