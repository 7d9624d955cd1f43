package apptest

import (
	"net"
	"sync"
	"testing"
	"time"
)

// Proxy stands between a daemon and its broker, as a network does that can be cut.
type Proxy struct {
	to       string
	listener net.Listener

	mu     sync.Mutex
	cut    bool
	frozen bool
	open   map[net.Conn]bool
}

// NewProxy leads to the address of a broker until the test ends.
func NewProxy(t testing.TB, to string) *Proxy {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	p := &Proxy{to: to, listener: listener, open: map[net.Conn]bool{}}
	go p.accept()
	t.Cleanup(func() {
		_ = listener.Close()
		p.Cut(true)
	})
	return p
}

// URL is the broker's address through the proxy.
func (p *Proxy) URL() string { return "mqtt://" + p.listener.Addr().String() }

// Cut ends all connections and takes no new one, until it is lifted.
func (p *Proxy) Cut(cut bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.cut = cut
	if cut {
		for c := range p.open {
			_ = c.Close()
		}
		clear(p.open)
	}
}

// Freeze keeps connections open and passes nothing on, as a cable that was pulled does.
// What was sent meanwhile arrives when it thaws.
func (p *Proxy) Freeze(frozen bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.frozen = frozen
}

func (p *Proxy) accept() {
	for {
		near, err := p.listener.Accept()
		if err != nil {
			return
		}
		far, err := net.Dial("tcp", p.to)
		if err != nil || !p.keep(near, far) {
			_ = near.Close()
			continue
		}
		go p.pass(near, far)
		go p.pass(far, near)
	}
}

func (p *Proxy) keep(near, far net.Conn) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.cut {
		_ = far.Close()
		return false
	}
	p.open[near], p.open[far] = true, true
	return true
}

// pass copies one way and ends both with it.
func (p *Proxy) pass(from, to net.Conn) {
	block := make([]byte, 32*1024)
	for {
		n, err := from.Read(block)
		for p.isFrozen() {
			time.Sleep(20 * time.Millisecond)
		}
		if n > 0 {
			if _, failed := to.Write(block[:n]); failed != nil {
				err = failed
			}
		}
		if err != nil {
			break
		}
	}
	_, _ = from.Close(), to.Close()
	p.mu.Lock()
	defer p.mu.Unlock()
	delete(p.open, from)
	delete(p.open, to)
}

func (p *Proxy) isFrozen() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.frozen && !p.cut
}
