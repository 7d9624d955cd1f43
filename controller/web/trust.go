package web

import (
	"crypto/rand"
	"net/http"
	"sync"
	"time"

	"leat/controller"
)

// Phone is a browser that a person trusts for months: it may look, acknowledge, pause and
// stop without a password. Hash is the SHA-256 of the secret in its cookie.
type Phone struct {
	ID, Person, Hash, Device string
	Added, Seen, Until       time.Time
}

// Phones are those that people trust. A person who is removed takes their phones along.
type Phones interface {
	Find(hash string) (Phone, bool, error)
	List() ([]Phone, error)
	Add(Phone) error
	See(id string, at time.Time) error
	End(id string) error
}

const (
	phoneCookie = "leat_phone"
	phoneHolds  = 180 * 24 * time.Hour
	phoneSeen   = 24 * time.Hour // how finely it is noted when a phone was here
)

// trust is what trusted phones may. What lets more happen, they do not: a phone that was
// left in a bar must not arm a tank.
type trust struct {
	server *Server
	mu     sync.Mutex
	seen   map[string]time.Time // by phone, since the daemon began
}

// phone is the trusted phone that a request came from. A cookie that has moved to a device
// of another kind was copied, and lets nobody in.
func (t *trust) phone(r *http.Request) (Phone, bool) {
	cookie, err := r.Cookie(phoneCookie)
	if err != nil || t.server.options.Phones == nil {
		return Phone{}, false
	}
	phone, known, err := t.server.options.Phones.Find(hashOf(cookie.Value))
	if err != nil || !known || !time.Now().Before(phone.Until) || phone.Device != deviceOf(r.UserAgent()) {
		return Phone{}, false
	}
	return phone, true
}

// who is the person whose phone a request came from, unproven.
func (t *trust) who(r *http.Request) (session, bool) {
	phone, known := t.phone(r)
	if !known {
		return session{}, false
	}
	person, found, err := t.server.options.Find(phone.Person)
	if err != nil || !found {
		return session{}, false
	}
	t.see(phone)
	return session{name: person.Name, role: person.May(time.Now()), base: person.Role, given: person.Given, hash: person.Hash, until: phone.Until, phone: phone.ID,
		id: phone.ID, from: t.server.client(r), device: phone.Device, began: phone.Added, seen: time.Now()}, true
}

// see notes that a phone was here, once a day: it is no reason to write for every page.
func (t *trust) see(phone Phone) {
	t.mu.Lock()
	defer t.mu.Unlock()
	now := time.Now()
	if now.Sub(phone.Seen) < phoneSeen || now.Sub(t.seen[phone.ID]) < phoneSeen {
		return
	}
	t.seen[phone.ID] = now
	_ = t.server.options.Phones.See(phone.ID, now) // the list shows an older day; nothing hangs on it
}

// begin trusts the phone of somebody who has just proved who they are.
func (t *trust) begin(w http.ResponseWriter, r *http.Request, p Person) {
	if t.server.options.Phones == nil || p.Hash == "" {
		return
	}
	now, secret := time.Now(), rand.Text()
	phone := Phone{ID: rand.Text()[:12], Person: p.Name, Hash: hashOf(secret), Device: deviceOf(r.UserAgent()), Added: now, Seen: now, Until: now.Add(phoneHolds)}
	if old, known := t.phone(r); known {
		_ = t.server.options.Phones.End(old.ID) // a phone stands in the list once
	}
	if err := t.server.options.Phones.Add(phone); err != nil {
		t.server.options.Audit(p.Name, "page", "phone not trusted", err.Error())
		return
	}
	t.server.options.Audit(p.Name, "page", "trusted a phone", phone.Device+", until "+phone.Until.Format(time.DateOnly))
	t.setCookie(w, secret, int(phoneHolds.Seconds()))
}

// leave ends the trust in the phone that signs out.
func (t *trust) leave(w http.ResponseWriter, r *http.Request) {
	phone, known := t.phone(r)
	if !known {
		return
	}
	if err := t.server.options.Phones.End(phone.ID); err == nil {
		t.server.options.Audit(phone.Person, "page", "trusts a phone no longer", phone.Device)
	}
	t.setCookie(w, "", -1)
}

func (t *trust) setCookie(w http.ResponseWriter, secret string, age int) {
	http.SetCookie(w, &http.Cookie{Name: phoneCookie, Value: secret, Path: "/", HttpOnly: true, SameSite: http.SameSiteLaxMode, Secure: t.server.secure, MaxAge: age})
}

// here lists the trusted phones for one who looks: an engineer sees all, others their own.
func (t *trust) here(who session) (list []Phone, err error) {
	if t.server.options.Phones == nil {
		return nil, nil
	}
	all, err := t.server.options.Phones.List()
	for _, phone := range all {
		if who.sees(phone.Person) && time.Now().Before(phone.Until) {
			list = append(list, phone)
		}
	}
	return list, err
}

// end trusts a phone no longer. It lets less happen, so a trusted phone may end another.
func (t *trust) end(w http.ResponseWriter, r *http.Request) {
	who, ok := t.server.who(r)
	if !ok {
		http.Redirect(w, r, signInFor("/people"), http.StatusSeeOther)
		return
	}
	list, err := t.here(who)
	if err != nil {
		http.Error(w, "the trusted phones cannot be read: "+err.Error(), http.StatusInternalServerError)
		return
	}
	for _, phone := range list {
		if phone.ID == r.FormValue("phone") {
			if err := t.server.options.Phones.End(phone.ID); err != nil {
				http.Error(w, err.Error(), http.StatusInternalServerError)
				return
			}
			t.server.sessions.endOn(phone.ID)
			t.server.options.Audit(who.name, "page", "ended the trust in a phone", phone.Person+", "+phone.Device)
			http.Redirect(w, r, "/people", http.StatusSeeOther)
			return
		}
	}
	http.Error(w, "that phone is not trusted any more, or is not yours to end; /people lists them", http.StatusNotFound)
}

// proof asks who lets more happen to prove anew who they are, where that was long ago or
// a trusted phone stands for them. What was typed is kept.
func (t *trust) proof(w http.ResponseWriter, r *http.Request, who session, page string) (asked bool) {
	if who.proven() {
		return false
	}
	t.server.kept.keep(w, r.PostForm, t.server.secure)
	http.Redirect(w, r, signInFor(page), http.StatusSeeOther)
	return true
}

// needsProof says that a form lets more happen, or hides something. A pause of a tank that
// is paused already may end sooner.
func (t *trust) needsProof(value func(string) string) bool {
	kind, known := controller.ParseRequestKind(value("do"))
	if !known || !kind.Lessens() {
		return known
	}
	view := t.server.options.View()
	if kind != controller.RequestPause || view == nil {
		return false
	}
	for i := range view.Tanks {
		if tank := &view.Tanks[i]; tank.Name == value("tank") {
			return holds(tank, "operator-pause")
		}
	}
	return false
}
