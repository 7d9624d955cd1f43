package cluster_test

import (
	"context"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"leat/controller/cluster"
	"leat/controller/cluster/clustertest"
	"leat/safety/ledger"
	"leat/safety/ledger/ledgertest"
)

const stream = "LEAT_LEDGER"

func connect(t testing.TB, s *clustertest.Servers, replicas int) *cluster.Cluster {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	c, err := cluster.Connect(ctx, cluster.Options{Servers: s.URLs(), Name: t.Name(), Replicas: replicas, Patience: 300 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(c.Close)
	return c
}

// admin is the person with the servers' own tools, who may do anything to a stream.
func admin(t testing.TB, s *clustertest.Servers) (jetstream.JetStream, *nats.Conn) {
	t.Helper()
	conn, err := nats.Connect(s.URLs()[0])
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(conn.Close)
	js, err := jetstream.New(conn)
	if err != nil {
		t.Fatal(err)
	}
	return js, conn
}

// medium is one station's ledger on servers, spoiled by the person with the tools.
type medium struct {
	servers *clustertest.Servers
	js      jetstream.JetStream
	station string
	count   int
}

func (m *medium) open(t *testing.T) ledger.Store {
	t.Helper()
	store, err := connect(t, m.servers, m.count).Store(t.Context(), m.station)
	if err != nil {
		t.Fatal(err)
	}
	return store
}

func (m *medium) change(t *testing.T, change func(*jetstream.StreamConfig)) {
	t.Helper()
	s, err := m.js.Stream(t.Context(), stream)
	if err != nil {
		t.Fatal(err)
	}
	config := s.CachedInfo().Config
	change(&config)
	if _, err := m.js.UpdateStream(t.Context(), config); err != nil {
		t.Fatal(err)
	}
}

// messages are the subject's messages as they stand.
func (m *medium) messages(t *testing.T) []*jetstream.RawStreamMsg {
	t.Helper()
	s, err := m.js.Stream(t.Context(), stream)
	if err != nil {
		t.Fatal(err)
	}
	var all []*jetstream.RawStreamMsg
	for sequence := uint64(1); ; {
		found, err := s.GetMsg(t.Context(), sequence, jetstream.WithGetMsgSubject("leat.ledger."+m.station))
		if err != nil {
			return all
		}
		all = append(all, found)
		sequence = found.Sequence + 1
	}
}

// rewrite puts other messages in the place of the subject's.
func (m *medium) rewrite(t *testing.T, change func(n int, msg *nats.Msg) *nats.Msg) {
	t.Helper()
	old := m.messages(t)
	s, err := m.js.Stream(t.Context(), stream)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Purge(t.Context(), jetstream.WithPurgeSubject("leat.ledger."+m.station)); err != nil {
		t.Fatal(err)
	}
	for i, o := range old {
		msg := nats.NewMsg(o.Subject)
		for _, name := range []string{"Leat-Sequence", "Leat-Previous", "Leat-Hash"} {
			msg.Header.Set(name, o.Header.Get(name))
		}
		msg.Data = o.Data
		if msg = change(i+1, msg); msg == nil {
			continue
		}
		if _, err := m.js.PublishMsg(t.Context(), msg); err != nil {
			t.Fatal(err)
		}
	}
}

// loose makes the stream that leat would make, but for the locks that keep a person's
// tools out.
func loose(t testing.TB, js jetstream.JetStream, replicas int) {
	t.Helper()
	_, err := js.CreateStream(t.Context(), jetstream.StreamConfig{Name: stream, Subjects: []string{"leat.ledger.*"}, Storage: jetstream.FileStorage,
		Discard: jetstream.DiscardNew, Replicas: replicas})
	if err != nil {
		t.Fatal(err)
	}
}

func TestSharedStoreConforms(t *testing.T) {
	servers := clustertest.Start(t, 1)
	js, _ := admin(t, servers)
	loose(t, js, 1)
	station := 0
	ledgertest.Run(t, func(t *testing.T) ledgertest.Disk {
		station++
		m := &medium{servers: servers, js: js, station: "row-" + string(rune('a'+station)), count: 1}
		return ledgertest.Disk{
			Open: m.open,
			Edit: func(t *testing.T, sequence uint64, body string) {
				m.rewrite(t, func(n int, msg *nats.Msg) *nats.Msg {
					if uint64(n) == sequence {
						msg.Data = []byte(body)
					}
					return msg
				})
			},
			Drop: func(t *testing.T, sequence uint64) {
				m.rewrite(t, func(n int, msg *nats.Msg) *nats.Msg {
					if uint64(n) == sequence {
						return nil
					}
					return msg
				})
			},
			Fill: func(t *testing.T, _ ledger.Store) func() {
				info, err := js.Stream(t.Context(), stream)
				if err != nil {
					t.Fatal(err)
				}
				m.change(t, func(c *jetstream.StreamConfig) { c.MaxBytes = int64(info.CachedInfo().State.Bytes) + 10_000 })
				return func() { m.change(t, func(c *jetstream.StreamConfig) { c.MaxBytes = -1 }) }
			},
			Fail: func(t *testing.T, _ ledger.Store) func() {
				m.change(t, func(c *jetstream.StreamConfig) { c.MaxMsgSize = 100 })
				return func() { m.change(t, func(c *jetstream.StreamConfig) { c.MaxMsgSize = -1 }) }
			},
		}
	})
}

func TestSharedStoreConformsOnThreeServers(t *testing.T) {
	servers := clustertest.Start(t, 3)
	station := 0
	ledgertest.Run(t, func(t *testing.T) ledgertest.Disk {
		station++
		m := &medium{servers: servers, station: "row-" + string(rune('a'+station)), count: 3}
		return ledgertest.Disk{Open: m.open}
	})
}
