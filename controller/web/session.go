package web

import (
	"crypto/rand"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/alexedwards/argon2id"

	"leat/controller"
)

// Times and bounds of sessions.
const (
	sessionHolds = 12 * time.Hour
	proofHolds   = time.Hour // a password or passkey lets more happen for so long
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
	name   string
	role   controller.Role
	base   controller.Role // without what is lent
	given  Handover
	hash   string // of the password it began with; empty = by a one-time link
	until  time.Time
	proved time.Time // when a password or a passkey last was; zero = of a trusted phone, never
	phone  string    // the id of the trusted phone that it stands on; empty = none
	// For whoever looks at the list of them.
	id, from, device string
	began, seen      time.Time
}

// sitting is a session as the list of them shows it.
type sitting struct {
	ID, Name, Role, From, Device string
	Began, Seen                  time.Time
	Own                          bool // the one that looks
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
func (s *sessions) begin(p Person, from, agent string) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	now := time.Now()
	for token, held := range s.byToken {
		if now.After(held.until) || len(s.byToken) >= sessionsMost {
			delete(s.byToken, token)
		}
	}
	token := rand.Text()
	s.byToken[token] = session{name: p.Name, role: p.May(now), base: p.Role, given: p.Given, hash: p.Hash, until: now.Add(sessionHolds), proved: now, id: rand.Text()[:12], from: from, device: deviceOf(agent), began: now, seen: now}
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
	now := time.Now()
	if ok = ok && now.Before(held.until); ok {
		held.seen = now
		s.byToken[cookie.Value] = held
	}
	return held, ok
}

// proven says that who sits here has lately proved it; a one-time link has no password
// to be asked for again.
func (h session) proven() bool { return h.hash == "" || time.Since(h.proved) < proofHolds }

// here lists who is signed in, for one of them: an engineer sees all, others their own.
func (s *sessions) here(who session) (list []sitting) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, held := range s.byToken {
		if time.Now().After(held.until) || !who.mayEnd(held) {
			continue
		}
		list = append(list, sitting{ID: held.id, Name: held.name, Role: held.role.String(), From: held.from, Device: held.device, Began: held.began, Seen: held.seen, Own: held.id == who.id})
	}
	slices.SortFunc(list, func(a, b sitting) int { return b.Began.Compare(a.Began) })
	return list
}

// sees says whether one may see and end what lets a person in.
func (h session) sees(person string) bool {
	return h.role >= controller.RoleEngineer || h.name == person
}

// mayEnd says whether one may see and end the session of another.
func (h session) mayEnd(other session) bool {
	return h.role >= controller.RoleEngineer || h.name == other.name && h.hash == other.hash
}

// endOf ends a session by its id, for one who may, and says whose it was.
func (s *sessions) endOf(id string, who session) (name string, ok bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for token, held := range s.byToken {
		if held.id == id && who.mayEnd(held) {
			delete(s.byToken, token)
			return held.name, true
		}
	}
	return "", false
}

// on notes which trusted phone the session of a request stands on: it ends with the trust.
func (s *sessions) on(r *http.Request, phone string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if cookie, err := r.Cookie(cookieName); err == nil {
		if held, ok := s.byToken[cookie.Value]; ok {
			held.phone = phone
			s.byToken[cookie.Value] = held
		}
	}
}

// endOn ends the sessions that stand on a phone.
func (s *sessions) endOn(phone string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for token, held := range s.byToken {
		if held.phone == phone {
			delete(s.byToken, token)
		}
	}
}

// deviceOf is what a browser says of itself, in a word or two.
func deviceOf(agent string) string {
	device, browser := "another device", "a browser"
	for _, known := range [][2]string{{"iPhone", "iPhone"}, {"iPad", "iPad"}, {"Android", "Android"}, {"Windows", "Windows"}, {"Macintosh", "Mac"}, {"Linux", "Linux"}} {
		if strings.Contains(agent, known[0]) {
			device = known[1]
			break
		}
	}
	for _, known := range [][2]string{{"Firefox/", "Firefox"}, {"Edg/", "Edge"}, {"Chrome/", "Chrome"}, {"Safari/", "Safari"}} {
		if strings.Contains(agent, known[0]) {
			browser = known[1]
			break
		}
	}
	return device + ", " + browser
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

// end signs a browser out from another one.
func (s signIn) end(w http.ResponseWriter, r *http.Request) {
	who, ok := s.who(r)
	if !ok {
		http.Redirect(w, r, signInFor("/people"), http.StatusSeeOther)
		return
	}
	name, ended := s.sessions.endOf(r.FormValue("session"), who)
	if !ended {
		http.Error(w, "that session is over already, or is not yours to end; /people lists them", http.StatusNotFound)
		return
	}
	s.options.Audit(who.name, "page", "ended a session", name)
	http.Redirect(w, r, "/people", http.StatusSeeOther)
}
