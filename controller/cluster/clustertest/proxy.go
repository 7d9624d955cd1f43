package clustertest

import (
	"net"
	"net/url"
	"sync"
	"sync/atomic"
	"testing"
)

// Proxy stands between a client and a server and spoils what passes.
type Proxy struct {
	server   string
	listener net.Listener
	mute     atomic.Bool // what the server says is thrown away
	deaf     atomic.Bool // what the client says is thrown away
	mu       sync.Mutex
	open     map[net.Conn]bool
	gone     bool
}

// NewProxy stands before a server.
func NewProxy(t testing.TB, server string) *Proxy {
	t.Helper()
	u, err := url.Parse(server)
	if err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	p := &Proxy{server: u.Host, listener: l, open: map[net.Conn]bool{}}
	go p.accept()
	t.Cleanup(func() { _ = l.Close(); p.Cut(true) })
	return p
}

// URL is the address for the client.
func (p *Proxy) URL() string { return "nats://" + p.listener.Addr().String() }

// Mute throws away what the server says: acknowledgements are lost.
func (p *Proxy) Mute(on bool) { p.mute.Store(on) }

// Deafen throws away what the client says: nothing arrives.
func (p *Proxy) Deafen(on bool) { p.deaf.Store(on) }

// Cut ends every connection, and takes no new one until it is called with false.
func (p *Proxy) Cut(on bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.gone = on
	for c := range p.open {
		_ = c.Close()
		delete(p.open, c)
	}
}

func (p *Proxy) accept() {
	for {
		client, err := p.listener.Accept()
		if err != nil {
			return
		}
		server, err := net.Dial("tcp", p.server)
		if err != nil {
			_ = client.Close()
			continue
		}
		p.mu.Lock()
		if p.gone {
			_, _ = client.Close(), server.Close()
		} else {
			p.open[client], p.open[server] = true, true
			go pump(server, client, &p.deaf)
			go pump(client, server, &p.mute)
		}
		p.mu.Unlock()
	}
}

// pump carries bytes until one end closes. A connection of which something was thrown away is
// of no use any more, as when a cable is pulled for longer than TCP waits.
func pump(to, from net.Conn, drop *atomic.Bool) {
	defer func() { _, _ = to.Close(), from.Close() }()
	buffer := make([]byte, 64<<10)
	dropped := false
	for {
		n, err := from.Read(buffer)
		if dropped = dropped || drop.Load(); dropped && !drop.Load() {
			return
		}
		if err != nil {
			return
		}
		if dropped {
			continue
		}
		if _, err := to.Write(buffer[:n]); err != nil {
			return
		}
	}
}
