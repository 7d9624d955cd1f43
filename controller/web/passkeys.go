package web

import (
	"errors"
	"fmt"
	"net/http"
	"sync"
	"time"
)

// Passkey is the public half of a key that a person's device holds.
type Passkey struct {
	ID, Person, Site, Device string
	Key                      []byte // SubjectPublicKeyInfo
	Count                    uint32
	Added, Used              time.Time
}

// Passkeys are those of all people. Use refuses a count that was reached before: a copy's.
type Passkeys interface {
	Find(id string) (Passkey, bool, error)
	List() ([]Passkey, error)
	Add(Passkey) error
	Use(id string, count uint32, at time.Time) error
	End(id string) error
}

const (
	askedFor  = 5 * time.Minute // a device answers within
	askedMost = 1024            // challenges at once; the oldest goes first
)

// passkeys lets people in by the keys of their devices.
type passkeys struct {
	server *Server
	mu     sync.Mutex
	asked  map[string]time.Time // by challenge
	order  []string
}

func (p *passkeys) ask() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	if len(p.order) >= askedMost {
		delete(p.asked, p.order[0])
		p.order = p.order[1:]
	}
	challenge := newChallenge()
	p.asked[challenge], p.order = time.Now(), append(p.order, challenge)
	return challenge
}

// spend says that a challenge was ours, not long ago, and is answered for the first time.
func (p *passkeys) spend(challenge string) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	at, known := p.asked[challenge]
	delete(p.asked, challenge)
	if !known || time.Since(at) > askedFor {
		return fmt.Errorf("%w: it answers no question of this page; try again", errPasskey)
	}
	return nil
}

// signIn lets in who holds a key.
func (p *passkeys) signIn(w http.ResponseWriter, r *http.Request) {
	s := signIn{p.server}
	client := s.client(r)
	if !s.sessions.attempts.take(client, "a passkey") {
		s.failed("", "sign-in limited", client)
		s.show(w, r, http.StatusTooManyRequests, "Too many attempts from this address. Wait five minutes.", "")
		return
	}
	person, err := p.holder(r)
	if err != nil {
		s.failed("", "passkey refused", client)
		s.show(w, r, http.StatusForbidden, err.Error()+".", "")
		return
	}
	s.sessions.attempts.forgive(client, "a passkey")
	s.options.Audit(person.Name, "page", "signed in by passkey", client)
	s.welcome(w, r, person)
}

// holder is the person whose key signed a challenge of ours.
func (p *passkeys) holder(r *http.Request) (Person, error) {
	s := p.server
	if s.options.Passkeys == nil {
		return Person{}, fmt.Errorf("%w: none is taken here", errPasskey)
	}
	said, err := readWord(r.FormValue)
	if err != nil {
		return Person{}, err
	}
	here := p.site(r)
	challenge, count, err := said.check(here, "webauthn.get")
	if err == nil {
		err = p.spend(challenge)
	}
	if err != nil {
		return Person{}, err
	}
	key, known, err := s.options.Passkeys.Find(said.id)
	if err != nil || !known || key.Site != here.host {
		return Person{}, fmt.Errorf("%w: it is not known here; sign in by password and add it on the page People", errPasskey)
	}
	if err := said.signed(key.Key); err != nil {
		return Person{}, err
	}
	if err := s.options.Passkeys.Use(key.ID, count, time.Now()); err != nil {
		return Person{}, fmt.Errorf("%w: %w", errPasskey, err)
	}
	person, found, err := s.options.Find(key.Person)
	if err != nil || !found {
		return Person{}, errors.Join(fmt.Errorf("%w: its owner is no longer among the people", errPasskey), err)
	}
	return person, nil
}

// add takes a new key of somebody who is signed in and proven.
func (p *passkeys) add(w http.ResponseWriter, r *http.Request) {
	s := p.server
	who, ok := s.who(r)
	_ = r.FormValue("id") // parses the form
	if !ok || s.options.Passkeys == nil || who.hash == "" {
		http.Error(w, "sign in with name and password first", http.StatusForbidden)
		return
	}
	if !who.proven() {
		http.Redirect(w, r, signInFor("/people"), http.StatusSeeOther)
		return
	}
	status, shown := http.StatusOK, &answerData{sent: r.PostForm}
	if err := p.take(r, who); err != nil {
		status, shown.Text = http.StatusUnprocessableEntity, err.Error()
	} else {
		shown.Accepted, shown.Text = true, "this device lets "+who.name+" in without a password"
		s.options.Audit(who.name, "page", "added a passkey", deviceOf(r.UserAgent()))
	}
	s.showPage(w, r, "/people", status, shown)
}

func (p *passkeys) take(r *http.Request, who session) error {
	said, err := readWord(r.FormValue)
	if err != nil {
		return err
	}
	here := p.site(r)
	challenge, count, err := said.check(here, "webauthn.create")
	if err == nil {
		err = said.names()
	}
	if err == nil {
		err = p.spend(challenge)
	}
	if err == nil {
		_, err = publicKey(said.key)
	}
	if err != nil {
		return err
	}
	now := time.Now()
	return p.server.options.Passkeys.Add(Passkey{ID: said.id, Person: who.name, Site: here.host, Device: deviceOf(r.UserAgent()), Key: said.key, Count: count, Added: now, Used: now})
}

// here lists the passkeys of one who looks.
func (p *passkeys) here(who session) (list []Passkey, err error) {
	if p.server.options.Passkeys == nil {
		return nil, nil
	}
	all, err := p.server.options.Passkeys.List()
	for _, k := range all {
		if who.sees(k.Person) {
			list = append(list, k)
		}
	}
	return list, err
}

// end takes a passkey away, which lets less happen.
func (p *passkeys) end(w http.ResponseWriter, r *http.Request) {
	s := p.server
	who, ok := s.who(r)
	if !ok {
		http.Redirect(w, r, signInFor("/people"), http.StatusSeeOther)
		return
	}
	list, err := p.here(who)
	for _, k := range list {
		if k.ID == r.FormValue("id") && err == nil {
			if err = s.options.Passkeys.End(k.ID); err == nil {
				s.options.Audit(who.name, "page", "ended a passkey", k.Person+", "+k.Device)
				http.Redirect(w, r, "/people", http.StatusSeeOther)
				return
			}
		}
	}
	http.Error(w, "that passkey is gone already, or is not yours to end; /people lists them", http.StatusNotFound)
}
