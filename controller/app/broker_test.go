package app

import (
	"context"
	"io"
	"log/slog"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/mochi-mqtt/server/v2/packets"
	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"
	"go.uber.org/zap/zaptest/observer"

	"leat/controller/app/apptest"
)

// inner is a broker in this process that notes what the daemon publishes.
type inner struct {
	server *mochi.Server
	url    string

	mu   sync.Mutex
	seen []said
	kept []string // topics of what was sent to be stored
}

// open lets everyone do everything, and notes what shall be stored.
type open struct {
	mochi.HookBase
	broker *inner
}

func (*open) ID() string { return "open" }
func (*open) Provides(b byte) bool {
	return b == mochi.OnConnectAuthenticate || b == mochi.OnACLCheck || b == mochi.OnPublish
}
func (o *open) OnPublish(_ *mochi.Client, p packets.Packet) (packets.Packet, error) {
	if p.FixedHeader.Retain {
		o.broker.mu.Lock()
		o.broker.kept = append(o.broker.kept, p.TopicName)
		o.broker.mu.Unlock()
	}
	return p, nil
}
func (*open) OnConnectAuthenticate(*mochi.Client, packets.Packet) bool { return true }
func (*open) OnACLCheck(*mochi.Client, string, bool) bool              { return true }

type said struct {
	topic, body string
	at          time.Time
}

func newInner(t *testing.T) *inner {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	b := &inner{url: "mqtt://" + listener.Addr().String()}
	b.server = mochi.New(&mochi.Options{InlineClient: true, Logger: slog.New(slog.NewTextHandler(io.Discard, nil))})
	if err := b.server.AddHook(&open{broker: b}, nil); err != nil {
		t.Fatal(err)
	}
	if err := b.server.AddListener(listeners.NewNet("tcp", listener)); err != nil {
		t.Fatal(err)
	}
	if err := b.server.Serve(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = b.server.Close() })
	err = b.server.Subscribe("leat/#", 1, func(_ *mochi.Client, _ packets.Subscription, p packets.Packet) {
		b.mu.Lock()
		defer b.mu.Unlock()
		b.seen = append(b.seen, said{p.TopicName, string(p.Payload), time.Now()})
	})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func (b *inner) publish(t *testing.T, topic, body string) {
	t.Helper()
	if err := b.server.Publish(topic, []byte(body), false, 1); err != nil {
		t.Fatal(err)
	}
}

// on is what was published on topics that end so.
func (b *inner) on(suffix string) []said {
	b.mu.Lock()
	defer b.mu.Unlock()
	var found []said
	for _, s := range b.seen {
		if strings.HasSuffix(s.topic, suffix) {
			found = append(found, s)
		}
	}
	return found
}

// supervisor notes what the daemon tells it.
type supervisor struct {
	mu   sync.Mutex
	told []string
}

func (s *supervisor) take(state string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.told = append(s.told, state)
}

func (s *supervisor) count(state string) int {
	s.mu.Lock()
	defer s.mu.Unlock()
	n := 0
	for _, told := range s.told {
		if told == state {
			n++
		}
	}
	return n
}

// alive is a daemon in this process.
type alive struct {
	*App
	t          *testing.T
	supervisor supervisor
	lines      *observer.ObservedLogs
	stop       context.CancelFunc
	ended      chan error
}

// runs starts a daemon, which ends with the test or by its end.
func runs(t *testing.T, path string, options Options) *alive {
	t.Helper()
	core, lines := observer.New(zapcore.InfoLevel)
	d := &alive{t: t, lines: lines, ended: make(chan error, 1)}
	options.Log, options.Supervise = zap.New(core), d.supervisor.take
	var err error
	if d.App, err = New(apptest.Load(t, path), options); err != nil {
		t.Fatal(err)
	}
	var ctx context.Context
	ctx, d.stop = context.WithCancel(context.Background())
	go func() { d.ended <- d.Run(ctx) }()
	t.Cleanup(func() {
		if d.stop != nil {
			_ = d.end()
		}
	})
	apptest.Eventually(t, "the daemon is ready and has decided once", func() bool { return d.supervisor.count("READY=1") == 1 && d.View() != nil })
	return d
}

// end stops the daemon and returns how it ended.
func (d *alive) end() error {
	d.t.Helper()
	d.stop()
	d.stop = nil
	select {
	case err := <-d.ended:
		return err
	case <-time.After(time.Minute):
		d.t.Fatal("the daemon did not end within a minute")
		return nil
	}
}

// holds says whether the tub is held by this cause now.
func (d *alive) holds(cause string) bool {
	view := d.View()
	if view == nil {
		return false
	}
	for _, h := range view.Tanks[0].Holds {
		if h.Cause.String() == cause {
			return true
		}
	}
	return false
}
