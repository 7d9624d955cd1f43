package web

import (
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"strings"
	"sync"
	"time"
)

// Bounds of sign-in attempts within a window. One who guesses at a name locks out
// nobody but himself: what counts is who asks and for whom, and beside that all that
// one address tries. Guesses from many addresses at once are bounded by the one hash
// at a time.
const (
	attemptsWindow = 5 * time.Minute
	attemptsMost   = 6  // of one address for one name
	addressMost    = 24 // of one address for any names
	attemptsKept   = 4096
	longestName    = 64 // of a name, as counted
)

// attempts counts sign-ins by address and name.
type attempts struct {
	mu   sync.Mutex
	made map[string][]time.Time
}

// take counts an attempt, unless there were too many.
func (a *attempts) take(address, name string) bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	now := time.Now()
	if len(a.made) >= attemptsKept {
		a.forget(now)
	}
	one, all := keyOf(address, name), address
	if len(a.recent(one, now)) >= attemptsMost || len(a.recent(all, now)) >= addressMost {
		return false
	}
	for _, key := range []string{one, all} {
		if _, known := a.made[key]; known || len(a.made) < attemptsKept {
			a.made[key] = append(a.made[key], now)
		}
	}
	return true
}

// forgive forgets the attempts of one who knew the password: whoever mistyped it
// five times is no guesser. What the address tried for other names stands.
func (a *attempts) forgive(address, name string) {
	a.mu.Lock()
	defer a.mu.Unlock()
	delete(a.made, keyOf(address, name))
}

func keyOf(address, name string) string { return address + " " + name[:min(len(name), longestName)] }

func (a *attempts) recent(key string, now time.Time) []time.Time {
	all := a.made[key]
	for len(all) > 0 && now.Sub(all[0]) > attemptsWindow {
		all = all[1:]
	}
	if len(all) == 0 {
		delete(a.made, key)
	} else {
		a.made[key] = all
	}
	return all
}

func (a *attempts) forget(now time.Time) {
	for key := range a.made {
		a.recent(key, now)
	}
}

// client is who asks: the other end of the connection, or behind a proxy on this
// machine the address that the proxy appended. What stands before it in the header
// came from the client and may be anything.
func (s *Server) client(r *http.Request) string {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		host = r.RemoteAddr
	}
	peer, err := netip.ParseAddr(host)
	if err != nil {
		return host
	}
	if s.options.Proxied && peer.IsLoopback() {
		said := strings.Join(r.Header.Values("X-Forwarded-For"), ",")
		if address, err := netip.ParseAddr(strings.TrimSpace(said[strings.LastIndex(said, ",")+1:])); err == nil {
			peer = address
		}
	}
	if peer = peer.Unmap(); peer.Is6() {
		// One subscriber has all addresses of a prefix of 64 bits.
		if prefix, err := peer.Prefix(64); err == nil {
			return prefix.String()
		}
	}
	return peer.String()
}

// failures are the failed sign-ins on their way to the audit: the first of a kind at
// once, then one line a minute that says how many there were. Somebody who guesses
// must not write the audit full.
type failures struct {
	mu     sync.Mutex
	said   map[string]time.Time // by what
	unsaid map[string]int
}

const failuresEvery = time.Minute

// note says whether a line is due, and what it adds about those that had none.
func (f *failures) note(what string) (more string, due bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	now := time.Now()
	if last, ok := f.said[what]; ok && now.Sub(last) < failuresEvery {
		f.unsaid[what]++
		return "", false
	}
	if n := f.unsaid[what]; n > 0 {
		more = fmt.Sprintf(" (and %d more since the last line)", n)
	}
	f.said[what], f.unsaid[what] = now, 0
	return more, true
}
