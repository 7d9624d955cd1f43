package demo

import (
	"context"
	"io"
	"testing"
	"time"

	"go.uber.org/zap"
)

// BenchmarkDecisionToOrder plays the first hour of a night over real MQTT with the
// ledger on disk and reports how long orders take from the tick on which they are
// decided, over the durable append and the second judgement, to the broker.
func BenchmarkDecisionToOrder(b *testing.B) {
	var p50, p99 time.Duration
	orders := 0
	for b.Loop() {
		report, err := Run(context.Background(), Options{Speed: 1e6, Simulated: time.Hour, Listen: "127.0.0.1:0", MQTT: "127.0.0.1:0",
			State: b.TempDir(), Seed: 1, Out: io.Discard, Log: zap.NewNop()})
		if err != nil {
			b.Fatal(err)
		}
		n := len(report.OrderWaits)
		if n == 0 {
			b.Fatal("nothing was ordered")
		}
		orders += n
		p50 += report.OrderWaits[n/2]
		p99 += report.OrderWaits[n*99/100]
	}
	b.ReportMetric(float64(p50.Microseconds())/float64(b.N), "p50-µs/order")
	b.ReportMetric(float64(p99.Microseconds())/float64(b.N), "p99-µs/order")
	b.ReportMetric(float64(orders)/float64(b.N), "orders/op")
}
