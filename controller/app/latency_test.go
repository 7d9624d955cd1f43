package app

import (
	"context"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"go.uber.org/zap"

	"leat/controller/app/apptest"
	"leat/controller/cluster"
	"leat/controller/cluster/clustertest"
	"leat/controller/mqtt"
	"leat/controller/store"
	"leat/dosing"
	"leat/safety/ledger"
)

// BenchmarkDecideToPublish is the way of an order from the decision to the broker: through the
// ledger's writer, durable, back to the loop, and out by the sender, beside a bare write and sync
// of a row's size in the same run. Its row is a change, which costs what an intent does.
//
//	go test ./controller/app -run '^$' -bench DecideToPublish -benchtime 500x
func BenchmarkDecideToPublish(b *testing.B) {
	b.Run("sqlite", func(b *testing.B) {
		db, err := store.Open(b.TempDir())
		if err != nil {
			b.Fatal(err)
		}
		b.Cleanup(func() { _ = db.Close() })
		decideToPublish(b, db)
	})
	b.Run("servers-3", func(b *testing.B) {
		c, err := cluster.Connect(b.Context(), cluster.Options{Servers: clustertest.Start(b, 3).URLs(), Name: "bench", Replicas: 3})
		if err != nil {
			b.Fatal(err)
		}
		b.Cleanup(c.Close)
		rows, err := c.Store(b.Context(), "bench")
		if err != nil {
			b.Fatal(err)
		}
		decideToPublish(b, rows)
	})
}

func decideToPublish(b *testing.B, rows ledger.Store) {
	book, err := ledger.Open(rows)
	if err != nil {
		b.Fatal(err)
	}
	broker := apptest.NewBroker(b)
	link := mqtt.New(mqtt.Options{URL: broker.URL(), ClientID: "bench"})
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan struct{})
	go func() { _ = link.Run(ctx); close(ended) }()
	<-link.Changed()
	w := newWriter(book, func() error { return nil }, func(time.Duration) {}, zap.NewNop())
	go w.run(ctx.Done())
	s := newSender(link)
	go s.run()
	bare, err := os.Create(filepath.Join(b.TempDir(), "row"))
	if err != nil {
		b.Fatal(err)
	}
	var took, synced []time.Duration
	row := make([]byte, 300)
	for b.Loop() {
		began := time.Now()
		w.drafts <- ledger.Change{Kind: ledger.ChangeSetpoint, At: dosing.Instant{Wall: began, Up: time.Duration(len(took)) * time.Second}, Tank: "north", Quantity: dosing.QuantityPH, Value: 5.9, By: "bench", From: "page"}
		if done := <-w.results; !done.done || done.event == nil {
			b.Fatal("the row is not durable")
		}
		if !s.urge(message{topic: "leat/bench/order/acid", qos: 1, body: row[:160]}) {
			b.Fatal("no room")
		}
		for s.pending.Load() > 0 {
			time.Sleep(10 * time.Microsecond)
		}
		took = append(took, time.Since(began))
		began = time.Now()
		if _, err := bare.Write(row); err != nil {
			b.Fatal(err)
		}
		if err := bare.Sync(); err != nil {
			b.Fatal(err)
		}
		synced = append(synced, time.Since(began))
	}
	close(w.drafts)
	for range w.results {
		// nothing is left but the end
	}
	s.end(time.Second)
	stop()
	<-ended
	_ = bare.Close()
	slices.Sort(took)
	slices.Sort(synced)
	at := func(of []time.Duration, share float64) float64 {
		return of[int(share*float64(len(of)-1))].Seconds() * 1000
	}
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(at(took, 0.5), "ms-p50")
	b.ReportMetric(at(took, 0.99), "ms-p99")
	b.ReportMetric(at(synced, 0.5), "bare-ms-p50")
	b.ReportMetric(at(synced, 0.99), "bare-ms-p99")
	b.ReportMetric(at(took, 0.5)/at(synced, 0.5), "ratio-p50")
}
