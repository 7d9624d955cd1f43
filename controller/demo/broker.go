package demo

import (
	"bytes"
	"crypto/rand"
	"fmt"
	"io"
	"log/slog"
	"net"
	"slices"
	"strings"
	"sync"
	"time"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/mochi-mqtt/server/v2/packets"
)

// The two identities that may write more than setpoint wishes.
const (
	daemonUser = "leat"
	farmUser   = "farm"
)

// broker is an MQTT broker inside this process, on a loopback port. Besides
// serving, it counts what it took from and gave to each client, so that the
// virtual clock knows when nothing is on the way.
type broker struct {
	address  string // host:port, the same over restarts
	password map[string]string
	server   *mochi.Server
	traffic  traffic
}

// startBroker listens on address; an empty port is chosen by the system.
func startBroker(address string) (*broker, error) {
	b := &broker{address: address, password: map[string]string{daemonUser: rand.Text(), farmUser: rand.Text()}}
	b.traffic.clients, b.traffic.offsets = map[string]*clientTraffic{}, map[string]offset{}
	return b, b.start()
}

func (b *broker) start() error {
	listener, err := net.Listen("tcp", b.address)
	if err != nil {
		return fmt.Errorf("broker: %w; choose another address with -mqtt", err)
	}
	b.address = listener.Addr().String()
	b.server = mochi.New(&mochi.Options{Logger: slog.New(slog.NewTextHandler(io.Discard, nil))})
	if err := b.server.AddHook(&doorkeeper{broker: b}, nil); err != nil {
		return fmt.Errorf("broker: %w", err)
	}
	if err := b.server.AddListener(listeners.NewNet("tcp", listener)); err != nil {
		return fmt.Errorf("broker: %w", err)
	}
	if err := b.server.Serve(); err != nil {
		return fmt.Errorf("broker: %w", err)
	}
	return nil
}

func (b *broker) stop() error { return b.server.Close() }

// url is the broker's address for a client.
func (b *broker) url() string { return "tcp://" + b.address }

// traffic counts PUBLISH packets by client identifier, and times the daemon's
// orders.
type traffic struct {
	mu      sync.Mutex
	clients map[string]*clientTraffic
	offsets map[string]offset // what the counters of a client differ by for good; the conductor's alone
	ticked  time.Time         // when the daemon was last given the time, on which it decides
	waits   []time.Duration   // from there to the order at the broker
}

// tick notes that the daemon is now given the time.
func (t *traffic) tick() {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.ticked = time.Now()
}

// order notes that an order reached the broker.
func (t *traffic) order() {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.waits = append(t.waits, time.Since(t.ticked))
}

// orderWaits is how long orders took so far, shortest first.
func (t *traffic) orderWaits() []time.Duration {
	t.mu.Lock()
	defer t.mu.Unlock()
	return slices.Sorted(slices.Values(t.waits))
}

// clientTraffic is what the broker took from a client and gave to it since the
// demo began.
type clientTraffic struct{ taken, given uint64 }

func (t *traffic) of(client string) clientTraffic {
	t.mu.Lock()
	defer t.mu.Unlock()
	if c := t.clients[client]; c != nil {
		return *c
	}
	return clientTraffic{}
}

func (t *traffic) count(client string, taken, given uint64) {
	t.mu.Lock()
	defer t.mu.Unlock()
	c := t.clients[client]
	if c == nil {
		c = &clientTraffic{}
		t.clients[client] = c
	}
	c.taken += taken
	c.given += given
}

// doorkeeper is the broker's access rule, the same as deploy/ gives a broker of
// one's own: only the daemon writes orders, only the farm writes readings and
// reports, anyone may read and wish for a setpoint.
type doorkeeper struct {
	mochi.HookBase
	broker *broker
}

func (d *doorkeeper) ID() string { return "doorkeeper" }

func (d *doorkeeper) Provides(b byte) bool {
	return bytes.Contains([]byte{mochi.OnConnectAuthenticate, mochi.OnACLCheck, mochi.OnPacketProcessed, mochi.OnPacketSent}, []byte{b})
}

func (d *doorkeeper) OnConnectAuthenticate(cl *mochi.Client, pk packets.Packet) bool {
	password, known := d.broker.password[string(cl.Properties.Username)]
	return !known || string(pk.Connect.Password) == password
}

func (d *doorkeeper) OnACLCheck(cl *mochi.Client, topic string, write bool) bool {
	if !write {
		return true
	}
	wish := strings.HasSuffix(topic, "/ask") && strings.Contains(topic, "/setpoint/")
	switch string(cl.Properties.Username) {
	case daemonUser:
		return !wish
	case farmUser:
		return strings.Contains(topic, "/reading/") || strings.Contains(topic, "/report/") || strings.Contains(topic, "/node/") ||
			strings.Contains(topic, "/zone/") && strings.HasSuffix(topic, "/report")
	}
	return wish
}

func (d *doorkeeper) OnPacketProcessed(cl *mochi.Client, pk packets.Packet, _ error) {
	if pk.FixedHeader.Type == packets.Publish {
		if strings.Contains(pk.TopicName, "/order/") {
			d.broker.traffic.order()
		}
		d.broker.traffic.count(cl.ID, 1, 0)
	}
}

func (d *doorkeeper) OnPacketSent(cl *mochi.Client, pk packets.Packet, _ []byte) {
	if pk.FixedHeader.Type == packets.Publish {
		d.broker.traffic.count(cl.ID, 0, 1)
	}
}
