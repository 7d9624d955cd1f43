package mqtt_test

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"sync/atomic"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"

	"leat/controller/mqtt"
	"leat/controller/payload"
	"leat/dosing"
)

const (
	benchTopics = 256
	// benchWindow messages at most are on their way: fewer than topics, so that
	// every value is decoded and none replaced.
	benchWindow = 128
)

// benchBroker is an embedded broker on a loopback port.
func benchBroker(b *testing.B) (*mochi.Server, string) {
	b.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	server := mochi.New(&mochi.Options{InlineClient: true, Logger: slog.New(slog.NewTextHandler(io.Discard, nil))})
	for _, err := range []error{server.AddHook(&doorman{house: &house{}}, nil), server.AddListener(listeners.NewNet("tcp", listener)), server.Serve()} {
		if err != nil {
			b.Fatal(err)
		}
	}
	b.Cleanup(func() { server.Close() })
	return server, listener.Addr().String()
}

// flood publishes n readings, never more than a window ahead of those seen, and
// returns messages per second.
func flood(b *testing.B, server *mochi.Server, n int, seen *atomic.Int64, wake <-chan struct{}) float64 {
	b.Helper()
	topics := make([]string, benchTopics)
	for i := range topics {
		topics[i] = fmt.Sprintf("leat/r/reading/p%d", i)
	}
	body := []byte("6.0213")
	began := time.Now()
	for i := range n {
		for int64(i)-seen.Load() >= benchWindow {
			<-wake
		}
		if err := server.Publish(topics[i%benchTopics], body, false, 0); err != nil {
			b.Fatal(err)
		}
	}
	for seen.Load() < int64(n) {
		<-wake
	}
	return float64(n) / time.Since(began).Seconds()
}

func nudge(wake chan<- struct{}) {
	select {
	case wake <- struct{}{}:
	default:
	}
}

// bare is a paho subscriber as its manual shows it, which only counts.
func bare(b *testing.B, server *mochi.Server, address string, n int) float64 {
	b.Helper()
	var seen atomic.Int64
	wake := make(chan struct{}, 1)
	client := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + address).SetClientID("bare"))
	if token := client.Connect(); token.Wait() && token.Error() != nil {
		b.Fatal(token.Error())
	}
	defer client.Disconnect(250)
	token := client.Subscribe("leat/r/reading/+", 0, func(paho.Client, paho.Message) {
		seen.Add(1)
		nudge(wake)
	})
	if token.Wait() && token.Error() != nil {
		b.Fatal(token.Error())
	}
	return flood(b, server, n, &seen, wake)
}

// linked is the daemon's reading path: broker, Link, slot, Decode.
func linked(b *testing.B, server *mochi.Server, address string, n int) (perSecond float64, missed uint64) {
	b.Helper()
	options := mqtt.Options{URL: "tcp://" + address, ClientID: "linked"}
	for i := range benchTopics {
		options.Latest = append(options.Latest, fmt.Sprintf("leat/r/reading/p%d", i))
	}
	link := mqtt.New(options)
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- link.Run(ctx) }()
	<-link.Changed()
	unit, err := payload.ParseUnit(dosing.QuantityPH, "")
	if err != nil {
		b.Fatal(err)
	}
	format := payload.Format{Kind: payload.KindPlain, Unit: unit}
	var seen atomic.Int64
	wake := make(chan struct{}, 1)
	stopped := make(chan struct{})
	go func() {
		defer close(stopped)
		for {
			select {
			case <-ctx.Done():
				return
			case <-link.Ready():
			}
			link.Take(func(slot int, body []byte, retained bool, arrived time.Time, gap uint64) {
				at := dosing.Instant{Wall: arrived, Up: time.Duration(arrived.UnixNano())}
				if _, err := format.Decode(dosing.InputID(slot), dosing.QuantityPH, at, body, retained); err != nil {
					b.Error(err)
				}
				missed += gap
				seen.Add(1 + int64(gap))
				nudge(wake)
			})
		}
	}()
	perSecond = flood(b, server, n, &seen, wake)
	cancel()
	<-stopped
	if err := <-ended; err != nil {
		b.Fatal(err)
	}
	return perSecond, missed
}

// BenchmarkReadingPath compares the daemon's reading path with a bare paho
// subscriber in the same run: floor .35, goal .50. The two take turns, so that
// neither has the machine to itself in a better minute.
func BenchmarkReadingPath(b *testing.B) {
	server, address := benchBroker(b)
	const batch = 20_000
	var ours, theirs, turns float64
	var missed uint64
	for b.Loop() {
		theirs += bare(b, server, address, batch)
		perSecond, gap := linked(b, server, address, batch)
		ours += perSecond
		missed += gap
		turns++
	}
	b.ReportMetric(ours/theirs, "ratio")
	b.ReportMetric(ours/turns, "messages/s")
	b.ReportMetric(theirs/turns, "bare-messages/s")
	b.ReportMetric(float64(missed)/(turns*batch), "missed/message")
}
