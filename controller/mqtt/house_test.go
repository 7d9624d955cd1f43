package mqtt_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"log/slog"
	"net"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/mochi-mqtt/server/v2/packets"

	"leat/controller/mqtt"
)

// house is a broker in memory that can be stopped and started like a real one; a
// new start has forgotten all.
type house struct {
	t        *testing.T
	server   *mochi.Server
	listener atomic.Pointer[pipes]
	deny     atomic.Value // the filter that nobody may subscribe to, if any
	taps     []tap
}

type tap struct {
	filter string
	take   func(packets.Packet)
}

// pipes is a listener whose connections are pipes in memory.
type pipes struct {
	accept chan net.Conn
	closed chan struct{}
	once   sync.Once
}

func (p *pipes) Accept() (net.Conn, error) {
	select {
	case conn := <-p.accept:
		return conn, nil
	case <-p.closed:
		return nil, net.ErrClosed
	}
}

func (p *pipes) Close() error { p.once.Do(func() { close(p.closed) }); return nil }

func (p *pipes) Addr() net.Addr { return &net.UnixAddr{Name: "pipe", Net: "pipe"} }

// doorman lets everyone in and knows one filter that may not be read.
type doorman struct {
	mochi.HookBase
	house *house
}

func (d *doorman) ID() string { return "doorman" }

func (d *doorman) Provides(b byte) bool {
	return bytes.IndexByte([]byte{mochi.OnConnectAuthenticate, mochi.OnACLCheck}, b) >= 0
}

func (d *doorman) OnConnectAuthenticate(*mochi.Client, packets.Packet) bool { return true }

func (d *doorman) OnACLCheck(_ *mochi.Client, topic string, write bool) bool {
	return write || topic != d.house.deny.Load()
}

func newHouse(t *testing.T) *house {
	h := &house{t: t}
	h.start()
	return h
}

func (h *house) start() {
	h.t.Helper()
	listener := &pipes{accept: make(chan net.Conn), closed: make(chan struct{})}
	h.listener.Store(listener)
	h.server = mochi.New(&mochi.Options{InlineClient: true, Logger: slog.New(slog.NewTextHandler(io.Discard, nil))})
	err := errors.Join(h.server.AddHook(&doorman{house: h}, nil), h.server.AddListener(listeners.NewNet("pipe", listener)), h.server.Serve())
	if err != nil {
		h.t.Fatal(err)
	}
	for i, tap := range h.taps {
		h.listen(i, tap)
	}
}

func (h *house) stop() {
	settle() // mochi locks up when a client leaves while it closes: it takes a lock that it holds
	h.server.Close()
	h.listener.Load().Close()
	// mochi's own goroutines end a moment later.
	time.Sleep(2 * time.Second)
}

// tap calls take for every message that reaches the broker on filter, over
// restarts.
func (h *house) tap(filter string, take func(packets.Packet)) {
	h.t.Helper()
	h.taps = append(h.taps, tap{filter, take})
	h.listen(len(h.taps)-1, h.taps[len(h.taps)-1])
}

func (h *house) listen(id int, tap tap) {
	h.t.Helper()
	err := h.server.Subscribe(tap.filter, id+1, func(_ *mochi.Client, _ packets.Subscription, pk packets.Packet) { tap.take(pk) })
	if err != nil {
		h.t.Fatal(err)
	}
}

func (h *house) publish(topic, body string, retained bool) {
	h.t.Helper()
	if err := h.server.Publish(topic, []byte(body), retained, 1); err != nil {
		h.t.Fatal(err)
	}
}

func (h *house) dial(ctx context.Context) (net.Conn, error) {
	ours, theirs := net.Pipe()
	listener := h.listener.Load()
	select {
	case listener.accept <- theirs:
		return ours, nil
	case <-listener.closed:
		return nil, &net.OpError{Op: "dial", Net: "pipe", Err: errors.New("connection refused")}
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// kick drops every connection without a word, as a lost network does.
func (h *house) kick() {
	for _, client := range h.server.Clients.GetAll() {
		if !client.Net.Inline {
			client.Stop(errors.New("network is gone"))
		}
	}
}

func (h *house) options() mqtt.Options {
	return mqtt.Options{ClientID: "leat-test", Dial: h.dial, Latest: []string{"leat/r/reading/ph", "leat/r/reading/ec"},
		Queued: []string{"leat/r/report/acid", "leat/r/node/+"},
		Will:   mqtt.Message{Topic: "leat/daemon/x/online", Body: []byte("0")}, Birth: mqtt.Message{Topic: "leat/daemon/x/online", Body: []byte("1")}}
}

// running is a Link with its Run, and what it told.
type running struct {
	*mqtt.Link
	t     *testing.T
	ended chan error
}

func run(t *testing.T, options mqtt.Options) *running {
	r := &running{Link: mqtt.New(options), t: t, ended: make(chan error, 1)}
	go func() { r.ended <- r.Run(t.Context()) }()
	return r
}

// told are the openings and closings since the last call.
func (r *running) told() []bool {
	var changes []bool
	for {
		select {
		case open := <-r.Changed():
			changes = append(changes, open)
		default:
			return changes
		}
	}
}

func (r *running) close() {
	r.t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	if err := r.Close(ctx); err != nil {
		r.t.Errorf("close: %v", err)
	}
	if err := <-r.ended; err != nil {
		r.t.Errorf("run: %v", err)
	}
}

type taken struct {
	slot     int
	body     string
	retained bool
	missed   uint64
}

func (r *running) takeAll() []taken {
	var all []taken
	r.Take(func(slot int, body []byte, retained bool, _ time.Time, missed uint64) {
		all = append(all, taken{slot, string(body), retained, missed})
	})
	return all
}

func (r *running) nextAll() []string {
	var all []string
	for m, ok := r.Next(); ok; m, ok = r.Next() {
		text := m.Topic + " " + string(m.Body)
		if m.Retained {
			text += " retained"
		}
		all = append(all, text)
	}
	return all
}

// inHouse runs a test in a bubble of virtual time with a broker in memory.
func inHouse(t *testing.T, test func(t *testing.T, h *house)) {
	synctest.Test(t, func(t *testing.T) {
		h := newHouse(t)
		test(t, h)
		h.stop()
	})
}

// settle lets everything that can happen without time passing happen.
func settle() { synctest.Wait() }

// muffled is a connection that from some moment on swallows what is written, like
// a network that takes packets and delivers none.
type muffled struct {
	net.Conn
	swallow *atomic.Bool
	stall   *atomic.Bool
	broken  chan struct{}
	once    sync.Once
}

func (m *muffled) Write(p []byte) (int, error) {
	if m.stall != nil && m.stall.Load() {
		return 0, m.stalled()
	}
	if m.swallow != nil && m.swallow.Load() {
		return len(p), nil
	}
	return m.Conn.Write(p)
}

// stalled blocks as a full socket does, until the write deadline.
func (m *muffled) stalled() error {
	select {
	case <-time.After(2 * time.Second):
		return context.DeadlineExceeded
	case <-m.broken:
		return net.ErrClosed
	}
}

func (m *muffled) Close() error {
	m.once.Do(func() {
		if m.broken != nil {
			close(m.broken)
		}
	})
	return m.Conn.Close()
}
