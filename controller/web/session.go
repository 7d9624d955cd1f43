package web

import (
	"crypto/rand"
	"net/http"
	"sync"
	"time"

	"github.com/alexedwards/argon2id"

	"leat/controller"
)

// Times and bounds of sessions.
const (
	sessionHolds = 12 * time.Hour
	ticketHolds  = 10 * time.Minute
	sessionsMost = 256
	cookieName   = "leat_session"
)

// HashParameters are argon2id's: 19 MiB and two passes, which a small board can
// bear once at a time.
var HashParameters = &argon2id.Params{Memory: 19 * 1024, Iterations: 2, Parallelism: 1, SaltLength: 16, KeyLength: 32}

// Hash makes the string that is kept of a password.
func Hash(password string) (string, error) { return argon2id.CreateHash(password, HashParameters) }

// session is one signed-in browser.
type session struct {
	name  string
	role  controller.Role
	hash  string // of the password it began with; empty = by a one-time link
	until time.Time
}

// sessions keeps who is signed in. They live in memory: a restart signs all out.
type sessions struct {
	mu       sync.Mutex
	byToken  map[string]session
	tickets  map[string]session
	attempts attempts
	hashing  chan struct{} // one hash at a time bounds the memory
	decoy    string        // hash compared for unknown names, so that time tells nothing
}

func newSessions() *sessions {
	return &sessions{byToken: map[string]session{}, tickets: map[string]session{}, attempts: attempts{made: map[string][]time.Time{}}, hashing: make(chan struct{}, 1)}
}

// begin opens a session and returns its token.
func (s *sessions) begin(p Person) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	now := time.Now()
	for token, held := range s.byToken {
		if now.After(held.until) || len(s.byToken) >= sessionsMost {
			delete(s.byToken, token)
		}
	}
	token := rand.Text()
	s.byToken[token] = session{name: p.Name, role: p.Role, hash: p.Hash, until: now.Add(sessionHolds)}
	return token
}

// who is signed in with this request.
func (s *sessions) who(r *http.Request) (session, bool) {
	cookie, err := r.Cookie(cookieName)
	if err != nil {
		return session{}, false
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	held, ok := s.byToken[cookie.Value]
	return held, ok && time.Now().Before(held.until)
}

func (s *sessions) end(r *http.Request) {
	if cookie, err := r.Cookie(cookieName); err == nil {
		s.mu.Lock()
		defer s.mu.Unlock()
		delete(s.byToken, cookie.Value)
	}
}

// ticket makes a one-time sign-in.
func (s *sessions) ticket(role controller.Role) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	ticket := rand.Text()
	s.tickets[ticket] = session{name: "ticket", role: role, until: time.Now().Add(ticketHolds)}
	return ticket
}

func (s *sessions) redeem(ticket string) (session, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	held, ok := s.tickets[ticket]
	delete(s.tickets, ticket)
	return held, ok && time.Now().Before(held.until)
}

// matches compares a password with a hash, one at a time.
func (s *sessions) matches(password, hash string) bool {
	s.hashing <- struct{}{}
	defer func() { <-s.hashing }()
	if hash == "" {
		if s.decoy == "" {
			s.decoy, _ = Hash(rand.Text())
		}
		_, _ = argon2id.ComparePasswordAndHash(password, s.decoy) // its time is the point
		return false
	}
	match, err := argon2id.ComparePasswordAndHash(password, hash)
	return err == nil && match
}
