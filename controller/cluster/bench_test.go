package cluster_test

import (
	"testing"

	"leat/controller/cluster/clustertest"
	"leat/safety/ledger"
)

var body = []byte(`{"kind":"intent","run":1,"wall":"2031-03-04T19:10:00Z","up_s":600.25,"order":"1-000001","tank":"north","pump":"acid","volume_ml":12.5,"reason":"pH high","ph":6.31,"ec_ms_per_cm":1.62,"temp_c":20.4,"configuration":"c41d"}`)

func benchmarkAppend(b *testing.B, count int) {
	store, err := connect(b, clustertest.Start(b, count), count).Store(b.Context(), "row")
	if err != nil {
		b.Fatal(err)
	}
	row := ledger.Row{}
	for b.Loop() {
		row = ledger.Seal(row.Sequence+1, row.Hash, body)
		if err := store.Append(row); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkAppendOneServer(b *testing.B)    { benchmarkAppend(b, 1) }
func BenchmarkAppendThreeServers(b *testing.B) { benchmarkAppend(b, 3) }

func BenchmarkLoadThreeServers(b *testing.B) {
	store, err := connect(b, clustertest.Start(b, 3), 3).Store(b.Context(), "row")
	if err != nil {
		b.Fatal(err)
	}
	row := ledger.Row{}
	for range 1000 {
		row = ledger.Seal(row.Sequence+1, row.Hash, body)
		if err := store.Append(row); err != nil {
			b.Fatal(err)
		}
	}
	for b.Loop() {
		n := 0
		if err := store.Load(1, func(ledger.Row) error { n++; return nil }); err != nil || n != 1000 {
			b.Fatal(n, err)
		}
	}
	b.ReportMetric(float64(1000*b.N)/b.Elapsed().Seconds(), "rows/s")
}
