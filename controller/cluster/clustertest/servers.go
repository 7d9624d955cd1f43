// Package clustertest starts the servers of a shared ledger inside a test, one or three,
// and takes them away again. Nothing that is shipped imports it.
package clustertest

import (
	"fmt"
	"net"
	"net/url"
	"path/filepath"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
)

// Servers are a cluster in this process, on loopback.
type Servers struct {
	t       testing.TB
	folder  string
	ports   []int
	routes  []int
	running []*server.Server
}

// Start starts one server or three, which sync each message before they acknowledge it.
func Start(t testing.TB, count int) *Servers {
	t.Helper()
	s := &Servers{t: t, folder: t.TempDir(), running: make([]*server.Server, count)}
	for range count {
		s.ports, s.routes = append(s.ports, port(t)), append(s.routes, port(t))
	}
	for i := range count {
		s.Up(i)
	}
	s.AwaitLeader()
	t.Cleanup(func() {
		for i := range s.running {
			s.Down(i)
		}
	})
	return s
}

// port is a free port of loopback.
func port(t testing.TB) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}

// Up starts server i, or starts it again on its folder.
func (s *Servers) Up(i int) {
	s.t.Helper()
	o := &server.Options{ServerName: fmt.Sprintf("s%d", i), Host: "127.0.0.1", Port: s.ports[i], JetStream: true, NoSigs: true, NoLog: true,
		StoreDir: filepath.Join(s.folder, fmt.Sprintf("s%d", i)), SyncAlways: true}
	if len(s.running) > 1 {
		o.Cluster = server.ClusterOpts{Name: "leat", Host: "127.0.0.1", Port: s.routes[i]}
		for _, p := range s.routes {
			o.Routes = append(o.Routes, &url.URL{Scheme: "nats", Host: fmt.Sprintf("127.0.0.1:%d", p)})
		}
	}
	running, err := server.NewServer(o)
	if err != nil {
		s.t.Fatal(err)
	}
	running.Start()
	if !running.ReadyForConnections(20 * time.Second) {
		s.t.Fatalf("server %d does not listen", i)
	}
	s.running[i] = running
}

// Down ends server i as its machine does when it fails: nothing is handed over.
func (s *Servers) Down(i int) {
	if s.running[i] == nil {
		return
	}
	s.running[i].Shutdown()
	s.running[i].WaitForShutdown()
	s.running[i] = nil
}

// AwaitLeader waits until the servers that run have found one another and chosen a leader.
func (s *Servers) AwaitLeader() {
	s.t.Helper()
	up := 0
	for _, r := range s.running {
		if r != nil {
			up++
		}
	}
	for end := time.Now().Add(time.Minute); ; time.Sleep(20 * time.Millisecond) {
		for _, r := range s.running {
			if r != nil && (len(s.running) == 1 || r.JetStreamIsLeader() && len(r.JetStreamClusterPeers()) >= up) {
				return
			}
		}
		if time.Now().After(end) {
			s.t.Fatal("the servers chose no leader within a minute")
		}
	}
}

// Leader is the server that leads a stream, -1 where none does.
func (s *Servers) Leader(stream string) int {
	for i, r := range s.running {
		if r != nil && r.JetStreamIsStreamLeader(server.DEFAULT_GLOBAL_ACCOUNT, stream) {
			return i
		}
	}
	return -1
}

// URLs are the servers' addresses for a client.
func (s *Servers) URLs() []string {
	var all []string
	for _, p := range s.ports {
		all = append(all, fmt.Sprintf("nats://127.0.0.1:%d", p))
	}
	return all
}
